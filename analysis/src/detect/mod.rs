//! From residuals and events to suspicions.

mod gate;
mod kind;
mod slot;

pub use gate::Gate;
pub use kind::{Kind, Severity};
pub use slot::{InputSlot, InverterSlot, PlaneSlot, Slot};
