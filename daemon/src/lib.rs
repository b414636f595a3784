//! The daemon.

pub mod report;
