//! What the command line can ask for.

pub mod check;
