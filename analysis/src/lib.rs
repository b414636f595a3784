//! Noonmark's arithmetic: from readings to findings.
//!
//! No clock, file, socket, thread or async in here: time is data, and the same input gives the same
//! output. Data flows one way, and code imports only from its left:
//! `reading -> plant -> sky -> array -> expected -> detect -> diagnose -> ledger -> chart -> review`,
//! with [`engine`] driving them.

pub mod array;
pub mod chart;
pub mod detect;
pub mod diagnose;
pub mod engine;
pub mod expected;
pub mod ledger;
pub mod plant;
pub mod reading;
pub mod review;
pub mod sky;
