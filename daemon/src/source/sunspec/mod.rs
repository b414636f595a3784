//! The open SunSpec models: which a device offers, what their registers mean, and back again.
//!
//! [`discover`](fn@discover) and [`read`](fn@read) ask the device; everything else is arithmetic on
//! register images. What is known about a model stands in `points.csv`; a new point is a line
//! there.
//! Never in here: a maker's own registers, or anything that changes a device.

mod alarms;
mod decode;
mod discover;
mod encode;
mod encoding;
mod identity;
mod names;
mod points;
mod ratings;
mod reads;
mod settings;
mod table;
mod walk;

pub use decode::{Decoded, Spot, best, decode};
pub use discover::{
    Device, DiscoverError, discover, read, read_planned, read_settings, read_whole,
};
pub use encode::{EncodeError, ModelImage, lay_out};
pub use encoding::Encoding;
pub use identity::Identity;
pub use names::name;
pub use points::{Content, Part, PointValue, points};
pub use ratings::{Ratings, ratings};
pub use reads::Reads;
pub use walk::{Model, WalkEnd};

/// Where the marker may stand, in the order in which it is looked for, counted from 0 as in the
/// protocol. Source: SunSpec Device Information Model Specification, device discovery. The last
/// three are for devices that count from 1 (common practice).
pub const BASES: [u16; 6] = [40_000, 0, 50_000, 40_001, 1, 50_001];
/// `SunS`, the two registers before the first model.
pub const MARKER: [u16; 2] = [0x5375, 0x6E53];
/// Stands in place of a model id behind the last model.
pub const END_OF_MODELS: u16 = 0xFFFF;
