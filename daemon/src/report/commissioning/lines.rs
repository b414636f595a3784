//! A line of the commissioning: what was found, what was wanted, how it stands and by which rule.
//! Never in here: where the numbers come from.

use crate::text;
use analysis::expected::Known;
use analysis::plant::design;

/// Half width of a 95 % interval over the standard deviation.
const SIGMAS_95: f64 = 1.959_964;

/// How a line stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// As it should be.
    Pass,
    /// Not decided, or somebody should know it and agree.
    Look,
    /// Not as it should be.
    Fail,
}

impl Verdict {
    /// The word, and the name in the style sheet.
    pub const fn word(self) -> &'static str {
        match self {
            Verdict::Pass => "pass",
            Verdict::Look => "look",
            Verdict::Fail => "fail",
        }
    }
}

/// One line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// What is looked at.
    pub what: String,
    /// What the readings say.
    pub found: String,
    /// What was wanted.
    pub wanted: String,
    /// How it stands.
    pub verdict: Verdict,
    /// By which rule.
    pub rule: String,
}

/// A limit of the design.
pub fn of_design(line: &design::Line) -> Line {
    let unit = line.check.unit();
    let with_unit = |value: f64| match unit {
        // No line ends between a number and its unit.
        "V" => format!("{value:.1}\u{a0}V"),
        "A" => format!("{value:.2}\u{a0}A"),
        "planes" => format!("{value:.0}"),
        _ => format!("{value:.3}"),
    };
    Line {
        what: format!("{}: {}", line.subject, line.check.name()),
        found: with_unit(line.value),
        wanted: line.limit.map_or_else(String::new, |limit| {
            let side = match is_floor(line.value, limit, line.margin) {
                true => "at least",
                false => "at most",
            };
            format!("{side} {}", with_unit(limit))
        }),
        verdict: match line.verdict {
            design::Verdict::Ok => Verdict::Pass,
            design::Verdict::Look => Verdict::Look,
            design::Verdict::Wrong => Verdict::Fail,
        },
        rule: line.check.rule().to_owned(),
    }
}

/// Whether a value has to lie above its limit: the margin counts upwards from the limit then.
fn is_floor(value: f64, limit: f64, margin: Option<f64>) -> bool {
    let above = value - limit;
    margin.is_some_and(|margin| (margin - above).abs() < (margin + above).abs())
}

/// The ends of a 95 % interval.
pub fn interval(known: &Known) -> (f64, f64) {
    let half = SIGMAS_95 * known.sigma;
    (known.value - half, known.value + half)
}

/// `98.7 % (97.9 to 99.5 %), of 12 days to 2026-11-24`
pub fn share(known: &Known) -> String {
    let (low, high) = interval(known);
    let percent = |ratio: f64| 100.0 * ratio;
    format!(
        "{:.1} % ({:.1} to {:.1} %), of {} to {}",
        percent(known.value),
        percent(low),
        percent(high),
        text::count(known.days, "day"),
        text::date(known.to)
    )
}

/// Against a band around one: inside it, across one of its edges, or outside it as a whole.
pub fn against(known: &Known, limit: f64) -> Verdict {
    let (low, high) = interval(known);
    if low >= 1.0 - limit && high <= 1.0 + limit {
        Verdict::Pass
    } else if high < 1.0 - limit {
        Verdict::Fail
    } else {
        Verdict::Look
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::reading::SolarDay;

    fn known(value: f64, sigma: f64) -> Known {
        Known {
            value,
            sigma,
            from: SolarDay::from_number(20_766),
            to: SolarDay::from_number(20_779),
            days: 14,
        }
    }

    #[test]
    fn a_number_passes_with_its_interval_and_fails_only_as_a_whole() {
        assert_eq!(against(&known(0.99, 0.005), 0.05), Verdict::Pass);
        assert_eq!(against(&known(0.955, 0.005), 0.05), Verdict::Look);
        assert_eq!(against(&known(0.93, 0.005), 0.05), Verdict::Fail);
        // More than expected is no fault, but a question.
        assert_eq!(against(&known(1.1, 0.005), 0.05), Verdict::Look);
        assert_eq!(
            share(&known(0.99, 0.005)),
            "99.0 % (98.0 to 100.0 %), of 14 days to 2026-11-22"
        );
    }

    #[test]
    fn a_limit_says_on_which_side_of_it_a_value_has_to_lie() {
        assert!(is_floor(473.4, 180.0, Some(293.4)));
        assert!(is_floor(170.0, 180.0, Some(-10.0)));
        assert!(!is_floor(738.4, 1000.0, Some(261.6)));
        assert!(!is_floor(1038.4, 1000.0, Some(-38.4)));
        assert!(!is_floor(1.0, 1.0, Some(0.0)));
    }
}
