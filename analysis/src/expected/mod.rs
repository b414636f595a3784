//! From weather to the voltage and current that every input should have, with their uncertainty.
//!
//! [`Ladder`] finds the best irradiance and temperature for every plane, [`Chain`] turns them into
//! the I-V curve of every input, [`Calibration`] learns how an input differs from its datasheet.
//! Never in here: what a difference between measured and expected means.

mod calibration;
mod chain;
mod ladder;
mod types;

pub use calibration::{Calibration, CalibrationSample};
pub use chain::{Chain, ChainError, InputModel, Prediction, scale_to_own_inputs};
pub use ladder::{Ladder, Light, PlaneLight};
pub use types::{InputExpected, Uncertain, WeatherRung};
