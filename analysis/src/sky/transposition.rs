//! Irradiance in a plane from its components on level ground.
//!
//! Model:   beam = DNI max(cos t, 0);  ground = GHI albedo (1 - cos b) / 2               eq. (1)
//!          D = DHI AM / E0;  e = ((DHI + DNI)/DHI + 1.041 z^3) / (1 + 1.041 z^3)        eq. (2)
//!          F1 = max(0, f11 + f12 D + f13 z), F2 = f21 + f22 D + f23 z, by bin of e
//!          sky = DHI ((1 - F1)(1 + cos b)/2 + F1 a/c + F2 sin b), at least 0,
//!          a = max(0, cos t), c = max(cos 85 deg, cos z)                                eq. (3)
//!          A measured plane irradiance is split by the diffuse fraction that its own clearness
//!          gives, an approximation of ours: good to a few percent of the diffuse part.
//! Symbols: t incidence, b tilt, z zenith [rad] in eq. (2), AM relative air mass.
//! Range:   sun above the horizon.
//! Source:  R. Perez et al., Solar Energy 44 (1990) 271, "all sites composite" coefficients.
//! Check:   tests/reference/sky.rs.

use super::air_mass::kasten_young;
use super::decomposition::diffuse_fraction;
use super::{Components, SunPosition, extraterrestrial, incidence};
use crate::plant::Plane;
use crate::reading::{Irradiance, Time};

/// Upper ends of the bins of the sky's clearness e.
const BIN_ENDS: [f64; 7] = [1.065, 1.23, 1.5, 1.95, 2.8, 4.5, 6.2];
/// f11, f12, f13, f21, f22, f23 of each bin.
const COEFFICIENTS: [[f64; 6]; 8] = [
    [-0.008, 0.588, -0.062, -0.060, 0.072, -0.022],
    [0.130, 0.683, -0.151, -0.019, 0.066, -0.029],
    [0.330, 0.487, -0.221, 0.055, -0.064, -0.026],
    [0.568, 0.187, -0.295, 0.109, -0.152, -0.014],
    [0.873, -0.392, -0.362, 0.226, -0.462, 0.001],
    [1.132, -1.237, -0.412, 0.288, -0.823, 0.056],
    [1.060, -1.600, -0.359, 0.264, -1.127, 0.131],
    [0.678, -0.327, -0.250, 0.156, -1.377, 0.251],
];
const KAPPA: f64 = 1.041;

/// Irradiance in a plane, by where it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneIrradiance {
    /// From the sun.
    pub beam: Irradiance,
    /// From the sky.
    pub sky_diffuse: Irradiance,
    /// From the ground.
    pub ground: Irradiance,
}

/// What the diffuse light of the sky depends on besides the plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sky {
    /// Diffuse horizontal [W/m2].
    pub dhi: f64,
    /// Direct normal [W/m2].
    pub dni: f64,
    /// Outside the atmosphere [W/m2].
    pub extraterrestrial: f64,
    /// Relative air mass.
    pub air_mass: f64,
    /// Apparent zenith [rad].
    pub zenith_rad: f64,
}

impl PlaneIrradiance {
    /// All of it.
    pub fn total(&self) -> Irradiance {
        Irradiance::from_w_m2(self.beam.w_m2() + self.sky_diffuse.w_m2() + self.ground.w_m2())
    }
}

/// Irradiance in a plane.
pub fn plane_irradiance(
    components: &Components,
    at: Time,
    sun: &SunPosition,
    plane: &Plane,
) -> PlaneIrradiance {
    let cos_t = incidence(sun, plane).rad().cos();
    let tilt = plane.tilt.rad();
    let beam = components.dni.w_m2() * cos_t.max(0.0);
    let ground = components.ghi.w_m2() * plane.albedo_ratio * (1.0 - tilt.cos()) / 2.0; // eq. (1)
    let sky = kasten_young(sun.apparent_zenith).map(|air_mass| Sky {
        dhi: components.dhi.w_m2(),
        dni: components.dni.w_m2(),
        extraterrestrial: extraterrestrial(at).w_m2(),
        air_mass,
        zenith_rad: sun.apparent_zenith.rad(),
    });
    PlaneIrradiance {
        beam: Irradiance::from_w_m2(beam),
        sky_diffuse: Irradiance::from_w_m2(sky.map_or(0.0, |sky| perez(&sky, tilt, cos_t))),
        ground: Irradiance::from_w_m2(ground),
    }
}

/// Diffuse light of the sky on a plane [W/m2], from its tilt [rad] and the cosine of incidence.
pub fn perez(sky: &Sky, tilt_rad: f64, cos_incidence: f64) -> f64 {
    let (dhi, z) = (sky.dhi, sky.zenith_rad);
    if dhi <= 0.0 {
        return 0.0;
    }
    let brightness = dhi * sky.air_mass / sky.extraterrestrial;
    let cubed = KAPPA * z.powi(3);
    let clearness = ((dhi + sky.dni) / dhi + cubed) / (1.0 + cubed); // eq. (2)
    let bin = BIN_ENDS.partition_point(|end| *end <= clearness);
    let [f11, f12, f13, f21, f22, f23] = COEFFICIENTS[bin];
    let f1 = (f11 + f12 * brightness + f13 * z).max(0.0);
    let f2 = f21 + f22 * brightness + f23 * z;
    let a = cos_incidence.max(0.0);
    let c = z.cos().max(85.0_f64.to_radians().cos());
    let view = 0.5 * (1.0 - f1) * (1.0 + tilt_rad.cos());
    (dhi * (view + f1 * a / c + f2 * tilt_rad.sin())).max(0.0) // eq. (3)
}

/// Splits a measured plane irradiance into beam and sky.
pub fn split_plane_irradiance(
    poa: Irradiance,
    at: Time,
    sun: &SunPosition,
    plane: &Plane,
) -> PlaneIrradiance {
    let cosine = incidence(sun, plane).rad().cos();
    let fraction = if cosine > 0.0 {
        diffuse_fraction(poa, extraterrestrial(at), cosine)
    } else {
        1.0
    };
    let sky = fraction * poa.w_m2();
    PlaneIrradiance {
        beam: Irradiance::from_w_m2(poa.w_m2() - sky),
        sky_diffuse: Irradiance::from_w_m2(sky),
        ground: Irradiance::from_w_m2(0.0),
    }
}
