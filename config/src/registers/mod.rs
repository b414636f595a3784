//! Register maps: what stands in which register of a device that has no open models.
//!
//! The same two views as of a site file: `raw` mirrors the TOML, the types here cannot hold a bad
//! value. Every problem of a map is reported with line and column, as for a site file.
//! Never in here: reading a device, or which channels a plant has.

pub(crate) mod channel;
mod check;
pub(crate) mod meaning;
mod number;
mod raw;
pub(crate) mod shapes;
mod words;

pub use raw::MAP_TABLES;
pub(crate) use raw::Map as RawMap;
pub use words::{event_words, state_words};

use crate::problem::ConfigErrors;
use analysis::plant::{EventBit, State};
use analysis::reading::{Place, Quantity, Span};
use std::collections::BTreeMap;

/// A checked register map.
#[derive(Debug, Clone, PartialEq)]
pub struct DeviceMap {
    /// For people.
    pub name: String,
    /// What is read, in file order; never empty.
    pub registers: Vec<Register>,
    /// What one request may cover.
    pub limits: BlockLimits,
}

/// What one request to the device may cover.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BlockLimits {
    /// Most registers or bits, 1 to 125.
    pub max_block: u16,
    /// Most unneeded ones in a row that may be read along.
    pub max_gap: u16,
    /// Addresses that must never be read.
    pub forbidden: Vec<Forbidden>,
}

/// Addresses that must never be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Forbidden {
    /// With this function.
    pub function: Function,
    /// First, counted from 0 as in the protocol.
    pub first: u16,
    /// Last, itself included.
    pub last: u16,
}

/// The four kinds of what can be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Function {
    /// Coils, function 1.
    Coil,
    /// Discrete inputs, function 2.
    DiscreteInput,
    /// Holding registers, function 3.
    Holding,
    /// Input registers, function 4.
    Input,
}

/// One value of the device.
#[derive(Debug, Clone, PartialEq)]
pub struct Register {
    /// With which function it is read.
    pub function: Function,
    /// First register or bit, counted from 0 as in the protocol.
    pub address: u16,
    /// How its registers make a number.
    pub encoding: Encoding,
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
    /// Time between two reads; at every poll where absent.
    pub every: Option<Span>,
}

/// How registers make a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Encoding {
    /// Kind of number.
    pub kind: NumberKind,
    /// The register with the lowest bits comes first.
    pub is_low_word_first: bool,
    /// The byte with the lowest bits comes first in each register.
    pub is_low_byte_first: bool,
}

/// Kind of number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NumberKind {
    /// One bit: a coil or a discrete input.
    Bit,
    /// Whole, one register.
    U16,
    /// Whole with sign, one register.
    I16,
    /// Whole, two registers.
    U32,
    /// Whole with sign, two registers.
    I32,
    /// Whole, four registers.
    U64,
    /// Whole with sign, four registers.
    I64,
    /// IEEE 754, two registers.
    F32,
    /// IEEE 754, four registers.
    F64,
}

/// What a number is.
#[derive(Debug, Clone, PartialEq)]
pub enum Meaning {
    /// A measurement: number * scale + offset.
    Number {
        /// Times this, never 0.
        scale: f64,
        /// Plus this.
        offset: f64,
    },
    /// An operating state by its number.
    States(BTreeMap<i64, State>),
    /// Event bits by their place in the number, from 0.
    Bits(BTreeMap<u8, EventBit>),
}

/// A number that says that there is no value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sentinel {
    /// With its sign, or as the bits stand in the registers.
    Whole(i128),
    /// Of a floating-point number.
    Float(f64),
}

impl NumberKind {
    /// How many registers it takes; a bit is one of its kind.
    pub const fn width(self) -> u16 {
        match self {
            Self::Bit | Self::U16 | Self::I16 => 1,
            Self::U32 | Self::I32 | Self::F32 => 2,
            Self::U64 | Self::I64 | Self::F64 => 4,
        }
    }

    /// How many bits it has.
    pub const fn bits(self) -> u8 {
        match self {
            Self::Bit => 1,
            _ => 16 * self.width() as u8,
        }
    }

    /// Whether it is a whole number or a bit.
    pub const fn is_whole(self) -> bool {
        !matches!(self, Self::F32 | Self::F64)
    }
}

impl Register {
    /// The last register or bit, counted from 0.
    pub fn last(&self) -> u16 {
        self.address + (self.encoding.kind.width() - 1)
    }

    /// Its address within the device, as `input-1/dc_voltage_v`.
    pub fn channel(&self) -> String {
        channel::within_device(self.place, self.quantity)
    }
}

/// Checks the text of a map called `name`.
///
/// # Errors
/// With everything that is wrong with it.
pub fn parse_map(name: &str, text: &str) -> Result<DeviceMap, ConfigErrors> {
    crate::checked_file(name, text, check::map)
}
