//! Words and numbers for what returns or lasts at the supply: repeated trips, voltage high, a joint
//! going bad.
//!
//! The shares of the causes beside the leading one are engineering judgement.
//! Never in here: decisions; single trips (`explain`).

use super::explain::{causes, count, evidence, trip_words};
use super::{Evidence, NewFinding, Subject};
use crate::detect::{
    DaysMean, HighBecause, Kind, Repeated, ResistanceHigh, TripCause, VoltageHigh,
};
use crate::diagnose::measured::measured;
use crate::reading::{DeviceId, Energy, Time};

/// Of what is not the own export, the share of neighbours.
const NEIGHBOURS: f64 = 0.7;
/// Change of all phases over that of the worst from which it is common to all [-].
const ALL_PHASES: f64 = 0.6;

/// A class of trips as the leading cause of its finding names it.
pub fn trip_class(cause: TripCause) -> &'static str {
    trip_words(cause)
}

/// Disconnections of one class that return.
pub fn grid_trips_repeated(
    device: &DeviceId,
    began: Time,
    found: Time,
    seen: &Repeated,
) -> NewFinding {
    let minutes = seen.daylight_lost.seconds() / 60.0;
    let mut numbers = evidence(&[
        ("trips_in_7_days_count", f64::from(seen.trips)),
        ("days_with_trips_count", seen.days as f64),
        ("most_trips_in_a_day_count", f64::from(seen.most_in_a_day)),
        ("daylight_lost_s", seen.daylight_lost.seconds()),
        ("trips_of_whole_site_count", f64::from(seen.whole_site)),
        ("trips_not_of_whole_site_count", f64::from(seen.alone)),
    ]);
    for (hour, trips) in &seen.by_hour {
        let name = format!("trips_at_solar_hour_{hour:02}_count");
        numbers.insert(name, f64::from(*trips));
    }
    let who = match (seen.whole_site, seen.alone) {
        (0, 0) => "",
        (_, 0) => " The whole site lets go together: the network.",
        (0, _) => " Other inverters stay on: look at the branch of this one.",
        _ => " At times the whole site lets go together, at times not.",
    };
    let hours = busiest_words(seen);
    let words = trip_words(seen.cause);
    NewFinding {
        subject: Subject::device(device),
        kind: Kind::GridTripsRepeated,
        began,
        found,
        confidence: if seen.cause == TripCause::NotVisible {
            0.7
        } else {
            0.95
        },
        causes: causes(&[(words, 1.0)]),
        evidence: numbers,
        // Booked to each trip.
        lost: Energy::from_wh(0.0),
        summary: format!(
            "The supply has disconnected {device} {} on {} of the last seven ({words}){hours}; \
             {minutes:.0} min of daylight lost.{who}",
            count(seen.trips as usize, "time"),
            count(seen.days, "day")
        ),
    }
}

/// The hour that has more than half of the trips, or more than any other; nothing where hours are equal.
fn busiest_words(seen: &Repeated) -> String {
    let Some((hour, most)) = seen.by_hour.iter().max_by_key(|(_, trips)| **trips) else {
        return String::new();
    };
    let is_alone = seen.by_hour.values().filter(|trips| *trips == most).count() == 1;
    match (2 * most > seen.trips, is_alone) {
        (true, _) => format!(", most of them in hour {hour} of the solar day"),
        (false, true) => format!(", in hour {hour} of the solar day more than in any other"),
        (false, false) => String::new(),
    }
}

/// Voltage high: by the own export, or the network by itself.
pub fn grid_voltage_high(
    device: &DeviceId,
    began: Time,
    found: Time,
    seen: &VoltageHigh,
) -> NewFinding {
    let mut numbers = evidence(&[
        ("phase_number", seen.phase as f64),
        ("sustained_limit_v", seen.limit_v),
    ]);
    let mut insert = |name: &str, number: Option<f64>| {
        numbers.extend(number.map(|number| (name.to_owned(), number)));
    };
    insert("rise_at_rated_export_v", seen.rise.map(|r| r.0));
    insert("rise_at_rated_export_ratio", seen.rise.map(|r| r.1));
    insert("voltage_without_export_v", seen.without_export_v);
    insert("highest_ten_minute_mean_v", seen.measured_v);
    insert("export_at_limit_w", seen.export_at_limit_w);
    if let Some(resistance) = &seen.resistance {
        numbers.extend(resistance_numbers("supply", resistance));
    }
    let (network, own, neighbours) = (
        "network voltage high by itself",
        "own export over a long or thin service cable",
        "feed-in of neighbours under the same clouds",
    );
    let (because, share) = seen.because;
    let rest = 1.0 - share;
    let ranked = match because {
        HighBecause::Network => causes(&[(network, share), (own, rest)]),
        // One site alone cannot tell neighbours that move with it from itself.
        HighBecause::OwnExport => causes(&[
            (own, share),
            (neighbours, NEIGHBOURS * rest),
            (network, (1.0 - NEIGHBOURS) * rest),
        ]),
    };
    let until = seen.export_at_limit_w.map_or_else(String::new, |w| {
        format!(
            "; the limit of {:.0} V is reached at {:.1} kW",
            seen.limit_v,
            w / 1000.0
        )
    });
    let what = match (because, seen.rise, seen.without_export_v) {
        (HighBecause::OwnExport, Some((volts, ratio)), _) => format!(
            "At rated export the voltage of L{} at {device} rises by {volts:.1} V ({:.1} % of nominal)",
            seen.phase,
            100.0 * ratio
        ),
        (_, _, Some(volts)) => format!(
            "The network at {device} is high by itself: {volts:.0} V on L{} without any export",
            seen.phase
        ),
        _ => format!("The voltage at {device} is high"),
    };
    NewFinding {
        subject: Subject::device(device),
        kind: Kind::GridVoltageHigh,
        began,
        found,
        confidence: measured(Kind::GridVoltageHigh),
        causes: ranked,
        evidence: numbers,
        lost: Energy::from_wh(0.0),
        summary: format!("{what}{until}."),
    }
}

