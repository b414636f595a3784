//! What the glass takes from light that comes from the whole sky or the whole ground.
//!
//! Model:   modifier = sum(m(theta) cos theta dA) / sum(cos theta dA)                    eq. (1)
//!          over the patches of sky, or ground, that lie before the plane, each as bright
//!          cos theta = cos beta cos phi + sin beta sin phi cos psi
//!          dA = d psi (cos phi - cos(phi + d phi)), theta at the middle of a patch
//! Symbols: theta  incidence    beta  tilt    phi, psi  zenith and azimuth of a patch
//!          m  modifier of direct light (physical model, `incidence`) [-]
//! Range:   0 <= beta <= 180 deg; where the plane sees none of a region its modifier is 0.
//! Source:  B. Marion, Solar Energy 147, 2017, 344-348, patches of one degree as there (from
//!          memory, verify; compared by number with pvlib 0.16.1 `iam.marion_diffuse`)
//! Check:   tests/data/reference/iam_diffuse.csv, 1e-10 relative (tests/reference/sky.rs).

use super::incidence::incidence_modifier;
use crate::reading::Angle;
use std::f64::consts::PI;
use std::ops::Range;

/// Patches over half a turn.
const STEPS: u16 = 180;

/// Modifiers for light that comes from everywhere; fixed by the tilt of a plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DiffuseModifiers {
    /// For light from the sky [-].
    pub sky: f64,
    /// For light from the ground; 0 for a flat plane, which sees none [-].
    pub ground: f64,
}

/// Modifiers of diffuse light behind flat glass.
pub fn diffuse_modifiers(tilt: Angle) -> DiffuseModifiers {
    DiffuseModifiers {
        sky: mean_modifier(tilt, 0..STEPS / 2),
        ground: mean_modifier(tilt, STEPS / 2..STEPS),
    }
}

/// Mean over rings of zenith angle.
fn mean_modifier(tilt: Angle, rings: Range<u16>) -> f64 {
    let step = PI / f64::from(STEPS);
    let (sin_b, cos_b) = tilt.rad().sin_cos();
    let (mut passed, mut arrived) = (0.0, 0.0);
    for ring in rings {
        let from = f64::from(ring) * step;
        let area = step * (from.cos() - (from + step).cos());
        let (sin_phi, cos_phi) = (from + step / 2.0).sin_cos();
        // The other half turn is this one mirrored.
        for patch in 0..STEPS {
            let psi = (f64::from(patch) + 0.5) * step;
            let cos_theta = cos_b * cos_phi + sin_b * sin_phi * psi.cos();
            if cos_theta > 0.0 {
                let theta = Angle::from_deg(cos_theta.acos().to_degrees());
                arrived += cos_theta * area;
                passed += incidence_modifier(theta) * cos_theta * area;
            }
        }
    }
    if arrived > 0.0 {
        passed / arrived // eq. (1)
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sky::martin_ruiz_diffuse;

    #[test]
    fn a_flat_plane_sees_no_ground_and_an_upright_one_as_much_as_sky() {
        const ROUNDING: f64 = 1e-12;
        let flat = Angle::from_deg(0.0);
        assert_eq!(diffuse_modifiers(flat).ground, 0.0);
        assert_eq!(martin_ruiz_diffuse(flat, 0.16).ground, 0.0);
        let upright = diffuse_modifiers(Angle::from_deg(90.0));
        assert!((upright.sky - upright.ground).abs() < ROUNDING);
    }
}
