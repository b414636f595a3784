//! A module's one-diode parameters at any irradiance and cell temperature.
//!
//! Model:   a = a_ref T/T_ref;  I_L = G/G_ref (I_L,ref + alpha (1 - adjust) (T - T_ref));
//!          E_g = E_g,ref (1 - 0.0002677 (T - T_ref));
//!          I_0 = I_0,ref (T/T_ref)^3 exp(E_g,ref/(k T_ref) - E_g/(k T));
//!          R_sh = R_sh,ref G_ref/G;  R_s constant.
//! Symbols: G effective irradiance [W/m2], T cell temperature [K], alpha [A/K], E_g [eV],
//!          G_ref = 1000 W/m2, T_ref = 298.15 K; adjust [-], 0 in the five-parameter model.
//! Range:   0.5 <= G <= 1600 W/m2, -60 <= T <= 120 degC; outside: `ArrayError`.
//! Source:  W. De Soto, S. Klein, W. Beckman, Solar Energy 80 (2006) 78; adjust: A. Dobos,
//!          J. Sol. Energy Eng. 134 (2012) 021011. k from CODATA 2018.
//! Check:   tests/reference/array.rs, three module grids to the ninth digit that is stored.

use super::Curve;
use crate::reading::{Irradiance, Temperature};
use crate::sky::exp;
use thiserror::Error;

pub(super) const REFERENCE_K: f64 = 298.15;
const REFERENCE_W_M2: f64 = 1000.0;
/// Boltzmann constant [eV/K].
pub(super) const BOLTZMANN_EV_PER_K: f64 = 8.617_333_262e-5;
/// Band gap of silicon at 25 degC [eV] and its relative change [1/K].
const BAND_GAP_EV: f64 = 1.121;
const BAND_GAP_PER_K: f64 = -0.000_267_7;
/// Where the line of the band gap meets T = 0 [eV].
pub(super) const BAND_GAP_AT_0_K_EV: f64 = BAND_GAP_EV * (1.0 - BAND_GAP_PER_K * REFERENCE_K);
/// Range of the model.
const IRRADIANCE_W_M2: std::ops::RangeInclusive<f64> = 0.5..=1600.0;
const CELL_DEGC: std::ops::RangeInclusive<f64> = -60.0..=120.0;

/// Why there is no curve.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ArrayError {
    /// Irradiance outside the model's range.
    #[error("irradiance {found_w_m2} W/m2 outside 0.5 to 1600 W/m2")]
    Irradiance {
        /// What was asked for.
        found_w_m2: f64,
    },
    /// Cell temperature outside the model's range.
    #[error("cell temperature {found_degc} degC outside -60 to 120 degC")]
    Cell {
        /// What was asked for.
        found_degc: f64,
    },
    /// An input without strings.
    #[error("an input without strings has no curve")]
    NoStrings,
}

/// One-diode parameters of a module at reference conditions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ModuleModel {
    /// Photocurrent [A].
    pub photo_ref_a: f64,
    /// Saturation current [A].
    pub saturation_ref_a: f64,
    /// Series resistance [ohm].
    pub series_ohm: f64,
    /// Shunt resistance [ohm]; infinite without shunt.
    pub shunt_ref_ohm: f64,
    /// Modified ideality n N_s k T_ref / q [V].
    pub ideality_ref_v: f64,
    /// Change of the short-circuit current [A/K].
    pub isc_a_per_k: f64,
    /// Share of that change which the six-parameter model takes back [-].
    pub adjust_ratio: f64,
}

impl ModuleModel {
    /// The module's curve.
    ///
    /// # Errors
    /// If irradiance or temperature lie outside the range.
    pub fn at(&self, effective: Irradiance, cell: Temperature) -> Result<Curve, ArrayError> {
        let g = effective.w_m2();
        let t_c = cell.degc();
        if !IRRADIANCE_W_M2.contains(&g) {
            return Err(ArrayError::Irradiance { found_w_m2: g });
        }
        if !CELL_DEGC.contains(&t_c) {
            return Err(ArrayError::Cell { found_degc: t_c });
        }
        let t = t_c + 273.15;
        let dt = t - REFERENCE_K;
        let suns = g * (1.0 / REFERENCE_W_M2);
        let alpha = self.isc_a_per_k * (1.0 - self.adjust_ratio);
        Ok(Curve {
            photo_a: suns * (self.photo_ref_a + alpha * dt),
            saturation_a: self.saturation_ref_a * saturation_growth(t),
            ideality_v: self.ideality_ref_v * t * (1.0 / REFERENCE_K),
            series_ohm: self.series_ohm,
            shunt_s: suns / self.shunt_ref_ohm,
        })
    }
}

#[cfg(test)]
impl ModuleModel {
    /// A module of 54 cells, for tests.
    pub(super) const OF_54_CELLS: Self = Self {
        photo_ref_a: 13.957,
        saturation_ref_a: 2.046e-11,
        series_ohm: 0.1623,
        shunt_ref_ohm: 326.3,
        ideality_ref_v: 1.373,
        isc_a_per_k: 0.00628,
        adjust_ratio: 0.0,
    };
}

/// I_0 over I_0,ref at a cell temperature [K].
pub(super) fn saturation_growth(t: f64) -> f64 {
    let inverse = 1.0 / t;
    // E_g,ref / (k T_ref) - E_g / (k T), with E_g a line through T.
    let exponent = (BAND_GAP_AT_0_K_EV / BOLTZMANN_EV_PER_K) * (1.0 / REFERENCE_K - inverse);
    let ratio = t * (1.0 / REFERENCE_K);
    ratio * ratio * ratio * exp(exponent)
}
