//! The daemon.

pub mod commands;
pub mod demo;
pub mod source;
