//! The daemon: sources, store, analysis, reports and the commands.
//!
//! The only crate with sockets, files, threads and the clock; the arithmetic is in `analysis`.

pub mod alert;
pub mod analyse;
pub mod clock;
pub mod command_line;
pub mod commands;
pub mod demo;
pub mod desk;
pub mod latest;
pub mod mqtt;
pub mod report;
pub mod run;
pub mod secret;
pub mod signals;
pub mod source;
pub mod store;
pub mod supervisor;
pub mod text;
pub mod tls;
pub mod web;
pub mod written;
