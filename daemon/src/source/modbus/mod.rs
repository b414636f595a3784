//! Modbus, reading only: the four functions that read bits and registers, with time limits.
//! Never in here: a function that changes a device, or what a register means.

mod client;
mod error;
mod poller;
mod source;

pub use client::{MAX_REGISTERS, ReadOnlyClient, RegisterKind};
pub use error::{ModbusError, Request, Trouble};
pub use poller::{Failure, Poller};
pub use source::{ModbusSource, Settings, SourceError};
