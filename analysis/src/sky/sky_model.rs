//! How the diffuse light of the sky falls on a tilted plane: four models behind one door.
//!
//! Model:   isotropic   DHI (1 + cos beta) / 2
//!          Hay-Davies  DHI (A Rb + (1 - A) (1 + cos beta) / 2)
//!          Reindl      DHI (A Rb + (1 - A) (1 + cos beta) / 2 (1 + f sin3(beta / 2)))
//!          A = DNI / E0,  Rb = max(cos theta, 0) / max(cos z, 0.01745),
//!          f = sqrt(DNI cos z / GHI)
//!          Perez: see `transposition`
//! Symbols: theta  incidence    z  apparent zenith    beta  tilt
//!          E0  extraterrestrial irradiance [W/m2]    A  anisotropy [-]
//! Range:   sun above the horizon; below it the sky is taken as evenly bright. A beam over E0, which
//!          no air lets through and a low sun's decomposition may give, counts as E0: A <= 1.
//! Source:  B. Liu, R. Jordan, Solar Energy 7 (2), 1963; J. Hay, J. Davies, Proc. First Canadian
//!          Solar Radiation Data Workshop, 1980; D. Reindl, W. Beckman, J. Duffie, Solar Energy
//!          45 (1), 1990 (all from memory, verify); least cos z as in pvlib 0.16.1
//! Check:   tests/data/reference/transposition.csv, 1e-10 relative (tests/reference/sky.rs).
//!
//! The chain uses Perez through `Dome`; the others are for comparison.

use super::decomposition::Components;
use super::incidence::Facing;
use super::sun::SunPosition;
use super::sunlight::Sunlight;
use super::transposition::{cos_seen, perez_sky_diffuse};
use crate::plant::Plane;
use crate::reading::Irradiance;

/// Least cosine of the zenith by which Rb divides [-]: the sun one degree up.
const LEAST_COSINE: f64 = 0.017_45;

/// A model of how bright the sky is where.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SkyModel {
    /// The same everywhere.
    Isotropic,
    /// Part of it from around the sun.
    HayDavies,
    /// The same, and brighter along the horizon.
    Reindl,
    /// Around the sun and along the horizon by the state of the sky (1990).
    Perez,
}

impl SkyModel {
    /// Diffuse irradiance of the sky in a plane.
    pub fn diffuse(
        self,
        components: &Components,
        extraterrestrial: Irradiance,
        sun: &SunPosition,
        plane: &Plane,
    ) -> Irradiance {
        let (ghi, dni, dhi) = components.w_m2();
        let seen = (1.0 + plane.tilt.rad().cos()) / 2.0;
        let even = Irradiance::from_w_m2(dhi * seen);
        if !sun.is_up() {
            return even;
        }
        let cos_z = sun.apparent_zenith.rad().cos();
        let a = (dni / extraterrestrial.w_m2()).min(1.0);
        let cos = cos_seen(&Sunlight::new(sun, extraterrestrial), &Facing::of(plane));
        let round_sun = a * cos / cos_z.max(LEAST_COSINE);
        let dome = (1.0 - a) * seen;
        match self {
            Self::Isotropic => even,
            Self::HayDavies => Irradiance::from_w_m2(dhi * (round_sun + dome)),
            Self::Reindl => {
                let beam_share = if ghi > 0.0 { dni * cos_z / ghi } else { 0.0 };
                let horizon = beam_share.sqrt() * (plane.tilt.rad() / 2.0).sin().powi(3);
                Irradiance::from_w_m2(dhi * (round_sun + dome * (1.0 + horizon)))
            }
            Self::Perez => perez_sky_diffuse(components, extraterrestrial, sun, plane),
        }
    }
}
