//! Insulation and leakage to earth, in words and numbers.
//! Never in here: decisions.

use super::{causes, count, evidence};
use crate::detect::{Dampness, Fall, Falling, FaultPosition, Kind, NearLimit};
use crate::diagnose::{Evidence, NewFinding, Subject};
use crate::reading::{DeviceId, Energy, Span, Time, civil_from_days};

const DAYS_PER_MONTH: f64 = 30.44;
/// A fault this near to an end of the string is in the cable, connector or isolator there [-]: about
/// half a module of twenty (engineering judgement).
const AT_AN_END_RATIO: f64 = 0.025;

/// What is known when the insulation is low.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leak {
    /// The resistance that decided [ohm]; `None` where the ground-fault bit did.
    pub resistance_ohm: Option<f64>,
    /// The limit [ohm].
    pub limit_ohm: f64,
    /// What is known of water.
    pub dampness: Dampness,
    /// Where it lies, if the poles' voltages to earth tell.
    pub place: Option<LeakPlace>,
    /// Earlier mornings of low insulation that are remembered, and the time lost on them.
    pub earlier: (usize, Span),
}

/// Where a single fault lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeakPlace {
    /// Along the string.
    pub position: FaultPosition,
    /// Modules in that string, where all that it can be have as many.
    pub modules: Option<u16>,
    /// Number of the input, where only one has that voltage.
    pub input: Option<u8>,
}

/// Insulation resistance under the limit, or the ground-fault bit without a resistance.
pub fn isolation_low(device: &DeviceId, began: Time, found: Time, leak: &Leak) -> NewFinding {
    let mut numbers = evidence(&[
        ("isolation_limit_ohm", leak.limit_ohm),
        ("earlier_low_mornings_count", leak.earlier.0 as f64),
        ("earlier_lost_generation_min", minutes(leak.earlier.1)),
    ]);
    numbers.extend(damp_evidence(&leak.dampness));
    let seen = match leak.resistance_ohm {
        Some(ohm) => {
            numbers.insert("isolation_resistance_ohm".to_owned(), ohm);
            format!(
                "insulation resistance {}, limit {}",
                kohm(ohm),
                kohm(leak.limit_ohm)
            )
        }
        None => "reported by the inverter's ground-fault bit".to_owned(),
    };
    let weather = match leak.dampness.is_wet() {
        Some(true) => " while it is wet",
        Some(false) => " while it is dry",
        None => "",
    };
    let mut summary = format!("The array of {device} leaks to earth{weather}: {seen}.");
    if let Some(place) = &leak.place {
        numbers.extend(place_evidence(place));
        summary.push_str(&place_words(place));
    }
    NewFinding {
        subject: Subject::device(device),
        kind: Kind::IsolationLow,
        began,
        found,
        confidence: 0.98,
        causes: causes(leak_causes(leak)),
        evidence: numbers,
        lost: Energy::from_wh(0.0),
        summary,
    }
}

/// What a morning with low insulation adds to the finding that stands: the time lost on it, the
/// latest of several.
pub fn late_start(lost: Span) -> Evidence {
    evidence(&[("lost_generation_min", minutes(lost))])
}

/// Insulation that drifts to its limit, or has fallen to another level.
pub fn isolation_falling(
    device: &DeviceId,
    began: Time,
    found: Time,
    falling: &Falling,
    limit_ohm: f64,
    low: (usize, Span),
) -> NewFinding {
    let mut numbers = evidence(&[
        ("isolation_resistance_ohm", falling.level_ohm),
        ("isolation_resistance_before_ohm", falling.from_ohm),
        ("isolation_limit_ohm", limit_ohm),
        ("span_d", falling.span_d),
        ("dry_mornings_count", falling.dry_mornings as f64),
        ("wet_mornings_count", falling.wet_mornings as f64),
        ("low_mornings_count", low.0 as f64),
        ("lost_generation_min", minutes(low.1)),
    ]);
    let (now, limit) = (kohm(falling.level_ohm), kohm(limit_ohm));
    let summary = match falling.how {
        Fall::Drift {
            slope,
            days_to_limit,
            soonest_d,
            latest_d,
        } => {
            let per_month = |decades_per_d: f64| 1.0 - 10_f64.powf(decades_per_d * DAYS_PER_MONTH);
            let (fall, most, least) = (
                per_month(slope.middle),
                per_month(slope.low),
                per_month(slope.high),
            );
            numbers.extend(evidence(&[
                ("fall_ratio_per_month", fall),
                ("fall_least_ratio_per_month", least),
                ("fall_most_ratio_per_month", most),
                ("reaches_limit_in_d", days_to_limit),
                ("reaches_limit_unix_s", unix_s(found, days_to_limit)),
                ("reaches_limit_soonest_d", soonest_d),
                ("reaches_limit_latest_d", latest_d),
            ]));
            format!(
                "The insulation of the array of {device} falls by {:.0} % a month on dry mornings \
                 (99 % interval {:.0} to {:.0} %): {now} now; it would reach its limit of {limit} in \
                 {}, about {} (99 %: {} to {}).",
                100.0 * fall,
                100.0 * least,
                100.0 * most,
                count(days_to_limit.round() as usize, "day"),
                day_after(found, days_to_limit),
                day_after(found, soonest_d),
                day_after(found, latest_d),
            )
        }
        Fall::Step => format!(
            "The insulation of the array of {device} has fallen on dry mornings, from {} to {now}; \
             its limit is {limit}.",
            kohm(falling.from_ohm)
        ),
    };
    NewFinding {
        subject: Subject::device(device),
        kind: Kind::IsolationFalling,
        began,
        found,
        confidence: 0.9,
        causes: causes(&FALLING_CAUSES),
        evidence: numbers,
        lost: Energy::from_wh(0.0),
        summary,
    }
}

