//! From weather to the voltage and current that every input should have, with their uncertainty.

mod types;
pub use types::{InputExpected, WeatherRung};
