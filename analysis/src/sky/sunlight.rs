//! What all planes and all models share under one sun: its direction, its path through the air and
//! its strength above it. Computed once for an instant.
//! Never in here: a plane, or weather.

use super::air_mass::air_mass_at;
use super::sun::{SunDirection, SunPosition};
use crate::reading::{Angle, Irradiance};

/// The sun of one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sunlight {
    /// Where the light comes from.
    pub direction: SunDirection,
    pub(super) is_up: bool,
    /// z, apparent zenith [rad].
    pub(super) zenith_rad: f64,
    /// AM; `None` for a sun that is down.
    pub(super) relative_air_mass: Option<f64>,
    /// E0 [W/m2].
    pub(super) extraterrestrial_w_m2: f64,
}

impl Sunlight {
    /// Of the sun in this position on a day of this extraterrestrial irradiance.
    #[inline]
    pub fn new(sun: &SunPosition, extraterrestrial: Irradiance) -> Self {
        Self::from_direction(SunDirection::of(sun), sun.apparent_zenith, extraterrestrial)
    }

    pub(super) fn from_direction(
        direction: SunDirection,
        apparent_zenith: Angle,
        extraterrestrial: Irradiance,
    ) -> Self {
        Self {
            direction,
            is_up: apparent_zenith.deg() < 90.0,
            zenith_rad: apparent_zenith.rad(),
            relative_air_mass: air_mass_at(apparent_zenith, direction.up),
            extraterrestrial_w_m2: extraterrestrial.w_m2(),
        }
    }

    /// Irradiance facing the sun outside the atmosphere.
    pub fn extraterrestrial(&self) -> Irradiance {
        Irradiance::from_w_m2(self.extraterrestrial_w_m2)
    }
}
