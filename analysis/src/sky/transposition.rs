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

use super::decomposition::{Components, LEAST_COSINE, erbs_diffuse_ratio};
use super::extraterrestrial::extraterrestrial;
use super::incidence::Facing;
use super::sun::SunPosition;
use super::sunlight::Sunlight;
use crate::plant::Plane;
use crate::reading::{Irradiance, Time};

/// Weight of z3 in the clearness [1/rad3].
const KAPPA: f64 = 1.041;

/// Least cosine of the zenith that the ring is divided by [-].
const COS_85_DEG: f64 = 0.087_155_742_747_658_14;

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
    let sun = Sunlight::new(sun, extraterrestrial(at));
    Dome::new(components, &sun).on(&Facing::of(plane), plane.albedo_ratio)
}

/// Sky diffuse irradiance in a plane by the model of Perez, for a given extraterrestrial one.
pub fn perez_sky_diffuse(
    components: &Components,
    extraterrestrial: Irradiance,
    sun: &SunPosition,
    plane: &Plane,
) -> Irradiance {
    let dome = Dome::new(components, &Sunlight::new(sun, extraterrestrial));
    dome.on(&Facing::of(plane), plane.albedo_ratio).sky_diffuse
}

/// The sky over all planes of a place: how bright it is, and how unevenly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dome {
    sun: Sunlight,
    components: Components,
    /// F1 / b, of the ring round the sun.
    ring: f64,
    /// (1 - F1) / 2, of the even sky.
    even: f64,
    /// F2, of the horizon.
    horizon: f64,
}

impl Dome {
    /// From the components on the ground, by the model of Perez.
    #[inline]
    pub fn new(components: &Components, sun: &Sunlight) -> Self {
        let (dhi, dni) = (components.dhi.w_m2(), components.dni.w_m2());
        let air_mass = sun.relative_air_mass.filter(|_| dhi > 0.0);
        let (f1, f2) = air_mass.map_or((0.0, 0.0), |am| {
            let brightness = dhi * am / sun.extraterrestrial_w_m2;
            let z = sun.zenith_rad;
            brightening(clearness(dhi, dni, z), brightness, z)
        });
        Self {
            sun: *sun,
            components: *components,
            ring: f1 / sun.direction.up.max(COS_85_DEG),
            even: 0.5 * (1.0 - f1),
            horizon: f2,
        }
    }

    /// Light in a plane that faces this way over ground of this albedo.
    #[inline]
    pub fn on(&self, facing: &Facing, albedo_ratio: f64) -> PlaneIrradiance {
        let (ghi, dhi) = (self.components.ghi.w_m2(), self.components.dhi.w_m2());
        let cos = cos_seen(&self.sun, facing);
        let sky =
            self.even * (1.0 + facing.cos_tilt) + self.ring * cos + self.horizon * facing.sin_tilt;
        let ground_view = (1.0 - facing.cos_tilt) / 2.0;
        PlaneIrradiance {
            beam: Irradiance::from_w_m2(self.components.dni.w_m2() * cos),
            sky_diffuse: Irradiance::from_w_m2((dhi * sky).max(0.0)),
            ground: Irradiance::from_w_m2(ghi * albedo_ratio * ground_view),
        }
    }
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
    let sun = Sunlight::new(sun, extraterrestrial(at));
    split_under(poa, &sun, &Facing::of(plane))
}

/// The same for a sun and a plane that are at hand.
pub fn split_under(poa: Irradiance, sun: &Sunlight, facing: &Facing) -> PlaneIrradiance {
    let g = poa.w_m2().max(0.0);
    let e0 = sun.extraterrestrial_w_m2;
    let cos = cos_seen(sun, facing);
    let kt = g / (e0 * cos.max(LEAST_COSINE));
    let beam = (g * (1.0 - erbs_diffuse_ratio(kt))).min(e0 * cos);
    PlaneIrradiance {
        beam: Irradiance::from_w_m2(beam),
        sky_diffuse: Irradiance::from_w_m2(g - beam),
        ground: Irradiance::from_w_m2(0.0),
    }
}

/// Cosine of the incidence; none for a sun behind the plane or below the horizon.
pub(super) fn cos_seen(sun: &Sunlight, facing: &Facing) -> f64 {
    if sun.is_up {
        facing.cos_incidence(&sun.direction).max(0.0)
    } else {
        0.0
    }
}

fn clearness(dhi: f64, dni: f64, z: f64) -> f64 {
    let z3 = KAPPA * z.powi(3);
    (dhi + dni + z3 * dhi) / (dhi * (1.0 + z3))
}

/// F1 round the sun and F2 at the horizon [-].
fn brightening(clearness: f64, brightness: f64, z: f64) -> (f64, f64) {
    let row = CLEARNESS_UP_TO
        .iter()
        .filter(|&&end| end <= clearness)
        .count();
    let [f11, f12, f13, f21, f22, f23] = PEREZ[row];
    let f1 = (f11 + f12 * brightness + f13 * z).max(0.0);
    (f1, f21 + f22 * brightness + f23 * z)
}