/// Resistance of the supply above what it was.
pub fn supply_resistance_high(
    device: &DeviceId,
    began: Time,
    found: Time,
    seen: &ResistanceHigh,
) -> NewFinding {
    let ratio = seen.now.ohm / seen.baseline.ohm;
    let mut numbers = evidence(&[
        ("phase_number", seen.phase as f64),
        ("supply_over_baseline_resistance_ratio", ratio),
        ("joint_heat_at_rated_export_w", seen.heat_w),
    ]);
    numbers.extend(resistance_numbers("supply", &seen.now));
    numbers.extend(resistance_numbers("baseline", &seen.baseline));
    numbers.extend(
        seen.others_ratio
            .map(|other| ("least_changed_phase_ratio".to_owned(), other)),
    );
    let is_common = seen
        .others_ratio
        .map(|other| other - 1.0 > ALL_PHASES * (ratio - 1.0));
    let joint = "a joint or terminal of the supply going bad";
    let network = "the network switched to a longer way, or new feed-in beside it";
    let (confidence, share) = match is_common {
        // One phase alone: nothing in a network is switched so.
        Some(false) => (0.95, 0.9),
        Some(true) => (0.8, 0.5),
        None => (0.9, 0.7),
    };
    NewFinding {
        subject: Subject::device(device),
        kind: Kind::SupplyResistanceHigh,
        began,
        found,
        confidence,
        causes: causes(&[(joint, share), (network, 1.0 - share)]),
        evidence: numbers,
        lost: Energy::from_wh(0.0),
        summary: format!(
            "The supply of L{} at {device} has {:.0} % more resistance than at first ({:.3} Ω, was \
             {:.3}): a joint that has the difference makes {:.0} W of heat at rated export.",
            seen.phase,
            100.0 * (ratio - 1.0),
            seen.now.ohm,
            seen.baseline.ohm,
            seen.heat_w
        ),
    }
}

fn resistance_numbers(of: &str, mean: &DaysMean) -> Evidence {
    let mut numbers = Evidence::from([
        (format!("{of}_resistance_ohm"), mean.ohm),
        (format!("{of}_resistance_sigma_ohm"), mean.sigma_ohm),
        (format!("{of}_days_count"), mean.days as f64),
        (format!("{of}_steps_count"), f64::from(mean.steps)),
    ]);
    let reactive = mean.reactive_per_active;
    numbers.extend(reactive.map(|ratio| (format!("{of}_reactive_per_active_ratio"), ratio)));
    numbers
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Span;
    use std::collections::BTreeMap;

    fn repeated(by_hour: &[(u8, u32)]) -> Repeated {
        let by_hour: BTreeMap<u8, u32> = by_hour.iter().copied().collect();
        Repeated {
            cause: TripCause::OverVoltage,
            trips: by_hour.values().sum(),
            days: 2,
            most_in_a_day: 2,
            daylight_lost: Span::ZERO,
            by_hour,
            whole_site: 0,
            alone: 0,
        }
    }

    fn hours(by_hour: &[(u8, u32)]) -> String {
        busiest_words(&repeated(by_hour))
    }

    #[test]
    fn one_day_is_not_days() {
        let at = Time::from_unix_ms(0);
        let mut seen = repeated(&[(12, 3)]);
        for (days, says) in [(1, "3 times on 1 day of"), (2, "3 times on 2 days of")] {
            seen.days = days;
            let told = grid_trips_repeated(&DeviceId::new("inv-1"), at, at, &seen);
            assert!(told.summary.contains(says), "{}", told.summary);
        }
    }

    #[test]
    fn of_hours_with_equally_many_trips_none_has_most_of_them() {
        assert_eq!(hours(&[(10, 2), (11, 2), (12, 2)]), "");
        assert_eq!(hours(&[(10, 1), (13, 1)]), "");
        assert!(hours(&[(10, 2), (11, 1), (12, 1)]).contains("hour 10 of the solar day more than"));
        assert!(hours(&[(10, 1), (11, 3)]).contains("most of them in hour 11"));
        assert!(hours(&[(12, 4)]).contains("most of them in hour 12"));
    }
}
