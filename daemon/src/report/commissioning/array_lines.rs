//! What the first days say of inputs, strings and planes, beside the datasheet and the drawing.
//! Never in here: insulation and supply.

use super::lines::{Line, Verdict, against, share};
use crate::text;
use analysis::detect::Kind;
use analysis::diagnose::Finding;
use analysis::expected::{Learned, LearnedOf};
use analysis::plant::{Inverter, Plant};
use analysis::review::InputReview;

/// What sensors, dirt and datasheet may take of a current (judgement), beside the tolerance of power.
const CURRENT_RATIO: f64 = 0.05;
/// A plane may lie otherwise by this much before somebody should look (judgement) [deg].
const PLANE_DEG: f64 = 5.0;

/// The lines of one input.
pub fn of_input(
    plant: &Plant,
    (i, k): (usize, usize),
    learned: &[Learned],
    findings: &[Finding],
    review: &InputReview,
) -> Vec<Line> {
    let input = &plant.inverters[i].inputs[k];
    let known = |of: LearnedOf| learned.iter().find(|l| l.of == of).map(|l| &l.baseline);
    let sections = input
        .strings
        .iter()
        .map(|s| f64::from(s.count) * f64::from(plant.modules[s.module].bypass_sections));
    let one_section = 1.0 / sections.fold(f64::INFINITY, f64::min).max(1.0);
    let current_limit = CURRENT_RATIO + plant.power_tolerance_ratio(input);
    let measured = |what: &str, of: LearnedOf, limit: f64, rule: String| Line {
        what: format!("{what} over that of the datasheet"),
        found: known(of).map_or_else(|| "not learned yet".to_owned(), share),
        wanted: format!(
            "{:.1} to {:.1} %",
            100.0 * (1.0 - limit),
            100.0 * (1.0 + limit)
        ),
        verdict: known(of).map_or(Verdict::Look, |known| against(known, limit)),
        rule,
    };
    vec![
        measured(
            "voltage",
            LearnedOf::Voltage(i, k),
            one_section,
            "the 95 % interval lies within one bypass section of the string; fail: all of it is \
             lower"
                .to_owned(),
        ),
        measured(
            "current",
            LearnedOf::Current(i, k),
            current_limit,
            format!(
                "the 95 % interval lies within {:.0} % and the modules' tolerance of power; fail: \
                 all of it is lower",
                100.0 * CURRENT_RATIO
            ),
        ),
        count(plant, (i, k), findings, review),
        polarity(review),
    ]
}

/// Whether as many strings carry current as described.
fn count(
    plant: &Plant,
    (i, k): (usize, usize),
    findings: &[Finding],
    review: &InputReview,
) -> Line {
    let (inverter, input) = (&plant.inverters[i], &plant.inverters[i].inputs[k]);
    let tells = [Kind::StringCountDiffers, Kind::StringOpen, Kind::InputDead];
    let own = |f: &&Finding| {
        let here = f.subject.device == inverter.id && f.subject.input == Some(input.number);
        here && tells.contains(&f.kind)
    };
    let found: Vec<&Finding> = findings.iter().filter(own).collect();
    let stands = found.iter().find(|f| f.ended.is_none());
    let tested = review
        .days
        .iter()
        .filter(|d| d.current_ratio.is_some())
        .count();
    let (text, verdict) = match (stands, found.last()) {
        (Some(finding), _) => (finding.summary.clone(), Verdict::Fail),
        (None, Some(finding)) => (format!("ended: {}", finding.summary), Verdict::Look),
        (None, None) if tested == 0 => ("no day could be tested".to_owned(), Verdict::Look),
        (None, None) => (
            format!("as described, on {}", text::count(tested, "tested day")),
            Verdict::Pass,
        ),
    };
    let labels: Vec<_> = input.strings.iter().map(|s| s.label.as_str()).collect();
    Line {
        what: "number of strings that carry current".to_owned(),
        found: text,
        wanted: format!("{} ({})", input.strings.len(), labels.join(", ")),
        verdict,
        rule: "no finding that a string, or all, carries nothing or that their number differs"
            .to_owned(),
    }
}

/// A reversed string gives no voltage, or takes current from its neighbours.
fn polarity(review: &InputReview) -> Line {
    let tested = || {
        review
            .days
            .iter()
            .filter_map(|d| d.current_ratio.zip(d.voltage_ratio))
    };
    let (days, negative) = (
        tested().count(),
        tested().filter(|(i, v)| *i <= 0.0 || *v <= 0.0).count(),
    );
    let (found, verdict) = match (days, negative) {
        (0, _) => ("no day could be tested".to_owned(), Verdict::Look),
        (days, 0) => (
            format!(
                "current and voltage above zero on {}",
                text::count(days, "tested day")
            ),
            Verdict::Pass,
        ),
        (days, n) => (
            format!(
                "current or voltage at or below zero on {n} of {}",
                text::count(days, "tested day")
            ),
            Verdict::Fail,
        ),
    };
    Line {
        what: "polarity, as far as readings show it".to_owned(),
        found,
        wanted: "both above zero in light".to_owned(),
        verdict,
        rule: "plausible only: a polarity test before connection is part of IEC 62446-1".to_owned(),
    }
}

/// Whether the arrays hang on the inputs as described.
pub fn order(inverter: &Inverter, findings: &[Finding]) -> Line {
    let swapped = findings
        .iter()
        .filter(|f| f.kind == Kind::InputsSwapped && f.subject.device == inverter.id);
    let (found, verdict) = match swapped.max_by_key(|f| f.ended.is_none()) {
        Some(f) if f.ended.is_none() => (f.summary.clone(), Verdict::Fail),
        Some(f) => (format!("ended: {}", f.summary), Verdict::Look),
        None => ("nothing speaks against it".to_owned(), Verdict::Pass),
    };
    Line {
        what: "order of the inputs".to_owned(),
        found,
        wanted: "as described".to_owned(),
        verdict,
        rule:
            "no finding that arrays hang on each other's inputs; arrays that are alike cannot be \
               told apart"
                .to_owned(),
    }
}

/// Whether planes lie as stated, where clear days have told.
pub fn planes(plant: &Plant, learned: &[Learned]) -> Vec<Line> {
    let mut lines = Vec::new();
    for (p, plane) in plant.planes.iter().enumerate() {
        let parts = [
            ("tilt", LearnedOf::Tilt(p), plane.tilt.deg()),
            ("azimuth", LearnedOf::Azimuth(p), plane.azimuth.deg()),
        ];
        for (what, of, stated) in parts {
            let known = learned.iter().find(|l| l.of == of).map(|l| l.now.value);
            let (found, verdict) = match known {
                None => (
                    "nothing speaks against what is stated".to_owned(),
                    Verdict::Pass,
                ),
                Some(deg) if (deg - stated).abs() <= PLANE_DEG => {
                    (format!("{deg:.0}° by the sun of clear days"), Verdict::Pass)
                }
                Some(deg) => (format!("{deg:.0}° by the sun of clear days"), Verdict::Look),
            };
            lines.push(Line {
                what: format!("{what} of {}", plane.id),
                found,
                wanted: format!("{stated:.0}°"),
                verdict,
                rule: format!("within {PLANE_DEG}° of what is stated, where clear days have told"),
            });
        }
    }
    lines
}
