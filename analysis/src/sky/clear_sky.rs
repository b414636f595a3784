//! Light under a clear sky.
//!
//! Model:   f1 = exp(-h/8000), f2 = exp(-h/1250), c1 = 5.09e-5 h + 0.868, c2 = 3.92e-5 h + 0.0387;
//!          GHI = c1 E0 cos z exp(-c2 AM (f1 + f2 (T - 1)))                             eq. (1)
//!          b = 0.664 + 0.163/f1;  B1 = b E0 exp(-0.09 AM (T - 1))                      eq. (2)
//!          B2 = GHI (1 - (0.1 - 0.2 exp(-T)) / (0.1 + 0.882/f1)) / cos z               eq. (3)
//!          DNI = min(B1, B2), DHI = GHI - DNI cos z
//! Symbols: h altitude [m], AM absolute air mass, T Linke turbidity, z apparent zenith, E0 [W/m2].
//! Range:   sun above the horizon; otherwise no light.
//! Source:  P. Ineichen, R. Perez, Solar Energy 73 (2002) 151, without the enhancement factor.
//! Check:   tests/reference/sky.rs.

use super::air_mass::{SEA_LEVEL_PA, kasten_young, pressure_pa};
use super::{Components, Observer, SunPosition, extraterrestrial};
use crate::reading::{Angle, Irradiance, Time};

/// Clear-sky light at a time.
pub fn clear_sky(
    at: Time,
    sun: &SunPosition,
    observer: &Observer,
    linke_turbidity: f64,
) -> Components {
    let zero = Irradiance::from_w_m2(0.0);
    let Some(air_mass) = kasten_young(sun.apparent_zenith) else {
        return Components {
            ghi: zero,
            dni: zero,
            dhi: zero,
        };
    };
    let altitude_m = observer.altitude_m();
    let absolute = air_mass * pressure_pa(altitude_m) / SEA_LEVEL_PA;
    let e0 = extraterrestrial(at);
    ineichen(
        sun.apparent_zenith,
        absolute,
        linke_turbidity,
        altitude_m,
        e0,
    )
}

/// Clear-sky light from air mass and turbidity.
pub fn ineichen(
    apparent_zenith: Angle,
    absolute_air_mass: f64,
    linke_turbidity: f64,
    altitude_m: f64,
    extraterrestrial: Irradiance,
) -> Components {
    let (h, am, t) = (altitude_m, absolute_air_mass, linke_turbidity);
    let e0 = extraterrestrial.w_m2();
    let cos_z = apparent_zenith.rad().cos().max(0.0);
    let (f1, f2) = ((-h / 8000.0).exp(), (-h / 1250.0).exp());
    let (c1, c2) = (5.09e-5 * h + 0.868, 3.92e-5 * h + 0.0387);
    let ghi = c1 * e0 * cos_z * (-c2 * am * (f1 + f2 * (t - 1.0))).exp(); // eq. (1)
    let b = 0.664 + 0.163 / f1;
    let b1 = b * e0 * (-0.09 * am * (t - 1.0)).exp(); // eq. (2)
    let scattered = (0.1 - 0.2 * (-t).exp()) / (0.1 + 0.882 / f1);
    let b2 = (ghi * (1.0 - scattered) / cos_z).clamp(0.0, 1e20); // eq. (3)
    let dni = b1.min(b2);
    Components {
        ghi: Irradiance::from_w_m2(ghi),
        dni: Irradiance::from_w_m2(dni),
        dhi: Irradiance::from_w_m2(ghi - dni * cos_z),
    }
}
