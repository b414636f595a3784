//! The summary picture: its structure, its limits, and that nothing makes it panic.
//! Property tests, and structure of our own output; no reference numbers.

mod pictures;
mod plant;
mod properties;
mod structure;
