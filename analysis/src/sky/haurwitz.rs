//! The most light that the ground can get, from the sun's height alone: for sensors that read what
//! no sky gives.
//!
//! Model:   GHI = 1098 cos z exp(-0.059 / cos z)                                         eq. (1)
//!          a reading is possible from -20 W/m2 to 1.6 GHI + 60 W/m2
//! Symbols: z  apparent zenith
//! Range:   0 below the horizon
//! Source:  eq. (1) B. Haurwitz, J. Meteorology 2, 1945 (from memory, verify; compared by number
//!          with pvlib 0.16.1 `clearsky.haurwitz`). The bounds are a judgement of our own: clouds
//!          beside the sun lift a minute to half as much again, high sites add a tenth; the constant
//!          part is for a sun near the horizon, the offset of a pyranometer at night for the other.
//! Check:   tests/data/reference/clearsky_haurwitz.csv, 1e-10 relative (tests/reference/sky.rs);
//!          no clear sky counts as impossible (`property_tests`).

use crate::reading::{Angle, Irradiance};

/// Most over the clear sky of eq. (1) [-].
const MOST_RATIO: f64 = 1.6;
/// Most that is added, low sun and twilight [W/m2].
const MOST_ADDED_W_M2: f64 = 60.0;
/// Least of a sound pyranometer on a clear night [W/m2].
const LEAST_W_M2: f64 = -20.0;

/// Global horizontal irradiance under a clear sky.
pub fn haurwitz(apparent_zenith: Angle) -> Irradiance {
    let cos_z = apparent_zenith.rad().cos();
    Irradiance::from_w_m2(if cos_z > 0.0 {
        1098.0 * cos_z * (-0.059 / cos_z).exp() // eq. (1)
    } else {
        0.0
    })
}

/// Whether any sky gives this global horizontal irradiance; NaN is given by none.
pub fn is_possible_ghi(ghi: Irradiance, apparent_zenith: Angle) -> bool {
    let most = MOST_RATIO * haurwitz(apparent_zenith).w_m2() + MOST_ADDED_W_M2;
    (LEAST_W_M2..=most).contains(&ghi.w_m2())
}
