//! Whether the bands around expected voltage, current and power hold what is measured, on drawn
//! plants and on real recordings: 68 % of it within one standard deviation, 95 % within 1.96.
//!
//! Kind of truth: reference for the recordings (other people's measurements), property for the
//! drawn plants (their errors are known because they were put in). The tables are printed:
//! `cargo test -p noonmark-tests --test coverage -- --nocapture --test-threads 1`.

#[path = "coverage/bar.rs"]
mod bar;
#[path = "coverage/bench.rs"]
mod bench;
#[path = "coverage/ladder.rs"]
mod ladder;
#[path = "coverage/recordings.rs"]
mod recordings;
#[path = "coverage/simulated.rs"]
mod simulated;
