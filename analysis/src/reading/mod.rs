//! What a reading is: a quantity with a unit, on a channel, at a time, with a quality.
//!
//! The glossary of the project. One concept, one word; extend this list before a new word is used.
//!
//! | word | meaning |
//! |---|---|
//! | site | one plant with one owner, one place and one weather |
//! | plane | modules with one tilt and one azimuth |
//! | module, string | a photovoltaic module; modules in series |
//! | input | one MPPT input of an inverter, with its strings in parallel |
//! | source | where readings come from: a device on a bus, a broker, a recording |
//! | channel | one quantity of one device, input or string; its address is `inv-1/input-2/dc_current_a` |
//! | reading | one value of one channel at one time, with its quality |
//! | slot | a span of the time grid; array tests work on the means in a slot |
//! | expected | what the weather and the datasheet say an input should do |
//! | residual | measured - expected |
//! | gate | the condition under which a test on a slot is valid |
//! | finding | something wrong, with a beginning and an end |
//! | cause, evidence, advice | why, the numbers that say so, what to do about it |
//! | limit | what lets an inverter or an input take less than the array offers |
//! | ceiling | the most AC power that a limit leaves |
//! | ledger | where every missing watt-hour went |
//! | outage | an inverter stands still in light that is enough to work in |
//! | cover | how much of the light the slots hold that a figure rests on |
//! | capacity | AC power at stated light, air and wind, by regression |
//!
//! Never in here: what a value should be, or whether it is right.

mod calendar;
mod channel;
mod grid;
mod robust;
mod slope;
mod student;
mod time;
mod units;

pub(crate) use calendar::{civil_from_days, days_from_month};
pub use channel::{
    Channel, ChannelError, ChannelId, ChannelTable, DeviceId, Place, Quantity, Scope,
};
pub use grid::{Arrivals, Offer, SlotMeans, Stat};
pub(crate) use robust::{MEDIAN_OVER_MEAN, TUKEY_WIDTH, tukey_loss};
pub use robust::{median, robust_spread, tukey_weight};
pub(crate) use slope::pair_slopes;
pub use slope::{Interval, Slope, robust_slope};
pub(crate) use student::student_t_95;
pub use time::{SolarDay, Span, Time};
pub use units::{
    Angle, ApparentPower, Current, Energy, Frequency, Irradiance, Power, ReactivePower, Resistance,
    Speed, Temperature, Voltage,
};

use serde::{Deserialize, Serialize};

/// One value of one channel at one time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Which channel, as numbered by the plant's [`ChannelTable`].
    pub channel: ChannelId,
    /// UTC. A mean over an interval carries the middle of the interval.
    pub at: Time,
    /// The value in the unit that ends the channel's name, or why there is none.
    pub value: Value,
}

/// A measured value, or why there is none. Only [`Value::Good`] takes part in analysis.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Value {
    /// Finite and inside what the quantity can be.
    Good(f64),
    /// The device answered and has no value (not implemented, empty field, NaN).
    Missing,
    /// A finite number that the quantity cannot have.
    OutOfRange(f64),
    /// The device says itself that it is wrong; with the number that it gave, if it gave one.
    Faulty(Option<f64>),
}

impl Value {
    /// Sorts a decoded number into good, missing (NaN, infinite) and out of range.
    pub fn judge(quantity: Quantity, value: f64) -> Self {
        let (low, high) = quantity.possible_range();
        if !value.is_finite() {
            Value::Missing
        } else if value < low || value > high {
            Value::OutOfRange(value)
        } else {
            Value::Good(value)
        }
    }

    /// The number, if it may be used.
    pub fn good(self) -> Option<f64> {
        match self {
            Value::Good(value) => Some(value),
            Value::Missing | Value::OutOfRange(_) | Value::Faulty(_) => None,
        }
    }

    /// The number that came, whether it may be used or not.
    pub fn number(self) -> Option<f64> {
        match self {
            Value::Good(number) | Value::OutOfRange(number) => Some(number),
            Value::Missing => None,
            Value::Faulty(number) => number,
        }
    }

    /// The same as its device tells it that says of it that it is wrong.
    pub fn faulty(self) -> Self {
        Value::Faulty(self.number())
    }
}
