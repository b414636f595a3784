//! Modbus, reading only: the four functions that read bits and registers, with time limits, over TCP
//! and on serial lines, several units behind one connection.
//! Never in here: a function that changes a device, or what a register means.

mod client;
mod endpoint;
mod error;
mod line;
mod poller;
mod source;
mod stream;
mod unit;

pub use client::{MAX_REGISTERS, RegisterKind};
pub use endpoint::{Endpoint, Parity, SerialLine};
pub use error::{ModbusError, Request, Trouble};
pub use line::{Line, Lines};
pub use poller::{Failure, Poller, Settings};
pub use source::{ModbusSource, SourceError};
pub use stream::Carrier;
pub use unit::{ReadOnlyClient, Words};
