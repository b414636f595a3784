//! Module and cell temperature from irradiance, air temperature and wind.
//!
//! Model:   T_m = T_a + G / (U0 + U1 v)                                              eq. (1)
//!          T_c = T_m + G / 1000 W/m2 x dT                                           eq. (2)
//!          T_m = T_a + G exp(a + b v)                                               eq. (3)
//!          T_c = T_a + G / 800 W/m2 x (NOCT - 20 degC)                              eq. (4)
//!          T(t) = T_1 + (T_0 - T_1) exp(-t / tau), T_1 the steady value              eq. (5)
//! Symbols: G irradiance in the plane [W/m2], T_a air, T_m back of module, T_c cell [degC],
//!          v wind at module height [m/s], U0 [W/(m2 K)], U1 [W s/(m3 K)], dT [K];
//!          eq. (3): v at 10 m, a [-], b [s/m]; NOCT nominal operating cell temperature [degC];
//!          eq. (5): tau [s].
//! Range:   steady state but for eq. (5); U0 > 0, U1 >= 0, v >= 0, which the plant and the readings guarantee.
//! Source:  eq. (1) D. Faiman, Prog. Photovolt. 16 (2008) 307, as in IEC 61853-2;
//!          eqs. (2), (3) D. King et al., SAND2004-3535, table of mountings as in pvlib 0.16.1;
//!          eq. (4) R. Ross, Proc. 14th IEEE PV Specialists Conf., 1980 (from memory, verify).
//!          eq. (5) first-order lag; tau: engineering judgement from 11 kg/m2 of glass and cells at
//!          0.9 kJ/(kg K) over 20 to 35 W/(m2 K), 5 to 8 min.
//! Check:   tests/reference/array.rs, to 1e-9 K; eq. (5): `expected::heat`.
//!
//! The chain uses eqs. (1), (2) and (5); (3) and (4) are for modules of which no more is known.

use crate::plant::Mounting;
use crate::reading::{Irradiance, Span, Speed, Temperature};

/// tau of a module.
const INERTIA: Span = Span::from_min(8);

/// Back-of-module temperature.
pub fn faiman(poa: Irradiance, air: Temperature, wind: Speed, mounting: &Mounting) -> Temperature {
    let loss = mounting.u0 + mounting.u1 * wind.m_s();
    Temperature::from_degc(air.degc() + poa.w_m2() / loss) // eq. (1)
}

/// Cell temperature from that of the back of the module.
pub fn cell_from_back(back: Temperature, poa: Irradiance, mounting: &Mounting) -> Temperature {
    Temperature::from_degc(back.degc() + poa.w_m2() / 1000.0 * mounting.cell_over_back_k) // eq. (2)
}

/// Heat loss of a mounting by the Sandia model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SandiaMounting {
    /// a: logarithm of the heating in still air [-].
    pub a: f64,
    /// b: its change with wind at 10 m [s/m].
    pub b_s_m: f64,
    /// Cell minus back of module at 1000 W/m2 [K].
    pub cell_over_back_k: f64,
}

impl SandiaMounting {
    /// Glass on both sides, open rack.
    pub const OPEN_RACK_GLASS_GLASS: Self = Self::new(-3.47, -0.0594, 3.0);
    /// Glass on both sides, close to a roof.
    pub const CLOSE_ROOF_GLASS_GLASS: Self = Self::new(-2.98, -0.0471, 1.0);
    /// Glass and polymer, open rack.
    pub const OPEN_RACK_GLASS_POLYMER: Self = Self::new(-3.56, -0.0750, 3.0);
    /// Glass and polymer, insulated at the back.
    pub const INSULATED_BACK_GLASS_POLYMER: Self = Self::new(-2.81, -0.0455, 0.0);

    const fn new(a: f64, b_s_m: f64, cell_over_back_k: f64) -> Self {
        Self {
            a,
            b_s_m,
            cell_over_back_k,
        }
    }
}

/// Back-of-module temperature by the Sandia model, from wind at 10 m.
pub fn sandia_back(
    poa: Irradiance,
    air: Temperature,
    wind_10_m: Speed,
    mounting: &SandiaMounting,
) -> Temperature {
    let heating = (mounting.a + mounting.b_s_m * wind_10_m.m_s()).exp();
    Temperature::from_degc(air.degc() + poa.w_m2() * heating) // eq. (3)
}

/// Cell temperature from the nominal one on a datasheet, in light wind and free air.
pub fn ross(poa: Irradiance, air: Temperature, noct: Temperature) -> Temperature {
    Temperature::from_degc(air.degc() + poa.w_m2() / 800.0 * (noct.degc() - 20.0)) // eq. (4)
}

/// Cell temperature that follows a steady one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lagged {
    /// Over the time that has passed.
    pub mean: Temperature,
    /// At its end.
    pub end: Temperature,
}

/// What becomes of a temperature in some time, on its way to a steady one.
pub fn lagged(before: Temperature, steady: Temperature, passed: Span) -> Lagged {
    let taus = passed.seconds() / INERTIA.seconds();
    let apart_k = before.degc() - steady.degc();
    let after = |left: f64| Temperature::from_degc(steady.degc() + apart_k * left);
    Lagged {
        mean: after(-(-taus).exp_m1() / taus), // mean of eq. (5)
        end: after((-taus).exp()),             // eq. (5)
    }
}
