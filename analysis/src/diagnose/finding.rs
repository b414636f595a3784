//! A finding: something wrong with a beginning and an end, told so that a reader can act.
//! Never in here: how it was found, or how it is sent.

use crate::detect::{Kind, Severity};
use crate::reading::{DeviceId, Energy, Time};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt;

/// What a finding is about.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Subject {
    /// The inverter or weather device.
    pub device: DeviceId,
    /// The MPPT input, if one is meant.
    pub input: Option<u8>,
    /// The string's label, where it is known which.
    pub string: Option<String>,
}

impl Subject {
    /// A device as a whole.
    pub fn device(device: &DeviceId) -> Self {
        Self {
            device: device.clone(),
            input: None,
            string: None,
        }
    }

    /// One input of an inverter.
    pub fn input(device: &DeviceId, number: u8) -> Self {
        Self {
            device: device.clone(),
            input: Some(number),
            string: None,
        }
    }

    /// One string of an input, by its label.
    pub fn string(device: &DeviceId, number: u8, label: &str) -> Self {
        Self {
            string: Some(label.to_owned()),
            ..Self::input(device, number)
        }
    }

    /// Whether it is one of the strings of this input.
    pub fn is_string_of(&self, input: &Subject) -> bool {
        self.string.is_some() && self.device == input.device && self.input == input.input
    }
}

/// Name of a finding that is the same however often the data are replayed:
/// subject, kind and beginning.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct FindingId(String);

impl FindingId {
    /// The id of a finding of this kind on this subject that began then.
    pub fn new(subject: &Subject, kind: Kind, began: Time) -> Self {
        let input = subject
            .input
            .map(|n| format!(".input-{n}"))
            .unwrap_or_default();
        let string = subject.string.as_ref();
        let string = string.map(|s| format!(".string-{s}")).unwrap_or_default();
        let device = &subject.device;
        Self(format!(
            "{device}{input}{string}.{}.{}",
            kind.name(),
            began.unix_ms() / 1000
        ))
    }

    /// One that was made here before and kept as text.
    pub fn from_stored(text: &str) -> Self {
        Self(text.to_owned())
    }

    /// The id as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for FindingId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// A possible cause and how probable it is among those that were compared.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Cause {
    /// In trade words.
    pub cause: String,
    /// 0 to 1.
    pub probability: f64,
}

/// Numbers that decided, by a name that ends in the unit.
pub type Evidence = BTreeMap<String, f64>;

/// Something wrong, with a beginning and an end.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Stable name.
    pub id: FindingId,
    /// What it is about.
    pub subject: Subject,
    /// What it says.
    pub kind: Kind,
    /// How urgent it is.
    pub severity: Severity,
    /// First evidence.
    pub began: Time,
    /// When there was enough evidence to say it.
    pub found: Time,
    /// When the evidence ended; `None` while it stands.
    pub ended: Option<Time>,
    /// 0 to 1: probability that it is this and not nothing.
    pub confidence: f64,
    /// Most probable first.
    pub causes: Vec<Cause>,
    /// The numbers that decided.
    pub evidence: Evidence,
    /// Energy lost since it began, on the AC side: what could have been fed in.
    pub lost: Energy,
    /// One sentence for people.
    pub summary: String,
    /// What to do, first things first.
    pub advice: Vec<String>,
    /// What can hurt.
    pub caution: Vec<String>,
}

impl Finding {
    /// Every number that it carries, by name: what is written must be finite.
    pub fn numbers(&self) -> impl Iterator<Item = (&str, f64)> {
        let own = [("confidence", self.confidence), ("lost_wh", self.lost.wh())];
        let causes = self
            .causes
            .iter()
            .map(|c| (c.cause.as_str(), c.probability));
        let evidence = self
            .evidence
            .iter()
            .map(|(name, number)| (name.as_str(), *number));
        own.into_iter().chain(causes).chain(evidence)
    }
}
