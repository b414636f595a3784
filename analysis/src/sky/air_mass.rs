//! Relative air mass and air pressure.
//!
//! Model:   AM = 1 / (cos z + 0.50572 (96.07995 - z)^-1.6364)                         eq. (1)
//!          p = 100 ((44331.514 - h) / 11880.516)^(1/0.1902632)                       eq. (2)
//! Symbols: z apparent zenith [deg], h altitude [m], p [Pa].
//! Range:   z < 96 deg; below the horizon there is no air mass: `None`.
//! Source:  eq. (1) F. Kasten, A. Young, Applied Optics 28 (1989) 4735; eq. (2) standard atmosphere
//!          as in pvlib 0.16.1.
//! Check:   tests/reference/sky.rs.

use crate::reading::Angle;

/// Pressure at sea level [Pa].
pub(super) const SEA_LEVEL_PA: f64 = 101_325.0;

/// Relative air mass at an apparent zenith.
pub fn kasten_young(apparent_zenith: Angle) -> Option<f64> {
    let z = apparent_zenith.deg();
    if !(0.0..=90.0).contains(&z) {
        return None;
    }
    Some(1.0 / (apparent_zenith.rad().cos() + 0.50572 * (96.07995 - z).powf(-1.6364))) // eq. (1)
}

/// Pressure at an altitude [m].
pub fn pressure_pa(altitude_m: f64) -> f64 {
    100.0 * ((44_331.514 - altitude_m) / 11_880.516).powf(1.0 / 0.190_263_2) // eq. (2)
}
