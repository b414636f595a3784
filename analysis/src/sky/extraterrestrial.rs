//! Irradiance outside the atmosphere, normal to the sun.
//!
//! Model:   E0 = Esc (1.000110 + 0.034221 cos B + 0.001280 sin B + 0.000719 cos 2B
//!          + 0.000077 sin 2B),  B = 2 pi (n - 1) / 365                                eq. (1)
//! Symbols: n day of the year from 1, E0 and Esc [W/m2].
//! Range:   any day.
//! Source:  J. Spencer, Search 2 (1971) 172; Esc = 1366.1 W/m2 as in ASTM E490.
//! Check:   tests/reference/sky.rs.

use super::calendar::day_of_year;
use crate::reading::{Irradiance, Time};

/// Solar constant [W/m2], ASTM E490.
const SOLAR_CONSTANT_W_M2: f64 = 1366.1;

/// Outside the atmosphere at a time.
pub fn extraterrestrial(at: Time) -> Irradiance {
    day_of_year_extraterrestrial(day_of_year(at))
}

/// Outside the atmosphere on a day of the year, from 1.
pub fn day_of_year_extraterrestrial(day: i64) -> Irradiance {
    let b = std::f64::consts::TAU * (day - 1) as f64 / 365.0;
    let ratio = 1.000_110
        + 0.034_221 * b.cos()
        + 0.001_280 * b.sin()
        + 0.000_719 * (2.0 * b).cos()
        + 0.000_077 * (2.0 * b).sin(); // eq. (1)
    Irradiance::from_w_m2(SOLAR_CONSTANT_W_M2 * ratio)
}
