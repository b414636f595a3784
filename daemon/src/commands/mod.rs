//! The commands of the program, each as a function that takes where to print.
//! Never in here: arithmetic, or the command line itself (`main.rs`).

pub mod check;
pub mod exit;
pub mod replay;
pub mod run;
pub mod scan;
mod scan_settings;
