//! Angle between sun and plane, and what the glass takes from light that comes at an angle.
//!
//! Model:   cos theta = cos z cos beta + sin z sin beta cos(gamma_s - gamma), as the product of the
//!          direction to the sun and the normal of the plane
//!          sin theta_r = sin theta / n;  tau = exp(-K L / cos theta_r) (1 - (r_s + r_p) / 2)
//!          modifier = tau(theta) / tau(0)
//! Symbols: theta, theta_r  incidence outside and inside the glass [rad]    n  refraction [-]
//!          z, gamma_s  apparent zenith, azimuth of the sun
//!          beta, gamma  tilt, azimuth of the plane
//!          r_s, r_p  reflected parts of both polarisations [-]    K [1/m], L [m]  glass
//! Range:   0 <= theta < 90 deg; at and beyond 90 deg no beam enters and the modifier is 0
//! Source:  W. De Soto, S. A. Klein, W. A. Beckman, Solar Energy 80 (1), 2006 (from memory,
//!          verify). r_s, r_p stand here as cosines, equal by Snell's law to the paper's sin2 and
//!          tan2 ratios and without their 0/0 at theta = 0.
//! Check:   tests/data/reference/iam_direct.csv, 1e-10 relative (tests/reference/sky.rs).

use super::angles::polynomial;
use super::sun::{SunDirection, SunPosition};
use crate::plant::Plane;
use crate::reading::Angle;

/// Refractive index of glass [-].
const GLASS_INDEX: f64 = 1.526;
/// Extinction in glass [1/m].
const GLASS_EXTINCTION_PER_M: f64 = 4.0;
/// Thickness of the cover [m].
const GLASS_THICKNESS_M: f64 = 0.002;

/// exp(-K L x) by its series: K L is 0.008, and the longest way through the glass is 0.32 longer.
const LOST: [f64; 5] = {
    let k = -GLASS_EXTINCTION_PER_M * GLASS_THICKNESS_M;
    [1.0, k, k * k / 2.0, k * k * k / 6.0, k * k * k * k / 24.0]
};

/// Which way a plane faces: its normal, computed once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Facing {
    /// sin beta, cos beta.
    pub(super) sin_tilt: f64,
    pub(super) cos_tilt: f64,
    north: f64,
    east: f64,
}

impl Facing {
    /// Of a plane.
    pub fn of(plane: &Plane) -> Self {
        let (sin_tilt, cos_tilt) = plane.tilt.rad().sin_cos();
        let (sin_azimuth, cos_azimuth) = plane.azimuth.rad().sin_cos();
        Self {
            sin_tilt,
            cos_tilt,
            north: sin_tilt * cos_azimuth,
            east: sin_tilt * sin_azimuth,
        }
    }

    /// Cosine of the incidence; negative for a sun behind the plane.
    #[inline]
    pub fn cos_incidence(&self, sun: &SunDirection) -> f64 {
        let cos = sun.up * self.cos_tilt + sun.north * self.north + sun.east * self.east;
        // Rounding can lift the sum over one by an ulp, and acos would make a NaN of it.
        cos.clamp(-1.0, 1.0)
    }
}

/// Angle between the direction to the sun, as seen, and the normal of the plane, 0 to 180 deg.
pub fn incidence(sun: &SunPosition, plane: &Plane) -> Angle {
    let cos = Facing::of(plane).cos_incidence(&SunDirection::of(sun));
    Angle::from_deg(cos.acos().to_degrees())
}

/// Light that passes the glass at this incidence over light that passes at normal incidence [-].
pub fn incidence_modifier(incidence: Angle) -> f64 {
    if incidence.deg() >= 90.0 {
        return 0.0;
    }
    incidence_modifier_at(incidence.rad().cos())
}

/// The same for the cosine of the incidence.
#[inline]
pub fn incidence_modifier_at(cos_incidence: f64) -> f64 {
    if cos_incidence <= 0.0 {
        return 0.0;
    }
    passed(cos_incidence) / passed(1.0)
}

/// The part that is neither reflected nor lost on the way, over what is not lost on the shortest.
#[inline]
fn passed(cos_out: f64) -> f64 {
    let sin_in_2 = (1.0 - cos_out * cos_out) * (1.0 / (GLASS_INDEX * GLASS_INDEX));
    let cos_in = (1.0 - sin_in_2).sqrt();
    // 1 - r = 4 n cos cos' / sum2 for both polarisations, without the difference of near numbers.
    let product = GLASS_INDEX * cos_out * cos_in;
    let (s, p) = (
        cos_out + GLASS_INDEX * cos_in,
        GLASS_INDEX * cos_out + cos_in,
    );
    let (s_2, p_2) = (s * s, p * p);
    let let_in = 2.0 * product * (s_2 + p_2) / (s_2 * p_2);
    let_in * polynomial(&LOST, 1.0 / cos_in - 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_modifier_falls_from_one_to_nothing() {
        let mut before = incidence_modifier(Angle::from_deg(0.0));
        assert_eq!(before, 1.0);
        for tenth in 1..1000 {
            let modifier = incidence_modifier(Angle::from_deg(f64::from(tenth) / 10.0));
            assert!(
                (0.0..=before).contains(&modifier),
                "{tenth} tenths: {modifier}"
            );
            before = modifier;
        }
        assert_eq!(incidence_modifier(Angle::from_deg(90.0)), 0.0);
        assert_eq!(incidence_modifier(Angle::from_deg(180.0)), 0.0);
    }
}
