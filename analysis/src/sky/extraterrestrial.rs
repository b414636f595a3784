//! Irradiance on a plane facing the sun outside the atmosphere.
//!
//! Model:   E0 = Esc (1.000110 + 0.034221 cos B + 0.001280 sin B + 0.000719 cos 2B
//!          + 0.000077 sin 2B),  B = 2 pi (n - 1) / 365
//! Symbols: E0, Esc  irradiance, solar constant [W/m2]    n  day of the year, UTC [-]
//! Range:   any day; day 366 continues the series
//! Source:  J. W. Spencer, "Fourier series representation of the position of the sun",
//!          Search 2 (5), 1971; Esc 1366.1 W/m2 as in ASTM E490 (both from memory, verify)
//! Check:   tests/data/reference/extraterrestrial.csv, 1e-10 relative (tests/reference/sky.rs).

use super::calendar::day_of_year;
use crate::reading::{Irradiance, Time};
use std::f64::consts::TAU;

/// Solar constant [W/m2], ASTM E490. Other sources give 1367 (WMO) or 1361.
const SOLAR_CONSTANT_W_M2: f64 = 1366.1;

/// Irradiance facing the sun outside the atmosphere on this day.
pub fn extraterrestrial(at: Time) -> Irradiance {
    Irradiance::from_w_m2(SOLAR_CONSTANT_W_M2 * over_solar_constant(at))
}

/// Irradiance over that at the mean distance of the sun [-].
pub(super) fn over_solar_constant(at: Time) -> f64 {
    let b = TAU * (f64::from(day_of_year(at)) - 1.0) / 365.0;
    1.000_110
        + 0.034_221 * b.cos()
        + 0.001_280 * b.sin()
        + 0.000_719 * (2.0 * b).cos()
        + 0.000_077 * (2.0 * b).sin()
}
