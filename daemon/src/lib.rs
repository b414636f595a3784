//! The daemon.

pub mod commands;
