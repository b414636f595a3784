//! Incidence modifiers with one coefficient, for modules of which only that is known.
//!
//! Model:   ASHRAE       1 - b (1 / cos theta - 1), not below 0                          eq. (1)
//!          Martin-Ruiz  (1 - exp(-cos theta / a_r)) / (1 - exp(-1 / a_r))               eq. (2)
//!          its diffuse  1 - exp(-(c1 + c2 s) s / a_r)                                   eq. (3)
//!          sky    s = sin beta + (pi - beta - sin beta) / (1 + cos beta)
//!          ground s = sin beta + (beta - sin beta) / (1 - cos beta)
//!          c1 = 0.4244,  c2 = a_r / 2 - 0.154
//! Symbols: theta  incidence    beta  tilt [rad]    b, a_r  coefficients [-], 0.05 and 0.16 usual
//! Range:   b >= 0, a_r > 0; 0 <= beta <= 90 deg. Light from behind the plane has modifier 0.
//! Source:  eq. (1) A. F. Souka, H. H. Safwat, Solar Energy 10 (4), 1966, as in ASHRAE 93;
//!          eqs. (2), (3) N. Martin, J. M. Ruiz, Sol. Energy Mater. Sol. Cells 70, 2001, and the
//!          corrigendum of 2013, as in IEC 61853-3 (all from memory, verify; compared by number
//!          with pvlib 0.16.1)
//! Check:   tests/data/reference/iam_direct.csv, iam_diffuse.csv, 1e-10 relative
//!          (tests/reference/sky.rs).
//!
//! Not used by the chain, which takes the physical model of `incidence` and `diffuse_incidence`.

use super::diffuse_incidence::DiffuseModifiers;
use crate::reading::Angle;
use std::f64::consts::PI;

/// Of eq. (3): 4 / (3 pi), in the four digits that other codes take as well.
const C1: f64 = 0.4244;

/// Modifier of direct light by ASHRAE's form.
pub fn ashrae_modifier(incidence: Angle, b: f64) -> f64 {
    if incidence.deg() >= 90.0 {
        return 0.0;
    }
    (1.0 - b * (1.0 / incidence.rad().cos() - 1.0)).max(0.0) // eq. (1)
}

/// Modifier of direct light by Martin and Ruiz.
pub fn martin_ruiz_modifier(incidence: Angle, a_r: f64) -> f64 {
    if incidence.deg() >= 90.0 {
        return 0.0;
    }
    (-incidence.rad().cos() / a_r).exp_m1() / (-1.0 / a_r).exp_m1() // eq. (2)
}

/// Modifiers of diffuse light by Martin and Ruiz; a flat plane sees no ground.
pub fn martin_ruiz_diffuse(tilt: Angle, a_r: f64) -> DiffuseModifiers {
    let beta = tilt.rad();
    let (sin_b, cos_b) = beta.sin_cos();
    let modifier = |s: f64| {
        let c2 = 0.5 * a_r - 0.154;
        -(-(C1 + c2 * s) * s / a_r).exp_m1() // eq. (3)
    };
    let ground_s = if beta > 0.0 {
        sin_b + (beta - sin_b) / (1.0 - cos_b)
    } else {
        0.0
    };
    DiffuseModifiers {
        sky: modifier(sin_b + (PI - beta - sin_b) / (1.0 + cos_b)),
        ground: modifier(ground_s),
    }
}
