//! Where readings come from.

pub mod recording;
