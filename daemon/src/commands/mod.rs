//! The commands of the program, each as a function that takes where to print.
//! Never in here: arithmetic, or the command line itself (`main.rs`).

mod at_store;
pub mod backup;
pub mod check;
pub mod doctor;
pub mod documents;
pub mod exit;
pub mod export;
pub mod init;
pub mod live;
mod meter;
pub mod password;
pub mod replay;
pub mod report;
pub mod run;
pub mod scan;
mod scan_map;
mod scan_models;
mod scan_points;
mod scan_raw;
mod scan_settings;
pub mod trial;
pub mod verify;

pub use scan_raw::Wanted;
