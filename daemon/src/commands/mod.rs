//! The commands of the program. Never in here: arithmetic.

pub mod scan;
