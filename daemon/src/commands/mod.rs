//! The commands of the program, each as a function that takes where to print.
//! Never in here: arithmetic, or the command line itself (`main.rs`).

pub mod check;
pub mod exit;
pub mod replay;
pub mod run;
pub mod scan;
mod scan_map;
mod scan_raw;
mod scan_settings;

pub use scan_raw::Wanted;
