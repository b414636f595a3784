//! Direct and diffuse light from global irradiance.
//!
//! Model:   k = GHI / (E0 max(cos z, 0.065));
//!          F = 1 - 0.09 k                                                   k <= 0.22
//!          F = 0.9511 - 0.1604 k + 4.388 k^2 - 16.638 k^3 + 12.336 k^4      k <= 0.80  eq. (1)
//!          F = 0.165                                                        k > 0.80
//!          DHI = F GHI, DNI = (GHI - DHI) / cos z; no direct light beyond z = 87 deg.
//!          Closure where two are measured: GHI = DNI cos z + DHI.
//! Symbols: k clearness, F diffuse fraction, z true zenith, irradiances [W/m2].
//! Range:   GHI >= 0.
//! Source:  D. Erbs, S. Klein, J. Duffie, Solar Energy 28 (1982) 293.
//! Check:   tests/reference/sky.rs.

use super::{Components, SunPosition, extraterrestrial};
use crate::reading::{Irradiance, Time};

/// Smallest cosine that clearness is divided by, as in pvlib 0.16.1.
const MIN_COSINE: f64 = 0.065;
/// Largest zenith with direct light [deg].
const MAX_DIRECT_ZENITH_DEG: f64 = 87.0;

/// Splits global irradiance.
pub fn erbs(ghi: Irradiance, at: Time, sun: &SunPosition) -> Components {
    let fraction = diffuse_fraction(ghi, extraterrestrial(at), sun.zenith.rad().cos());
    close_with_dhi(ghi, Irradiance::from_w_m2(fraction * ghi.w_m2()), sun)
}

/// Direct light from global and diffuse.
pub fn close_with_dhi(ghi: Irradiance, dhi: Irradiance, sun: &SunPosition) -> Components {
    let beam = ghi.w_m2() - dhi.w_m2();
    if sun.zenith.deg() > MAX_DIRECT_ZENITH_DEG || beam <= 0.0 {
        return Components {
            ghi,
            dni: Irradiance::from_w_m2(0.0),
            dhi: ghi,
        };
    }
    Components {
        ghi,
        dni: Irradiance::from_w_m2(beam / sun.zenith.rad().cos()),
        dhi,
    }
}

/// Diffuse light from global and direct.
pub fn close_with_dni(ghi: Irradiance, dni: Irradiance, sun: &SunPosition) -> Components {
    let dhi = ghi.w_m2() - dni.w_m2() * sun.zenith.rad().cos();
    if sun.zenith.deg() > MAX_DIRECT_ZENITH_DEG || dhi >= ghi.w_m2() {
        return Components {
            ghi,
            dni: Irradiance::from_w_m2(0.0),
            dhi: ghi,
        };
    }
    Components {
        ghi,
        dni,
        dhi: Irradiance::from_w_m2(dhi.max(0.0)),
    }
}

/// Share of diffuse light by the clearness on a surface that sees the sun at `cosine`.
pub(super) fn diffuse_fraction(global: Irradiance, e0: Irradiance, cosine: f64) -> f64 {
    let k = global.w_m2() / (e0.w_m2() * cosine.max(MIN_COSINE));
    if k <= 0.22 {
        1.0 - 0.09 * k
    } else if k <= 0.80 {
        0.9511 + k * (-0.1604 + k * (4.388 + k * (-16.638 + k * 12.336))) // eq. (1)
    } else {
        0.165
    }
}
