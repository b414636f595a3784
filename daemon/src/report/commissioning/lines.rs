//! A line of the commissioning: what was found, what was wanted, how it stands and by which rule.
//! Never in here: where the numbers come from.

use crate::commands::check;
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
    // No line ends between a number and its unit.
    let unit = line.check.unit();
    let with_unit = |value: f64| check::with_unit(value, unit).replace(' ', "\u{a0}");
    Line {
        what: format!("{}: {}", line.subject, line.check.name()),
        found: with_unit(line.value),
        wanted: line.limit.map_or_else(String::new, |limit| {
            let side = match line.check.good() {
                design::Good::AtLeast => "at least",
                design::Good::UpTo => "at most",
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
        let line = |check, limit| {
            let line = design::Line {
                subject: design::Subject {
                    inverter: "inv-1".to_owned(),
                    input: Some(1),
                    string: None,
                },
                check,
                value: 180.0,
                limit: Some(limit),
                margin: Some(0.0),
                verdict: design::Verdict::Ok,
            };
            of_design(&line).wanted
        };
        let (window, most) = (design::Check::HottestVmp, design::Check::ColdestVoc);
        assert_eq!(line(window, 180.0), "at least 180.0\u{a0}V");
        assert_eq!(line(most, 1000.0), "at most 1000.0\u{a0}V");
    }
}
