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

use super::air_mass::absolute_air_mass;
use super::decomposition::Components;
use super::extraterrestrial::extraterrestrial;
use super::observer::Observer;
use super::sun::SunPosition;
use crate::reading::{Angle, Irradiance, Time};

/// Light under a cloudless sky; none when the sun is down.
pub fn clear_sky(
    at: Time,
    sun: &SunPosition,
    observer: &Observer,
    linke_turbidity: f64,
) -> Components {
    ineichen(
        extraterrestrial(at),
        sun.apparent_zenith,
        observer,
        linke_turbidity,
    )
}

/// The model itself, for a given extraterrestrial irradiance.
pub fn ineichen(
    extraterrestrial: Irradiance,
    apparent_zenith: Angle,
    observer: &Observer,
    linke_turbidity: f64,
) -> Components {
    let cos_z = apparent_zenith.rad().cos();
    let air_mass = absolute_air_mass(apparent_zenith, observer.pressure_pa);
    let Some(am) = air_mass.filter(|_| cos_z > 0.0) else {
        return Components::DARK;
    };
    let (e0, h, tl) = (
        extraterrestrial.w_m2(),
        observer.altitude_m,
        linke_turbidity,
    );
    let (fh1, fh2) = ((-h / 8000.0).exp(), (-h / 1250.0).exp());
    let (cg1, cg2) = (5.09e-5 * h + 0.868, 3.92e-5 * h + 0.0387);
    let ghi = cg1 * e0 * cos_z * (-cg2 * am * (fh1 + fh2 * (tl - 1.0))).exp();
    let b = 0.664 + 0.163 / fh1;
    let bni = b * e0 * (-0.09 * am * (tl - 1.0)).exp();
    let diffuse = (0.1 - 0.2 * (-tl).exp()) / (0.1 + 0.882 / fh1);
    let dni = bni.min(ghi * (1.0 - diffuse) / cos_z);
    Components {
        ghi: Irradiance::from_w_m2(ghi),
        dni: Irradiance::from_w_m2(dni),
        dhi: Irradiance::from_w_m2(ghi - dni * cos_z),
    }
}
