//! Where readings come from: devices that are asked, and what their answers mean; recordings.
//! Never in here: a rule about the array, or anything that changes a device.

pub mod modbus;
pub mod mqtt;
mod night;
mod of_site;
pub mod recording;
pub mod registers;
pub mod sunspec;
mod wait;

pub use night::Night;
pub use of_site::{pollers, settings, subscribers};
pub use wait::{LONGEST_WAIT, Waits};
