//! Light in a tilted plane, from the components on the ground or from the plane's own sensor.
//!
//! Model:   beam = DNI max(cos theta, 0);  ground = GHI rho (1 - cos beta) / 2
//!          D = DHI AM / E0;  e = ((DHI + DNI) / DHI + 1.041 z3) / (1 + 1.041 z3)
//!          F1 = max(0, f11 + f12 D + f13 z);  F2 = f21 + f22 D + f23 z, f from the row of e
//!          sky = DHI (0.5 (1 - F1) (1 + cos beta) + F1 a / b + F2 sin beta), not below 0
//!          a = max(0, cos theta);  b = max(cos 85 deg, cos z)
//! Symbols: theta  incidence    z  apparent zenith [rad]    beta  tilt    rho  albedo [-]
//!          AM  relative air mass [-]    E0  extraterrestrial irradiance [W/m2]
//! Range:   sun above the horizon; below it the sky is taken as evenly bright
//! Source:  R. Perez, P. Ineichen, R. Seals, J. Michalsky, R. Stewart, Solar Energy 44 (5), 1990,
//!          coefficients "all sites composite" (from memory, verify; compared by number with pvlib)
//! Check:   tests/data/reference/transposition.csv 1e-10, site_year.csv 1e-8 relative
//!          (tests/reference/sky.rs).

use super::air_mass::relative_air_mass;
use super::decomposition::{Components, LEAST_COSINE, erbs_diffuse_ratio};
use super::extraterrestrial::extraterrestrial;
use super::incidence::cos_incidence;
use super::sky_model::SkyModel;
use super::sun::SunPosition;
use crate::plant::Plane;
use crate::reading::{Irradiance, Time};

/// Weight of z3 in the clearness [1/rad3].
const KAPPA: f64 = 1.041;

/// Upper end of the clearness of all rows of [`PEREZ`] but the last.
const CLEARNESS_UP_TO: [f64; 7] = [1.065, 1.23, 1.5, 1.95, 2.8, 4.5, 6.2];

/// f11, f12, f13, f21, f22, f23 per row of clearness.
const PEREZ: [[f64; 6]; 8] = [
    [-0.008, 0.588, -0.062, -0.060, 0.072, -0.022],
    [0.130, 0.683, -0.151, -0.019, 0.066, -0.029],
    [0.330, 0.487, -0.221, 0.055, -0.064, -0.026],
    [0.568, 0.187, -0.295, 0.109, -0.152, -0.014],
    [0.873, -0.392, -0.362, 0.226, -0.462, 0.001],
    [1.132, -1.237, -0.412, 0.288, -0.823, 0.056],
    [1.060, -1.600, -0.359, 0.264, -1.127, 0.131],
    [0.678, -0.327, -0.250, 0.156, -1.377, 0.251],
];

/// Light in a plane by where it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneIrradiance {
    /// Straight from the sun.
    pub beam: Irradiance,
    /// From the rest of the sky, the bright ring round the sun included.
    pub sky_diffuse: Irradiance,
    /// From the ground.
    pub ground: Irradiance,
}

impl PlaneIrradiance {
    /// All of it.
    pub fn total(&self) -> Irradiance {
        Irradiance::from_w_m2(self.beam.w_m2() + self.sky_diffuse.w_m2() + self.ground.w_m2())
    }
}

/// Light in a plane from the components on the ground.
pub fn plane_irradiance(
    components: &Components,
    at: Time,
    sun: &SunPosition,
    plane: &Plane,
) -> PlaneIrradiance {
    let facing = facing(sun, plane);
    let ground_view = (1.0 - plane.tilt.rad().cos()) / 2.0;
    let ground = components.ghi.w_m2() * plane.albedo_ratio * ground_view;
    PlaneIrradiance {
        beam: Irradiance::from_w_m2(components.dni.w_m2() * facing),
        sky_diffuse: SkyModel::Perez.diffuse(components, extraterrestrial(at), sun, plane),
        ground: Irradiance::from_w_m2(ground),
    }
}

/// Sky diffuse irradiance in a plane by the model of Perez, for a given extraterrestrial one.
pub fn perez_sky_diffuse(
    components: &Components,
    extraterrestrial: Irradiance,
    sun: &SunPosition,
    plane: &Plane,
) -> Irradiance {
    let (dhi, dni) = (components.dhi.w_m2(), components.dni.w_m2());
    let (sin_b, cos_b) = plane.tilt.rad().sin_cos();
    if dhi <= 0.0 {
        return Irradiance::from_w_m2(0.0);
    }
    let Some(am) = relative_air_mass(sun.apparent_zenith) else {
        return Irradiance::from_w_m2(dhi * 0.5 * (1.0 + cos_b));
    };
    let z = sun.apparent_zenith.rad();
    let brightness = dhi * am / extraterrestrial.w_m2();
    let (f1, f2) = brightening(clearness(dhi, dni, z), brightness, z);
    let b = z.cos().max(85_f64.to_radians().cos());
    let ratio = 0.5 * (1.0 - f1) * (1.0 + cos_b) + f1 * facing(sun, plane) / b + f2 * sin_b;
    Irradiance::from_w_m2((dhi * ratio).max(0.0))
}

/// Beam and diffuse parts of an irradiance measured in the plane itself.
///
/// An approximation of our own: the diffuse fraction of Erbs, which is fitted to the horizontal,
/// applied to the clearness of the plane, poa / (E0 max(cos theta, 0.065)); the beam is at most
/// E0 cos theta, so that it goes out with a sun that leaves the plane. The ground's part stays in
/// the diffuse one. The parts add up to the measurement; a reading below zero is no light.
pub fn split_plane_irradiance(
    poa: Irradiance,
    at: Time,
    sun: &SunPosition,
    plane: &Plane,
) -> PlaneIrradiance {
    let g = poa.w_m2().max(0.0);
    let e0 = extraterrestrial(at).w_m2();
    let facing = facing(sun, plane);
    let kt = g / (e0 * facing.max(LEAST_COSINE));
    let beam = (g * (1.0 - erbs_diffuse_ratio(kt))).min(e0 * facing);
    PlaneIrradiance {
        beam: Irradiance::from_w_m2(beam),
        sky_diffuse: Irradiance::from_w_m2(g - beam),
        ground: Irradiance::from_w_m2(0.0),
    }
}

/// Cosine of the incidence; none for a sun behind the plane or below the horizon.
pub(super) fn facing(sun: &SunPosition, plane: &Plane) -> f64 {
    if sun.is_up() {
        cos_incidence(sun, plane).max(0.0)
    } else {
        0.0
    }
}

fn clearness(dhi: f64, dni: f64, z: f64) -> f64 {
    let z3 = KAPPA * z.powi(3);
    ((dhi + dni) / dhi + z3) / (1.0 + z3)
}

/// F1 round the sun and F2 at the horizon [-].
fn brightening(clearness: f64, brightness: f64, z: f64) -> (f64, f64) {
    let row = CLEARNESS_UP_TO.partition_point(|&end| end <= clearness);
    let [f11, f12, f13, f21, f22, f23] = PEREZ[row];
    let f1 = (f11 + f12 * brightness + f13 * z).max(0.0);
    (f1, f21 + f22 * brightness + f23 * z)
}
