//! Angle between sun and plane, and what the glass takes from light that comes at an angle.
//!
//! Model:   cos theta = cos z cos beta + sin z sin beta cos(gamma_s - gamma)
//!          theta_r = asin(sin theta / n);  tau = exp(-K L / cos theta_r) (1 - (r_s + r_p) / 2)
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

use super::sun::SunPosition;
use crate::plant::Plane;
use crate::reading::Angle;

/// Refractive index of glass [-].
const GLASS_INDEX: f64 = 1.526;
/// Extinction in glass [1/m].
const GLASS_EXTINCTION_PER_M: f64 = 4.0;
/// Thickness of the cover [m].
const GLASS_THICKNESS_M: f64 = 0.002;

/// Angle between the direction to the sun, as seen, and the normal of the plane, 0 to 180 deg.
pub fn incidence(sun: &SunPosition, plane: &Plane) -> Angle {
    Angle::from_deg(cos_incidence(sun, plane).acos().to_degrees())
}

/// Cosine of the incidence; negative for a sun behind the plane.
pub(super) fn cos_incidence(sun: &SunPosition, plane: &Plane) -> f64 {
    let (sin_z, cos_z) = sun.apparent_zenith.rad().sin_cos();
    let (sin_b, cos_b) = plane.tilt.rad().sin_cos();
    let turn = (sun.azimuth.deg() - plane.azimuth.deg()).to_radians();
    // Rounding can lift the sum over one by an ulp, and acos would make a NaN of it.
    (cos_z * cos_b + sin_z * sin_b * turn.cos()).clamp(-1.0, 1.0)
}

/// Light that passes the glass at this incidence over light that passes at normal incidence [-].
pub fn incidence_modifier(incidence: Angle) -> f64 {
    if incidence.deg() >= 90.0 {
        return 0.0;
    }
    let normal = transmittance(0.0);
    transmittance(incidence.rad()) / normal
}

fn transmittance(theta: f64) -> f64 {
    let cos_out = theta.cos();
    let cos_in = (theta.sin() / GLASS_INDEX).asin().cos();
    let part = |a: f64, b: f64| ((a - b) / (a + b)).powi(2);
    let r_s = part(cos_out, GLASS_INDEX * cos_in);
    let r_p = part(GLASS_INDEX * cos_out, cos_in);
    let absorbed = (-GLASS_EXTINCTION_PER_M * GLASS_THICKNESS_M / cos_in).exp();
    absorbed * (1.0 - (r_s + r_p) / 2.0)
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
