//! Which way a plane really faces: its tilt and azimuth from the shape of clear days.
//!
//! [`OrientationFit`] takes one clear day of a plane and says how it lay, or why it cannot be said;
//! [`OrientationRecord`] keeps such days and says when they outweigh what the site file states.
//! Never in here: which inputs are healthy, and what a changed orientation does to the rest.

mod clear_day;
mod day;
#[cfg(test)]
mod day_tests;
#[cfg(test)]
mod ensemble_tests;
mod least_squares;
mod outcome;
mod receiver;
mod record;
mod robust;
mod sample;
mod search;
#[cfg(test)]
mod worlds;

pub use clear_day::NotClear;
pub use day::OrientationFit;
pub use outcome::{OrientationRefusal, Refined};
pub use receiver::{Receiver, ReceiverKind};
pub use record::{OrientationRecord, OrientationVerdict, Refinement};
pub use sample::OrientationSample;
