//! Insulation of the array against earth: under its limit, drifting to it, and where.
//!
//! [`IsolationWatch`] looks at single polls; [`MorningWatch`] makes one number of a day, because an
//! inverter measures before a start and often publishes that number until the next one; [`Mornings`]
//! keeps them and looks for a drift, [`NearWatch`] for numbers near the limit. [`FaultPosition`] is where along a string a single fault lies.
//! Never in here: causes.

mod falling;
#[cfg(test)]
mod falling_tests;
mod low;
mod morning;
#[cfg(test)]
mod morning_tests;
mod near;
mod position;
mod published;

pub use falling::{Fall, Falling, Mornings};
pub use low::{IsolationPoll, IsolationWatch};
pub use morning::{Morning, MorningPoll, MorningWatch, Start};
pub use near::{NearLimit, NearWatch};
pub use position::{FaultPosition, PositionError, PositionWatch, fault_position};
pub use published::Published;