/// Insulation under twice its limit, however it came there.
pub fn isolation_near(
    device: &DeviceId,
    (began, found): (Time, Time),
    near: &NearLimit,
    limit_ohm: f64,
    low: (usize, Span),
) -> NewFinding {
    let (now, limit) = (kohm(near.best_ohm), kohm(limit_ohm));
    NewFinding {
        subject: Subject::device(device),
        kind: Kind::IsolationFalling,
        began,
        found,
        confidence: 0.9,
        causes: causes(&FALLING_CAUSES),
        evidence: evidence(&[
            ("isolation_best_of_latest_mornings_ohm", near.best_ohm),
            ("isolation_over_limit_ratio", near.best_ohm / limit_ohm),
            ("isolation_limit_ohm", limit_ohm),
            ("mornings_near_limit_count", near.mornings as f64),
            ("low_mornings_count", low.0 as f64),
            ("lost_generation_min", minutes(low.1)),
        ]),
        lost: Energy::from_wh(0.0),
        summary: format!(
            "The insulation of the array of {device} is near its limit: {now} at best on its latest \
             {}, less than twice the limit of {limit}, under which it does not start.",
            count(near.mornings, "morning")
        ),
    }
}

/// Why insulation falls, or is near its limit.
const FALLING_CAUSES: [(&str, f64); 3] = [
    (
        "water that stays in a junction box, connector or conduit",
        0.5,
    ),
    ("cable insulation that wears through", 0.3),
    ("modules whose back sheet or edge lets water in", 0.2),
];

/// So many days after a time, in seconds since 1970.
fn unix_s(at: Time, days: f64) -> f64 {
    at.unix_ms() as f64 / 1000.0 + 86_400.0 * days
}

/// The day so many days after a time, in UTC: a forecast over weeks is no better than a day.
fn day_after(at: Time, days: f64) -> String {
    let (year, month, day) = civil_from_days((unix_s(at, days) / 86_400.0).floor() as i64);
    format!("{year}-{month:02}-{day:02}")
}

/// Leakage to earth above what it may last at.
pub fn residual_current_high(
    device: &DeviceId,
    began: Time,
    found: Time,
    current_a: f64,
    limit_a: f64,
    dampness: &Dampness,
) -> NewFinding {
    let mut numbers = evidence(&[
        ("residual_current_a", current_a),
        ("residual_current_limit_a", limit_a),
    ]);
    numbers.extend(damp_evidence(dampness));
    NewFinding {
        subject: Subject::device(device),
        kind: Kind::ResidualCurrentHigh,
        began,
        found,
        confidence: 0.95,
        causes: causes(&[
            ("insulation fault of the array while it works", 0.6),
            ("capacitance of a large wet array", 0.2),
            ("measurement of the inverter off", 0.2),
        ]),
        evidence: numbers,
        lost: Energy::from_wh(0.0),
        summary: format!(
            "{device} leaks {:.0} mA to earth, limit {:.0} mA.",
            1000.0 * current_a,
            1000.0 * limit_a
        ),
    }
}

