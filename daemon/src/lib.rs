//! The daemon.

pub mod report;
pub mod source;
pub mod store;
