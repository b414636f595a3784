//! Shade on an input, learned over the position of the sun, and what it takes from what is expected.
//!
//! [`ShadeMap`] keeps it, [`Shade`] is what it says of one position, [`ShadeDay`] what one clear day
//! said.
//! Never in here: whether shade is worth a finding.

mod cell;
mod day;
mod map;

pub use cell::SkyCell;
pub use day::{CellDay, ShadeDay, ShadeSample};
pub use map::ShadeMap;

/// What shade takes from an input at one position of the sun.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Shade {
    /// Of the beam [-]: weaker light on all that gives the current.
    pub beam_ratio: f64,
    /// Of the voltage [-]: sections in the shade that their bypass diodes take out.
    pub voltage_ratio: f64,
}

/// What is always left of the light [-]: an obstacle never hides the whole sky.
const LEFT_RATIO: f64 = 0.03;
/// One standard deviation of shade beside the shade itself [-]: its edge lies somewhere in a cell.
const UNSURE_RATIO: f64 = 0.3;

impl Shade {
    /// None.
    pub const NONE: Self = Self {
        beam_ratio: 0.0,
        voltage_ratio: 0.0,
    };

    /// Whether it takes nothing.
    pub fn is_none(&self) -> bool {
        *self == Self::NONE
    }

    /// What is left of the light, of which this share is beam [-].
    pub fn light_left(&self, beam_share: f64) -> f64 {
        (1.0 - self.beam_ratio * beam_share).max(LEFT_RATIO)
    }

    /// What is left of the voltage, under this share of beam [-]: without beam nothing is passed by.
    pub fn voltage_left(&self, beam_share: f64) -> f64 {
        /// Below it what is shaded gets nearly as much light as what is not.
        const BYPASSES_FROM: f64 = 0.25;
        if beam_share < BYPASSES_FROM {
            1.0
        } else {
            (1.0 - self.voltage_ratio).max(LEFT_RATIO)
        }
    }

    /// Loss of power where this share of the light is beam [-].
    pub fn power_ratio(&self, beam_share: f64) -> f64 {
        1.0 - self.light_left(beam_share) * self.voltage_left(beam_share)
    }

    /// One standard deviation of what is left of the current and of the voltage [-].
    pub fn sigma(&self, beam_share: f64) -> (f64, f64) {
        let of = |left: f64| UNSURE_RATIO * (1.0 - left) / left;
        (
            of(self.light_left(beam_share)).min(1.0),
            of(self.voltage_left(beam_share)).min(1.0),
        )
    }
}
