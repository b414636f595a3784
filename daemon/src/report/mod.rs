//! What a report writes into its folder.

pub mod chart_files;
