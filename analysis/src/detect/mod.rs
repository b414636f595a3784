//! From readings and expected values to suspicions.
//!
//! Two kinds of detector: those on slots (residuals of an input, in [`Window`] and [`Daily`]) and
//! those on single polls ([`LinkWatch`], [`SupplyWatch`], [`IsolationWatch`], [`MorningWatch`],
//! [`ResidualCurrentWatch`]). A slot detector hands its samples on to `diagnose`, which says what
//! they mean; a poll detector knows what it saw.
//! Never in here: causes, advice, texts for people.

mod daily;
mod gate;
mod isolation;
mod kind;
mod link;
mod residual;
mod residual_current;
mod slot;
mod standstill;
mod supply;
mod trip;
mod wetness;
mod window;

pub use daily::{Daily, DailyLoss};
pub(crate) use gate::MIN_POA_W_M2;
pub use gate::{Gate, GateFacts, gate};
pub use isolation::{
    Fall, Falling, FaultPosition, IsolationPoll, IsolationWatch, Morning, MorningPoll,
    MorningWatch, Mornings, PositionError, PositionWatch, Published, Start, fault_position,
};
pub use kind::{Kind, Severity};
pub use link::LinkWatch;
pub use residual::{Residual, common_factor, residual};
pub use residual_current::{ResidualCurrentWatch, residual_current_limit_a};
pub use slot::{InputSlot, InverterSlot, PlaneSlot, Slot};
pub use standstill::{Standstill, StandstillWatch};
pub use supply::{Poll, SupplyWatch};
pub use trip::{TripCause, TripReport};
pub use wetness::{Dampness, Moisture};
pub use window::{Sample, Window};

use crate::reading::Time;

/// What a poll detector saw begin or end.
#[derive(Debug, Clone, PartialEq)]
pub enum Edge<T> {
    /// It began then, and there is now enough evidence to say so.
    Found {
        /// First evidence.
        began: Time,
        /// When it could be said.
        found: Time,
        /// What was seen.
        seen: T,
    },
    /// It ended then.
    Ended {
        /// End of the evidence.
        at: Time,
    },
}
