//! An invented plant on real Modbus TCP, on the loopback only.
//! Never in here: anything that a real plant uses.

mod register_server;

pub use register_server::{Registers, serve};