fn leak_causes(leak: &Leak) -> &'static [(&'static str, f64)] {
    let end = |ratio: f64| !(AT_AN_END_RATIO..=1.0 - AT_AN_END_RATIO).contains(&ratio);
    match (leak.place, leak.dampness.is_wet()) {
        (Some(place), _) if end(place.position.ratio) => &[
            (
                "cable, connector or isolator at the end of the string that is named",
                0.7,
            ),
            ("damaged module at that end", 0.2),
            ("more than one fault", 0.1),
        ],
        (Some(_), _) => &[
            (
                "module, connector or cable at the place along the string that is named",
                0.75,
            ),
            ("more than one fault", 0.25),
        ],
        (None, Some(true)) => &[
            ("water in a junction box, connector or conduit", 0.7),
            ("damaged cable insulation", 0.2),
            ("damaged module", 0.1),
        ],
        (None, Some(false)) => &[
            ("damaged cable insulation", 0.5),
            ("damaged module", 0.3),
            ("water in a junction box, connector or conduit", 0.2),
        ],
        (None, None) => &[
            ("water in a junction box, connector or conduit", 0.5),
            ("damaged cable insulation", 0.3),
            ("damaged module", 0.2),
        ],
    }
}

fn place_words(place: &LeakPlace) -> String {
    let x = place.position.ratio;
    let input = place
        .input
        .map_or(String::new(), |n| format!(" of input {n}"));
    let between = place.modules.map_or(String::new(), |modules| {
        let from_negative = x * f64::from(modules);
        let before = from_negative.floor();
        let words = if before < 1.0 {
            "at the first module".to_owned()
        } else if before >= f64::from(modules) {
            "at the last module".to_owned()
        } else {
            format!("between modules {before:.0} and {:.0}", before + 1.0)
        };
        format!(", {words} counted from there, about one module either way")
    });
    format!(
        " If it is a single fault, it lies at {x:.2} of the string{input} from its negative \
         end{between}; with a second fault this place means nothing."
    )
}

/// Takes out what was known of a place, before another is told.
pub fn forget_place(numbers: &mut Evidence) {
    for name in ["modules_from_negative_end_count", "fault_input_number"] {
        numbers.remove(name);
    }
}

fn place_evidence(place: &LeakPlace) -> Evidence {
    let x = place.position.ratio;
    let mut numbers = evidence(&[("fault_position_ratio", x), ("assumed_faults_count", 1.0)]);
    if let Some(modules) = place.modules {
        let from_negative = x * f64::from(modules);
        numbers.insert("modules_from_negative_end_count".to_owned(), from_negative);
    }
    if let Some(input) = place.input {
        numbers.insert("fault_input_number".to_owned(), f64::from(input));
    }
    numbers
}

fn damp_evidence(dampness: &Dampness) -> Evidence {
    let known = [
        ("rain_last_day_mm", dampness.rain_mm),
        ("relative_humidity_ratio", dampness.humidity_ratio),
        ("dew_point_spread_k", dampness.dew_point_spread_k),
    ];
    let number = |(name, value): (&str, Option<f64>)| Some((name.to_owned(), value?));
    known.into_iter().filter_map(number).collect()
}

fn minutes(span: Span) -> f64 {
    span.seconds() / 60.0
}

fn kohm(ohm: f64) -> String {
    format!("{:.0} kΩ", ohm / 1000.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Kind of truth: reference, the worked example of `detect::fault_position`.
    #[test]
    fn a_place_is_told_in_modules_and_as_that_of_a_single_fault() {
        let leak = Leak {
            resistance_ohm: Some(19_000.0),
            limit_ohm: 22_440.0,
            dampness: Dampness::default(),
            place: Some(LeakPlace {
                position: crate::detect::fault_position(412.0, -236.0, 648.0).expect("one fault"),
                modules: Some(18),
                input: Some(2),
            }),
            earlier: (3, Span::from_min(240)),
        };
        let at = Time::from_unix_ms(0);
        let told = isolation_low(&DeviceId::new("inv-1"), at, at, &leak);
        assert_eq!(
            told.summary,
            "The array of inv-1 leaks to earth: insulation resistance 19 kΩ, limit 22 kΩ. If it \
             is a single fault, it lies at 0.36 of the string of input 2 from its negative end, \
             between modules 6 and 7 counted from there, about one module either way; with a second \
             fault this place means nothing."
        );
        assert_eq!(told.evidence["assumed_faults_count"], 1.0);
        assert!((told.evidence["modules_from_negative_end_count"] - 6.56).abs() < 0.005);
        assert_eq!(told.evidence["earlier_lost_generation_min"], 240.0);
    }
}
