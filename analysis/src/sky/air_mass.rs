//! Relative air mass, and standard air pressure over altitude.
//!
//! Model:   AM = 1 / (cos z + 0.50572 (96.07995 - z)^-1.6364)
//!          P  = 100 ((44331.514 - h) / 11880.516)^(1 / 0.1902632)
//! Symbols: AM  relative air mass [-]    z  apparent zenith [deg]    P  [Pa]    h  altitude [m]
//! Range:   0 <= z <= 90; a sun below the horizon has none.  h < 44331 m
//! Source:  F. Kasten, A. T. Young, Applied Optics 28 (22), 1989 (from memory, verify); pressure:
//!          standard atmosphere as written in pvlib 0.16.1 `atmosphere.alt2pres`
//! Check:   tests/data/reference/airmass.csv, 1e-10 relative (tests/reference/sky.rs);
//!          pressure below.

use super::bent_path::bent_path;
use crate::reading::Angle;

/// Sea-level pressure to which an air mass is relative [Pa].
const STANDARD_PRESSURE_PA: f64 = 101_325.0;

/// Length of the path through the air over that to the zenith; `None` for a sun that is down.
pub fn relative_air_mass(apparent_zenith: Angle) -> Option<f64> {
    air_mass_at(apparent_zenith, apparent_zenith.rad().cos())
}

/// Air mass relative to that at sea level.
pub(super) fn over_sea_level(relative: f64, pressure_pa: f64) -> f64 {
    relative * pressure_ratio(pressure_pa)
}

/// The same where the cosine is at hand.
#[inline]
pub(super) fn air_mass_at(apparent_zenith: Angle, cos_z: f64) -> Option<f64> {
    // A zenith is the same on either side of the vertical.
    let z = apparent_zenith.deg().abs();
    (z <= 90.0).then(|| 1.0 / (cos_z + bent_path(z)))
}

/// Pressure over that to which an air mass is relative [-].
pub(super) fn pressure_ratio(pressure_pa: f64) -> f64 {
    pressure_pa / STANDARD_PRESSURE_PA
}

/// Standard air pressure at an altitude above sea level [Pa].
pub fn pressure_pa_at_altitude(altitude_m: f64) -> f64 {
    100.0 * ((44_331.514 - altitude_m) / 11_880.516).powf(1.0 / 0.190_263_2)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Altitude [m], pressure [Pa] as pvlib 0.16.1 publishes it in its regression tests.
    const KNOWN: [(f64, f64); 4] = [
        (-100.0, 102_532.073),
        (0.0, 101_324.999),
        (1000.0, 89_874.750),
        (8000.0, 35_600.496),
    ];

    #[test]
    fn pressure_over_altitude_agrees_with_the_published_regression_values() {
        const PRINTED_PA: f64 = 5e-4; // three decimals
        for (altitude_m, pressure_pa) in KNOWN {
            let error = (pressure_pa_at_altitude(altitude_m) - pressure_pa).abs();
            assert!(error <= PRINTED_PA, "{altitude_m} m: off by {error} Pa");
        }
    }

    #[test]
    fn a_sun_below_the_horizon_has_no_air_mass() {
        assert!(relative_air_mass(Angle::from_deg(90.0)).is_some());
        assert_eq!(relative_air_mass(Angle::from_deg(90.01)), None);
    }
}
