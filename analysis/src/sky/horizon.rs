//! What a plane's horizon hides of the sun.
//!
//! Model:   a sun whose centre, as seen through the air, is below the horizon gives no beam
//! Range:   any sun
//! Source:  common practice
//! Check:   tests below.
//!
//! The diffuse light that a horizon hides is left in.

use super::sun::SunPosition;
use super::transposition::PlaneIrradiance;
use crate::plant::Horizon;
use crate::reading::Irradiance;

/// Whether the horizon hides the sun.
pub fn is_hidden(sun: &SunPosition, horizon: &Horizon) -> bool {
    90.0 - sun.apparent_zenith.deg() < horizon.elevation(sun.azimuth).deg()
}

/// The light in a plane behind its horizon.
pub fn behind_horizon(
    light: PlaneIrradiance,
    sun: &SunPosition,
    horizon: &Horizon,
) -> PlaneIrradiance {
    if is_hidden(sun, horizon) {
        PlaneIrradiance {
            beam: Irradiance::from_w_m2(0.0),
            ..light
        }
    } else {
        light
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::Corner;
    use crate::reading::Angle;
    use proptest::prelude::*;

    fn deg(value: f64) -> Angle {
        Angle::from_deg(value)
    }

    proptest! {
        #[test]
        fn the_beam_goes_out_below_it_and_nothing_else_changes(
            corners in [0.0..80.0f64, 0.0..80.0f64, 0.0..80.0f64],
            azimuth in 0.0..360.0f64,
            over_deg in -5.0..5.0f64,
        ) {
            prop_assume!(over_deg.abs() > 1e-6);
            let corner = |(azimuth, elevation)| Corner {
                azimuth: deg(azimuth),
                elevation: deg(elevation),
            };
            let corners = [10.0, 130.0, 250.0].into_iter().zip(corners).map(corner);
            let line = Horizon::new(corners.collect()).expect("in range and in order");
            let zenith = deg(90.0 - line.elevation(deg(azimuth)).deg() - over_deg);
            let sun = SunPosition { apparent_zenith: zenith, zenith, azimuth: deg(azimuth) };
            let [beam, sky_diffuse, ground] = [700.0, 90.0, 5.0].map(Irradiance::from_w_m2);
            let light = PlaneIrradiance { beam, sky_diffuse, ground };
            let seen = behind_horizon(light, &sun, &line);
            let wanted = if over_deg > 0.0 { 700.0 } else { 0.0 };
            prop_assert_eq!(seen.beam.w_m2(), wanted);
            prop_assert_eq!((seen.sky_diffuse, seen.ground), (sky_diffuse, ground));
        }
    }
}
