//! Whether an irradiance that a sensor shows can be true at all.
//!
//! Model:   DHI <= 0.95 E0 mu^1.2 + 50;  DNI <= E0                                       eq. (1)
//!          |GHI / (DNI mu + DHI) - 1| <= 0.08 for z < 75 deg, else 0.15, where the sum is
//!          over 50 W/m2                                                                 eq. (2)
//!          plane: at most 1.5 times what a clear sky gives, and 100 W/m2 more           eq. (3)
//!          GHI: `sky::is_possible_ghi`. One that no longer moves: `detect::FrozenWatch`
//! Symbols: E0 extraterrestrial [W/m2], mu cosine of the apparent zenith z, not below 0
//! Range:   sun above the horizon
//! Source:  eqs. (1), (2) limits of the Baseline Surface Radiation Network, C. Long, E. Dutton, 2002
//!          (from memory, verify); eq. (3) and the rest engineering judgement: edges of clouds lift
//!          the light over a clear sky's by up to half for minutes
//! Check:   tests below; tests/acceptance/engine/sensors.rs.

use crate::reading::Irradiance;
use crate::sky::Sunlight;

/// Sum of components above which they must close [W/m2].
const CLOSES_FROM_W_M2: f64 = 50.0;
/// How far they may miss, under a high and under a low sun [-].
const CLOSES_HIGH_RATIO: f64 = 0.08;
const CLOSES_LOW_RATIO: f64 = 0.15;
/// Cosine of a zenith of 75 deg.
const LOW_SUN: f64 = 0.258_819_045_102_521;

/// The most that direct and diffuse sensors can show under a sun [W/m2].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Most {
    pub dni: f64,
    pub dhi: f64,
}

impl Most {
    pub fn under(sunlight: &Sunlight) -> Self {
        let e0 = sunlight.extraterrestrial().w_m2();
        let mu = sunlight.direction.up.max(0.0).powf(1.2);
        Self {
            dhi: 0.95 * e0 * mu + 50.0,
            dni: e0,
        }
    }
}

/// The most that a sensor in a plane can show under a sky [W/m2].
pub(super) fn most_in_plane(clear: Irradiance) -> f64 {
    1.5 * clear.w_m2() + 100.0 // eq. (3)
}

/// Whether the three components belong to one sky.
pub(super) fn closes(
    ghi: Irradiance,
    dni: Irradiance,
    dhi: Irradiance,
    sunlight: &Sunlight,
) -> bool {
    let mu = sunlight.direction.up.max(0.0);
    let sum = dni.w_m2() * mu + dhi.w_m2();
    let most = if mu > LOW_SUN {
        CLOSES_HIGH_RATIO
    } else {
        CLOSES_LOW_RATIO
    };
    sum <= CLOSES_FROM_W_M2 || (ghi.w_m2() / sum - 1.0).abs() <= most // eq. (2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Angle;
    use crate::sky::SunPosition;

    fn sunlight(zenith_deg: f64) -> Sunlight {
        let zenith = Angle::from_deg(zenith_deg);
        let sun = SunPosition {
            apparent_zenith: zenith,
            zenith,
            azimuth: Angle::from_deg(0.0),
        };
        Sunlight::new(&sun, Irradiance::from_w_m2(1360.0))
    }

    #[test]
    fn a_white_sky_is_possible_and_more_than_the_sun_is_not() {
        let most = Most::under(&sunlight(30.0));
        assert!(most.dhi > 500.0 && most.dhi < 1360.0, "{most:?}");
        assert_eq!(most.dni, 1360.0);
    }

    #[test]
    fn components_of_one_sky_close_and_others_do_not() {
        let [ghi, dni, dhi] = [700.0, 700.0, 100.0].map(Irradiance::from_w_m2);
        assert!(closes(ghi, dni, dhi, &sunlight(30.0)));
        assert!(!closes(
            ghi,
            Irradiance::from_w_m2(300.0),
            dhi,
            &sunlight(30.0)
        ));
        let little = Irradiance::from_w_m2(20.0);
        assert!(closes(ghi, little, little, &sunlight(30.0)));
    }
}
