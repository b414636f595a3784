//! Whether the bands of expected voltage, current and power hold what is measured: slots of an
//! engine to observations, observations to shares inside the bands and to the structure of errors.
//! Never in here: which share is enough, or where a band comes from.

mod classes;
mod observe;
mod recorded;
mod shares;
mod structure;

pub use classes::Class;
pub use observe::{Judged, Observation, Poll, observe, run};
pub use recorded::{Recorded, load_recording};
pub use shares::{Shares, Slopes, by_light, slopes, voltage_with_current, z_scores};
pub use structure::{Structure, common_and_own, quantile, structure};
