//! Module and cell temperature from irradiance, air temperature and wind.
//!
//! Model:   T_m = T_a + G / (U0 + U1 v)                                              eq. (1)
//!          T_c = T_m + G / 1000 W/m2 x dT                                           eq. (2)
//! Symbols: G irradiance in the plane [W/m2], T_a air, T_m back of module, T_c cell [degC],
//!          v wind at module height [m/s], U0 [W/(m2 K)], U1 [W s/(m3 K)], dT [K].
//! Range:   steady state; U0 > 0, U1 >= 0, v >= 0, which the plant and the readings guarantee.
//! Source:  eq. (1) D. Faiman, Prog. Photovolt. 16 (2008) 307, as in IEC 61853-2;
//!          eq. (2) D. King et al., SAND2004-3535.
//! Check:   tests/reference/array.rs, to 1e-9 K.

use crate::plant::Mounting;
use crate::reading::{Irradiance, Speed, Temperature};

/// Back-of-module temperature.
pub fn faiman(poa: Irradiance, air: Temperature, wind: Speed, mounting: &Mounting) -> Temperature {
    let loss = mounting.u0 + mounting.u1 * wind.m_s();
    Temperature::from_degc(air.degc() + poa.w_m2() / loss) // eq. (1)
}

/// Cell temperature from that of the back of the module.
pub fn cell_from_back(back: Temperature, poa: Irradiance, mounting: &Mounting) -> Temperature {
    Temperature::from_degc(back.degc() + poa.w_m2() / 1000.0 * mounting.cell_over_back_k) // eq. (2)
}
