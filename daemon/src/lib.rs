//! The daemon.

pub mod report;
pub mod store;
