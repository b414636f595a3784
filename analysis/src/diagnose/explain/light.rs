//! Findings about the light on the modules, in words and numbers: shade, dirt, age.
//!
//! The shares of the causes are engineering judgement, but for dirt's (`detect::soiling`): what to look for
//! first and nothing more.
//! Never in here: decisions.

use super::{causes, evidence, place};
use crate::detect::{DirtBeside, FoundShade, Kind, ShadeShape, Soiled, YearlyLoss};
use crate::diagnose::measured::measured;
use crate::diagnose::{NewFinding, Subject};
use crate::reading::{DeviceId, Energy, Time};

/// Loss that returns at the same position of the sun.
pub fn shade(subject: Subject, began: Time, found: Time, seen: &FoundShade) -> NewFinding {
    const WH_PER_KWH: f64 = 1000.0;
    let ranked: &[(&str, f64)] = match (seen.shape, seen.is_new) {
        (ShadeShape::Widening, _) => &[
            ("growth beside what shaded before", 0.7),
            ("something new beside what shaded before", 0.3),
        ],
        (ShadeShape::DownToTheHorizon, false) => &[
            ("buildings, trees or hills in front of the low sun", 0.8),
            ("another row of modules in front", 0.2),
        ],
        (ShadeShape::DownToTheHorizon, true) => &[
            ("growth, or a new building, in front of the low sun", 0.9),
            ("something put up near the modules", 0.1),
        ],
        (ShadeShape::Narrow, _) => &[
            ("a pole, a chimney, an aerial or a trunk", 0.8),
            ("a branch or a cable near the modules", 0.2),
        ],
        (ShadeShape::Wide, false) => &[
            ("part of the building, or a tree near by", 0.8),
            ("something lying on the modules at their edge", 0.2),
        ],
        (ShadeShape::Wide, true) => &[
            ("growth of a tree near by", 0.5),
            ("something put up or parked near the modules", 0.5),
        ],
    };
    let since = if seen.is_new {
        "new shade"
    } else {
        "shade since the sun first came there"
    };
    NewFinding {
        summary: format!(
            "{}: {since}, {:.0} % of the power for {:.0} min a clear day, with the sun from {} to {} deg \
             clockwise from north; about {:.0} kWh a year. From now on it is expected and booked as \
             shade.",
            place(&subject),
            100.0 * seen.loss_ratio,
            seen.lasts.seconds() / 60.0,
            seen.azimuth_deg.0.round(),
            seen.azimuth_deg.1.round(),
            seen.yearly_wh / WH_PER_KWH,
        ),
        subject,
        kind: Kind::Shade,
        began,
        found,
        confidence: measured(Kind::Shade),
        causes: causes(ranked),
        evidence: evidence(&[
            ("loss_ratio", seen.loss_ratio),
            ("voltage_loss_ratio", seen.voltage_ratio),
            ("lasts_s_per_day", seen.lasts.seconds()),
            ("sun_azimuth_from_deg", seen.azimuth_deg.0),
            ("sun_azimuth_to_deg", seen.azimuth_deg.1),
            ("sun_elevation_from_deg", seen.elevation_deg.0),
            ("sun_elevation_to_deg", seen.elevation_deg.1),
            ("clear_days_count", f64::from(seen.days)),
            ("estimated_loss_per_year_kwh", seen.yearly_wh / WH_PER_KWH),
        ]),
        lost: Energy::from_wh(seen.lost_wh),
    }
}

/// Dirt on all modules of a plane, told of an inverter with inputs there.
pub fn soiling(device: &DeviceId, began: Time, found: Time, seen: &Soiled) -> NewFinding {
    let other = match seen.beside {
        DirtBeside::PlaneSensor | DirtBeside::HorizontalSensor => {
            "irradiance sensor cleaned or drifting upwards"
        }
        DirtBeside::ClearSky => "weeks of haze: nothing measures the light of this plane",
    };
    let mut numbers = evidence(&[
        ("loss_ratio", seen.loss_ratio),
        ("loss_per_day_ratio", seen.per_day),
        ("loss_per_day_low_ratio", seen.per_day_low),
        ("loss_per_day_high_ratio", seen.per_day_high),
        ("days_count", seen.days),
    ]);
    if let Some((rise, sigma)) = seen.clear_sky_rise {
        numbers.extend(evidence(&[
            ("sensor_rise_on_clear_sky_ratio", rise),
            ("sensor_rise_on_clear_sky_sigma_ratio", sigma),
        ]));
    }
    NewFinding {
        subject: Subject::device(device),
        kind: Kind::Soiling,
        began,
        found,
        confidence: measured(Kind::Soiling),
        causes: causes(&[
            ("dust, pollen or droppings on the modules", seen.probability),
            (other, 1.0 - seen.probability),
        ]),
        evidence: numbers,
        lost: Energy::from_wh(0.0),
        summary: format!(
            "{device}: all inputs of a plane have slowly lost {:.1} % in {:.0} days without a good rain.",
            100.0 * seen.loss_ratio,
            seen.days
        ),
    }
}

/// Yearly loss of a plane with its interval, told of an inverter with inputs there; `stated_ratio` is
/// what its modules may have lost by now.
pub fn degradation(
    device: &DeviceId,
    found: Time,
    loss: &YearlyLoss,
    stated_ratio: f64,
) -> NewFinding {
    NewFinding {
        subject: Subject::device(device),
        kind: Kind::Degradation,
        began: loss.since,
        found,
        confidence: 0.95,
        causes: causes(&[
            ("ageing of the modules", 0.7),
            ("lasting dirt", 0.2),
            ("drift of the irradiance sensor", 0.1),
        ]),
        evidence: evidence(&[
            ("loss_per_year_ratio", loss.per_year),
            ("loss_per_year_low_ratio", loss.low),
            ("loss_per_year_high_ratio", loss.high),
            ("pairs_of_weeks_count", f64::from(loss.pairs)),
            ("stated_loss_so_far_ratio", stated_ratio),
        ]),
        lost: Energy::from_wh(0.0),
        summary: format!(
            "{device} loses {:.1} % of its power a year (95 %: {:.1} to {:.1} %).",
            100.0 * loss.per_year,
            100.0 * loss.low,
            100.0 * loss.high
        ),
    }
}
