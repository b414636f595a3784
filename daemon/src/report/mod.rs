//! What is told to people and to other programs.

pub mod findings_file;
