//! The engine against recordings of real plants: what it says, and what of that is right.
//!
//! Kind of truth: reference where the publisher has labelled rows or named days; elsewhere the numbers of
//! the file were looked at by hand, and the test says what was seen. Data, licences and what could not be
//! decided: tests/data/REALITY.md. What is too large to keep here is read from the folder in
//! `NOONMARK_REALITY_DATA`; without it those tests say so and do nothing.

#[path = "reality/clipping.rs"]
mod clipping;
#[path = "reality/combiners.rs"]
mod combiners;
#[path = "reality/desert.rs"]
mod desert;
#[path = "reality/labels.rs"]
mod labels;
#[path = "reality/replayed.rs"]
mod replayed;
#[path = "reality/snow.rs"]
mod snow;
#[path = "reality/values.rs"]
mod values;
