//! Design checks: what the site file describes against what its equipment can take.
//!
//! [`check`] gives one line per limit of every inverter, input and string, with the number, the
//! limit, the margin and the rule. Nothing is changed or refused; people decide.

#[cfg(test)]
mod example;
mod limits;
mod rule;
mod voltage;

pub use rule::{Check, Good};

use super::{Input, Inverter, Plant, PvString};
use std::fmt;

/// One limit checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Inverter, input or string.
    pub subject: Subject,
    /// What is checked.
    pub check: Check,
    /// The number that the design gives.
    pub value: f64,
    /// What it is held against; `None` where the site file does not say.
    pub limit: Option<f64>,
    /// How far the value is on the good side of the limit; negative on the bad side.
    pub margin: Option<f64>,
    /// How it stands.
    pub verdict: Verdict,
}

/// What a line is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Subject {
    /// Id of the inverter.
    pub inverter: String,
    /// Number of the input.
    pub input: Option<u8>,
    /// Label of the string.
    pub string: Option<String>,
}

impl fmt::Display for Subject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.inverter)?;
        if let Some(n) = self.input {
            write!(f, "/input-{n}")?;
        }
        if let Some(label) = &self.string {
            write!(f, " {label}")?;
        }
        Ok(())
    }
}

/// How a design stands to a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// Inside the limit.
    Ok,
    /// Not wrong, but somebody should know it and agree.
    Look,
    /// Outside a limit of the equipment.
    Wrong,
}

impl Verdict {
    /// The word in reports.
    pub const fn word(self) -> &'static str {
        match self {
            Verdict::Ok => "ok",
            Verdict::Look => "look",
            Verdict::Wrong => "wrong",
        }
    }
}

/// Checks every inverter: its own line first, then each input with its strings.
pub fn check(plant: &Plant) -> Vec<Line> {
    let mut lines = Vec::new();
    for inverter in &plant.inverters {
        lines.push(limits::dc_ac_ratio(plant, inverter));
        for input in &inverter.inputs {
            lines.extend(limits::input(plant, inverter, input));
            for string in &input.strings {
                lines.extend(voltage::string(plant, inverter, input, string));
            }
        }
    }
    lines
}

/// Lowest temperature to design for where the site file gives none [degC]. Common practice for a
/// mild climate; a line that rests on it is never simply ok.
pub const ASSUMED_COLDEST_DEGC: f64 = -10.0;

/// A line whose verdict is `outside` on the bad side of the limit.
fn line(subject: Subject, check: Check, value: f64, (limit, outside): (f64, Verdict)) -> Line {
    let margin = match check.good() {
        Good::UpTo => limit - value,
        Good::AtLeast => value - limit,
    };
    // Written so that NaN is not ok.
    let verdict = if margin >= 0.0 { Verdict::Ok } else { outside };
    Line {
        subject,
        check,
        value,
        limit: Some(limit),
        margin: Some(margin),
        verdict,
    }
}

fn of_inverter(inverter: &Inverter) -> Subject {
    Subject {
        inverter: inverter.id.to_string(),
        input: None,
        string: None,
    }
}

fn of_input(inverter: &Inverter, input: &Input) -> Subject {
    Subject {
        input: Some(input.number),
        ..of_inverter(inverter)
    }
}

fn of_string(inverter: &Inverter, input: &Input, string: &PvString) -> Subject {
    Subject {
        string: Some(string.label.clone()),
        ..of_input(inverter, input)
    }
}
