//! Beam and diffuse parts of the light on the ground.
//!
//! Model:   kt = GHI / (E0 max(cos z, 0.065))
//!          Fd = 1 - 0.09 kt                                                      kt <= 0.22
//!             = 0.9511 - 0.1604 kt + 4.388 kt2 - 16.638 kt3 + 12.336 kt4    up to kt = 0.80
//!             = 0.165                                                               above
//!          DHI = Fd GHI;  closure GHI = DNI cos z + DHI
//! Symbols: kt  clearness [-]    Fd  diffuse over global [-]    z  zenith
//!          E0  extraterrestrial irradiance [W/m2]
//! Range:   sun more than 3 deg up; below that, and at night, all light is diffuse.
//!          Readings below zero (a pyranometer's offset at night) are no light.
//! Source:  D. G. Erbs, S. A. Klein, J. A. Duffie, Solar Energy 28 (4), 1982 (from memory, verify);
//!          limits of cos z and z as in pvlib 0.16.1 `irradiance.erbs`
//! Check:   tests/data/reference/decomposition.csv, 1e-10 relative (tests/reference/sky.rs).
//!
//! Erbs is fitted to, and closed with, the true zenith. Where two components are measured the light
//! has come through the air, so the closure takes the apparent one.

use super::extraterrestrial::extraterrestrial;
use super::sun::SunPosition;
use crate::reading::{Angle, Irradiance, Time};

/// Zenith beyond which all light counts as diffuse [deg]: a division by cos z means nothing there.
pub(super) const LAST_BEAM_ZENITH_DEG: f64 = 87.0;
/// Least cosine in a clearness [-], so that dawn gives no endless clearness.
pub(super) const LEAST_COSINE: f64 = 0.065;

/// The light on the ground and its two parts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Components {
    /// Global horizontal irradiance.
    pub ghi: Irradiance,
    /// Direct normal irradiance.
    pub dni: Irradiance,
    /// Diffuse horizontal irradiance.
    pub dhi: Irradiance,
}

impl Components {
    /// No light.
    pub(super) const DARK: Self = Self::from_w_m2(0.0, 0.0, 0.0);

    pub(super) const fn from_w_m2(ghi: f64, dni: f64, dhi: f64) -> Self {
        Self {
            ghi: Irradiance::from_w_m2(ghi),
            dni: Irradiance::from_w_m2(dni),
            dhi: Irradiance::from_w_m2(dhi),
        }
    }

    pub(super) const fn all_diffuse(ghi: f64) -> Self {
        Self::from_w_m2(ghi, 0.0, ghi)
    }

    /// The diffuse share of the light on the ground [-].
    pub fn diffuse_ratio(&self) -> f64 {
        (self.dhi.w_m2() / self.ghi.w_m2().max(1.0)).min(1.0)
    }

    /// Global, direct and diffuse [W/m2].
    pub(super) const fn w_m2(&self) -> (f64, f64, f64) {
        (self.ghi.w_m2(), self.dni.w_m2(), self.dhi.w_m2())
    }
}

/// Parts of a global horizontal irradiance by the correlation of Erbs.
pub fn erbs(ghi: Irradiance, at: Time, sun: &SunPosition) -> Components {
    erbs_under(ghi, extraterrestrial(at), sun.zenith)
}

/// The correlation itself, for a given extraterrestrial irradiance and true zenith.
pub fn erbs_under(ghi: Irradiance, extraterrestrial: Irradiance, zenith: Angle) -> Components {
    let g = ghi.w_m2().max(0.0);
    if zenith.deg() > LAST_BEAM_ZENITH_DEG {
        return Components::all_diffuse(g);
    }
    let cos_z = zenith.rad().cos();
    let kt = g / (extraterrestrial.w_m2() * cos_z.max(LEAST_COSINE));
    let dhi = g * erbs_diffuse_ratio(kt);
    Components::from_w_m2(g, (g - dhi) / cos_z, dhi)
}

/// Diffuse over global irradiance for a clearness [-].
pub fn erbs_diffuse_ratio(kt: f64) -> f64 {
    if kt <= 0.22 {
        1.0 - 0.09 * kt
    } else if kt <= 0.80 {
        0.9511 + kt * (-0.1604 + kt * (4.388 + kt * (-16.638 + kt * 12.336)))
    } else {
        0.165
    }
}

/// Beam from measured global and diffuse; diffuse over global counts as global.
pub fn close_with_dhi(ghi: Irradiance, dhi: Irradiance, sun: &SunPosition) -> Components {
    let g = ghi.w_m2().max(0.0);
    if sun.apparent_zenith.deg() > LAST_BEAM_ZENITH_DEG {
        return Components::all_diffuse(g);
    }
    let d = dhi.w_m2().clamp(0.0, g);
    Components::from_w_m2(g, (g - d) / sun.apparent_zenith.rad().cos(), d)
}

/// Diffuse from measured global and beam; beam over what global allows counts as all of global.
pub fn close_with_dni(ghi: Irradiance, dni: Irradiance, sun: &SunPosition) -> Components {
    let g = ghi.w_m2().max(0.0);
    if sun.apparent_zenith.deg() > LAST_BEAM_ZENITH_DEG {
        return Components::all_diffuse(g);
    }
    let cos_z = sun.apparent_zenith.rad().cos();
    let b = dni.w_m2().clamp(0.0, g / cos_z);
    // The bound g / cos z can give g back an ulp too large.
    Components::from_w_m2(g, b, (g - b * cos_z).max(0.0))
}
