//! Message maps: which part of which message of a device on MQTT is what.
//!
//! The same two views as of a site file: `raw` mirrors the TOML, the types here cannot hold a bad value.
//! Never in here: receiving messages, or which channels a plant has.

mod check;
mod raw;

pub use raw::MESSAGE_TABLES;
pub(crate) use raw::Map as RawMap;

use crate::problem::ConfigErrors;
use crate::registers::channel::within_device;
use crate::registers::{Meaning, Sentinel};
use analysis::reading::{Place, Quantity};

/// A checked message map.
#[derive(Debug, Clone, PartialEq)]
pub struct MessageMap {
    /// For people.
    pub name: String,
    /// What a message holds.
    pub payload: Payload,
    /// What is taken, in file order; never empty.
    pub values: Vec<MessageValue>,
}

/// What a message holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Payload {
    /// A JSON document, and where it says when its values were taken; on arrival where it does not.
    Json(Option<DocumentTime>),
    /// One number as text.
    Number,
    /// The payload of Sparkplug B.
    Sparkplug,
}

/// A time in a JSON document.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DocumentTime {
    /// Where it stands.
    pub pointer: String,
    /// How it is written.
    pub format: TimeFormat,
}

/// How a time is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeFormat {
    /// RFC 3339 text.
    Rfc3339,
    /// Seconds since 1970-01-01 UTC.
    UnixS,
    /// Milliseconds since then.
    UnixMs,
}

/// One value of the device.
#[derive(Debug, Clone, PartialEq)]
pub struct MessageValue {
    /// Below the topic of the source; the topic itself where absent.
    pub topic: Option<String>,
    /// Pointer into the document, or name of the metric; empty for a plain number.
    pub part: String,
    /// What the number is.
    pub meaning: Meaning,
    /// Numbers that say that there is no value.
    pub not_available: Vec<Sentinel>,
    /// Numbers that say that the device's own measuring is broken.
    pub faulty: Vec<Sentinel>,
    /// Where on the device it belongs.
    pub place: Place,
    /// What it is.
    pub quantity: Quantity,
}

impl MessageValue {
    /// Its address within the device, as `input-1/dc_voltage_v`.
    pub fn channel(&self) -> String {
        within_device(self.place, self.quantity)
    }
}

/// Checks the text of a map called `name`.
///
/// # Errors
/// With everything that is wrong with it.
pub fn parse_message_map(name: &str, text: &str) -> Result<MessageMap, ConfigErrors> {
    crate::checked_file(name, text, check::map)
}
