//! Beam from the light on the ground, with the air mass as a second guide.
//!
//! Model:   kt = GHI / (E0 max(cos z, 0.065)), not above 1;  AM not above 12
//!          Kn = Knc - (a + b exp(c AM)), a, b, c polynomials of kt, one set up to kt = 0.6
//!          Knc = 0.866 - 0.122 AM + 0.0121 AM2 - 0.000653 AM3 + 1.4e-5 AM4
//!          DNI = Kn E0;  DHI = GHI - DNI cos z
//! Symbols: kt  clearness [-]    Kn, Knc  beam over E0, under any and under a clear sky [-]
//!          E0  extraterrestrial irradiance for a solar constant of 1370 W/m2, as fitted
//!          z  true zenith    AM  air mass of Kasten 1966 times pressure over that at sea level
//! Range:   sun more than 3 deg up; below that all light is diffuse. The beam is at least 0 and at
//!          most what global allows; readings below zero are no light.
//! Source:  E. L. Maxwell, SERI/TR-215-3087, 1987 (from memory, verify); air mass with pressure and
//!          the limits as in pvlib 0.16.1 `irradiance.disc`
//! Check:   tests/data/reference/disc.csv, 1e-10 relative (tests/reference/sky.rs).
//!
//! Not used by the chain, which takes `decomposition`.

use super::air_mass::over_sea_level;
use super::decomposition::{Components, LAST_BEAM_ZENITH_DEG, LEAST_COSINE};
use super::extraterrestrial::over_solar_constant;
use crate::reading::{Angle, Irradiance, Time};

/// Solar constant of the model's fit [W/m2].
const SOLAR_CONSTANT_W_M2: f64 = 1370.0;
/// Air mass beyond which the fit stays where it is [-].
const MOST_AIR_MASS: f64 = 12.0;

/// Global irradiance on the ground, with what the models that split it want to know.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Global {
    /// Global horizontal irradiance.
    pub ghi: Irradiance,
    /// When.
    pub at: Time,
    /// True zenith of the sun.
    pub zenith: Angle,
    /// Air pressure [Pa].
    pub pressure_pa: f64,
}

/// Parts of a global horizontal irradiance by the model DISC.
pub fn disc(global: &Global) -> Components {
    global.with_beam(global.disc_dni().unwrap_or(0.0))
}

impl Global {
    /// The parts for a direct normal irradiance [W/m2].
    pub(super) fn with_beam(&self, dni: f64) -> Components {
        let g = self.ghi.w_m2().max(0.0);
        if self.zenith.deg() > LAST_BEAM_ZENITH_DEG {
            return Components::all_diffuse(g);
        }
        let cos_z = self.zenith.rad().cos();
        let dni = dni.clamp(0.0, g / cos_z);
        Components::from_w_m2(g, dni, (g - dni * cos_z).max(0.0))
    }

    /// Direct normal irradiance [W/m2] as the polynomials give it; none for a sun that is down.
    pub(super) fn disc_dni(&self) -> Option<f64> {
        let (kt, am) = (self.clearness(), self.air_mass()?);
        let [a, b, c] = loss(kt);
        let clear = 0.866 + am * (-0.122 + am * (0.0121 + am * (-0.000_653 + 1.4e-5 * am)));
        Some((clear - (a + b * (c * am).exp())) * self.facing())
    }

    /// Clearness [-], 0 to 1.
    pub(super) fn clearness(&self) -> f64 {
        let flat = self.facing() * self.zenith.rad().cos().max(LEAST_COSINE);
        (self.ghi.w_m2() / flat).clamp(0.0, 1.0)
    }

    /// Air mass of Kasten 1966 at this pressure; none for a sun that is down.
    pub(super) fn air_mass(&self) -> Option<f64> {
        let z = self.zenith.deg();
        let relative = || 1.0 / (self.zenith.rad().cos() + 0.15 * (93.885 - z).powf(-1.253));
        (z <= 90.0).then(|| over_sea_level(relative(), self.pressure_pa).min(MOST_AIR_MASS))
    }

    /// E0 [W/m2].
    fn facing(&self) -> f64 {
        SOLAR_CONSTANT_W_M2 * over_solar_constant(self.at)
    }
}

/// a, b, c for a clearness.
fn loss(kt: f64) -> [f64; 3] {
    if kt <= 0.6 {
        [
            0.512 + kt * (-1.56 + kt * (2.286 - 2.222 * kt)),
            0.37 + 0.962 * kt,
            -0.28 + kt * (0.932 - 2.048 * kt),
        ]
    } else {
        [
            -5.743 + kt * (21.77 + kt * (-27.49 + 11.56 * kt)),
            41.4 + kt * (-118.5 + kt * (66.05 + 31.9 * kt)),
            -47.01 + kt * (184.2 + kt * (-222.0 + 73.81 * kt)),
        ]
    }
}
