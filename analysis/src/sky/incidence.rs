//! Angle of incidence on a plane, and what glass takes away at that angle.
//!
//! Model:   cos t = cos z cos b + sin z sin b cos(g_s - g)                              eq. (1)
//!          r = asin(sin t / n);  tau(t) = exp(-K L / cos r)
//!              (1 - (sin^2(r-t)/sin^2(r+t) + tan^2(r-t)/tan^2(r+t)) / 2)              eq. (2)
//!          modifier = tau(t) / tau(0)
//! Symbols: z zenith, b tilt, g_s and g azimuths of sun and plane; n = 1.526, K = 4 1/m, L = 2 mm.
//! Range:   t in 0 to 90 deg; beyond, no beam: 0.
//! Source:  W. De Soto, S. Klein, W. Beckman, Solar Energy 80 (2006) 78.
//! Check:   tests/reference/sky.rs.

use super::SunPosition;
use crate::plant::Plane;
use crate::reading::Angle;

const REFRACTIVE_INDEX: f64 = 1.526;
/// K L: extinction over the glass [-].
const EXTINCTION: f64 = 4.0 * 0.002;

/// Between sun and plane normal.
pub fn incidence(sun: &SunPosition, plane: &Plane) -> Angle {
    let (z, b) = (sun.apparent_zenith.rad(), plane.tilt.rad());
    let turn = sun.azimuth.rad() - plane.azimuth.rad();
    let cosine = z.cos() * b.cos() + z.sin() * b.sin() * turn.cos(); // eq. (1)
    Angle::from_deg(cosine.clamp(-1.0, 1.0).acos().to_degrees())
}

/// Beam through glass at an angle, over beam through glass at normal incidence.
pub fn incidence_modifier(incidence: Angle) -> f64 {
    let t = incidence.rad();
    if !(0.0..90.0).contains(&incidence.deg()) {
        return 0.0;
    }
    transmittance(t) / transmittance_normal()
}

fn transmittance(t: f64) -> f64 {
    // At normal incidence eq. (2) is 0/0; below this angle its limit is exact to 1e-12.
    if t < 1e-6 {
        return transmittance_normal();
    }
    let r = (t.sin() / REFRACTIVE_INDEX).asin();
    let reflected =
        ((r - t).sin() / (r + t).sin()).powi(2) + ((r - t).tan() / (r + t).tan()).powi(2);
    (-EXTINCTION / r.cos()).exp() * (1.0 - 0.5 * reflected) // eq. (2)
}

fn transmittance_normal() -> f64 {
    let reflected = ((REFRACTIVE_INDEX - 1.0) / (REFRACTIVE_INDEX + 1.0)).powi(2);
    (-EXTINCTION).exp() * (1.0 - reflected)
}
