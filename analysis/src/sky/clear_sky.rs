//! Light under a cloudless sky.
//!
//! Model:   fh1 = exp(-h / 8000), fh2 = exp(-h / 1250)
//!          cg1 = 5.09e-5 h + 0.868, cg2 = 3.92e-5 h + 0.0387
//!          GHI = cg1 E0 cos z exp(-cg2 AM (fh1 + fh2 (TL - 1)))
//!          b = 0.664 + 0.163 / fh1;  BNI = b E0 exp(-0.09 AM (TL - 1))
//!          BNI2 = GHI (1 - (0.1 - 0.2 exp(-TL)) / (0.1 + 0.882 / fh1)) / cos z
//!          DNI = min(BNI, BNI2);  DHI = GHI - DNI cos z
//! Symbols: h  altitude [m]    E0  extraterrestrial [W/m2]    z  apparent zenith
//!          AM  absolute air mass [-]    TL  Linke turbidity at air mass 2 [-]
//! Range:   sun above the horizon, TL >= 1; zero light below the horizon (no twilight)
//! Source:  P. Ineichen, R. Perez, Solar Energy 73 (3), 2002 (from memory, verify), as coded in
//!          pvlib 0.16.1 `clearsky.ineichen`, without the enhancement at high air mass
//! Check:   tests/data/reference/clearsky_ineichen.csv, 1e-10 relative (tests/reference/sky.rs).

use super::air_mass::pressure_ratio;
use super::decomposition::Components;
use super::exponential::exp;
use super::extraterrestrial::extraterrestrial;
use super::observer::Observer;
use super::sun::SunPosition;
use super::sunlight::Sunlight;
use crate::reading::{Angle, Irradiance, Time};

/// Light under a cloudless sky; none when the sun is down.
pub fn clear_sky(
    at: Time,
    sun: &SunPosition,
    observer: &Observer,
    linke_turbidity: f64,
) -> Components {
    ClearAir::new(observer, linke_turbidity).under(&Sunlight::new(sun, extraterrestrial(at)))
}

/// The model itself, for a given extraterrestrial irradiance.
pub fn ineichen(
    extraterrestrial: Irradiance,
    apparent_zenith: Angle,
    observer: &Observer,
    linke_turbidity: f64,
) -> Components {
    let sun = SunPosition {
        apparent_zenith,
        zenith: apparent_zenith,
        azimuth: Angle::from_deg(0.0),
    };
    ClearAir::new(observer, linke_turbidity).under(&Sunlight::new(&sun, extraterrestrial))
}

/// The cloudless air over an observer: what the model needs of altitude and turbidity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClearAir {
    pressure_ratio: f64,
    /// cg1.
    global_ratio: f64,
    /// cg2 (fh1 + fh2 (TL - 1)), of the global irradiance, over the air mass.
    global_extinction: f64,
    /// b.
    beam_ratio: f64,
    /// 0.09 (TL - 1), of the beam, over the air mass.
    beam_extinction: f64,
    /// 1 - (0.1 - 0.2 exp(-TL)) / (0.1 + 0.882 / fh1), the beam in the global irradiance at most.
    most_beam_ratio: f64,
}

impl ClearAir {
    /// At this altitude and turbidity.
    pub fn new(observer: &Observer, linke_turbidity: f64) -> Self {
        let (h, tl) = (observer.altitude_m, linke_turbidity);
        let (fh1, fh2) = ((-h / 8000.0).exp(), (-h / 1250.0).exp());
        Self {
            pressure_ratio: pressure_ratio(observer.pressure_pa),
            global_ratio: 5.09e-5 * h + 0.868,
            global_extinction: (3.92e-5 * h + 0.0387) * (fh1 + fh2 * (tl - 1.0)),
            beam_ratio: 0.664 + 0.163 / fh1,
            beam_extinction: 0.09 * (tl - 1.0),
            most_beam_ratio: 1.0 - (0.1 - 0.2 * (-tl).exp()) / (0.1 + 0.882 / fh1),
        }
    }

    /// Light on the ground under this sun; none when it is down.
    #[inline]
    pub fn under(&self, sun: &Sunlight) -> Components {
        let cos_z = sun.direction.up;
        let Some(relative) = sun.relative_air_mass.filter(|_| cos_z > 0.0) else {
            return Components::DARK;
        };
        let (am, e0) = (relative * self.pressure_ratio, sun.extraterrestrial_w_m2);
        let global_by_cos = self.global_ratio * e0 * exp(-self.global_extinction * am);
        let bni = self.beam_ratio * e0 * exp(-self.beam_extinction * am);
        let dni = bni.min(global_by_cos * self.most_beam_ratio);
        let ghi = global_by_cos * cos_z;
        Components {
            ghi: Irradiance::from_w_m2(ghi),
            dni: Irradiance::from_w_m2(dni),
            dhi: Irradiance::from_w_m2(ghi - dni * cos_z),
        }
    }
}
