//! From weather to the voltage and current that every input should have, with their uncertainty.
//!
//! [`Ladder`] finds the best light and heat for every plane, [`Chain`] turns them into the I-V curve
//! of every input, [`Calibration`] learns how an input differs from its datasheet.
//! Never in here: what a difference between measured and expected means.

mod calibration;
mod chain;
mod heat;
mod ladder;
pub mod orientation;
mod scaled;
mod types;

pub use calibration::{Calibration, CalibrationBounds, CalibrationSample};
pub use chain::{Chain, ChainError, InputModel, Prediction};
pub use heat::Heat;
pub use ladder::{Ladder, Light, Moment, PlaneLight};
pub use scaled::{PlaneShare, needs_scaling, scale_clear_sky};
pub use types::{InputExpected, Uncertain, WeatherRung};
