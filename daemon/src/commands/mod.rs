//! The commands of the program. Never in here: arithmetic.

pub mod check;
pub mod scan;
