//! Devices that are read by a register map: which blocks are asked for, and what they mean.
//!
//! [`plan`](fn@plan) and [`decode`](fn@decode) are arithmetic; [`MapDevice`] asks.
//! Never in here: what may stand in a map (`config::registers`), or a maker's own registers.

mod decode;
mod device;
mod plan;

pub(super) use decode::together;
pub use decode::{Given, Raw, decode};
pub use device::MapDevice;
pub use plan::{Block, plan};
