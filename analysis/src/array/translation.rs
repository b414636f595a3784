//! A measured point of an I-V curve carried to another irradiance and temperature.
//!
//! Model:   procedure 1                                                                  eq. (1)
//!          I2 = I1 + Isc1 (G2/G1 - 1) + alpha dT
//!          V2 = V1 - R_s (I2 - I1) - kappa I2 dT + beta dT
//!          procedure 2                                                                  eq. (2)
//!          I2 = I1 (1 + alpha' dT) G2/G1
//!          V2 = V1 + Voc1 (beta' dT + a ln(G2/G1)) - R_s (I2 - I1) - kappa I2 dT
//! Symbols: dT = T2 - T1 [K]    alpha [A/K], beta [V/K], alpha', beta' relative [1/K]
//!          R_s, kappa  internal resistance [ohm] and its change [ohm/K]
//!          a  voltage over irradiance [-], about 0.06    Isc1, Voc1  of the measured curve
//! Range:   G1 > 0, G2 > 0, else `TranslationError`. For 23 K and a third more light the errors are
//!          1 to 3 % of the voltage: predict at the measured light and heat instead to judge faults.
//! Source:  IEC 60891, procedures 1 and 2 as in the edition of 2009 (from memory, verify)
//! Check:   tests/data/reference/iv_translation.csv, to the ninth digit that is stored
//!          (tests/reference/array.rs).
//!
//! Not used by the chain.

use super::OperatingPoint;
use crate::reading::{Current, Irradiance, Temperature, Voltage};
use thiserror::Error;

/// Why a point cannot be carried over.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum TranslationError {
    /// No light at one end.
    #[error("found irradiances of {from_w_m2} and {to_w_m2} W/m2, wanted both above 0")]
    NoLight {
        /// Of the measurement.
        from_w_m2: f64,
        /// Wanted.
        to_w_m2: f64,
    },
}

/// Light and heat of a curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// Irradiance in the plane.
    pub irradiance: Irradiance,
    /// Cell temperature.
    pub cell: Temperature,
}

/// Coefficients of procedure 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Procedure1 {
    /// Short-circuit current of the measured curve.
    pub short_circuit: Current,
    /// alpha [A/K].
    pub isc_a_per_k: f64,
    /// beta [V/K].
    pub voc_v_per_k: f64,
    /// R_s [ohm].
    pub series_ohm: f64,
    /// kappa [ohm/K].
    pub series_ohm_per_k: f64,
}

/// Coefficients of procedure 2.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Procedure2 {
    /// Open-circuit voltage of the measured curve.
    pub open_circuit: Voltage,
    /// alpha' [1/K].
    pub isc_per_k: f64,
    /// beta' [1/K].
    pub voc_per_k: f64,
    /// a [-].
    pub voc_per_log_light: f64,
    /// R_s [ohm].
    pub series_ohm: f64,
    /// kappa [ohm/K].
    pub series_ohm_per_k: f64,
}

impl Procedure1 {
    /// The point at other conditions.
    ///
    /// # Errors
    /// If there is no light at one end.
    pub fn carry(
        &self,
        point: &OperatingPoint,
        from: &Conditions,
        to: &Conditions,
    ) -> Result<OperatingPoint, TranslationError> {
        let (light, dt) = light_and_heat(from, to)?;
        let (v1, i1) = (point.voltage.v(), point.current.a());
        let i2 = i1 + self.short_circuit.a() * (light - 1.0) + self.isc_a_per_k * dt; // eq. (1)
        let drop = self.series_ohm * (i2 - i1) + self.series_ohm_per_k * i2 * dt;
        Ok(OperatingPoint {
            voltage: Voltage::from_v(v1 - drop + self.voc_v_per_k * dt),
            current: Current::from_a(i2),
        })
    }
}

impl Procedure2 {
    /// The point at other conditions.
    ///
    /// # Errors
    /// If there is no light at one end.
    pub fn carry(
        &self,
        point: &OperatingPoint,
        from: &Conditions,
        to: &Conditions,
    ) -> Result<OperatingPoint, TranslationError> {
        let (light, dt) = light_and_heat(from, to)?;
        let (v1, i1) = (point.voltage.v(), point.current.a());
        let i2 = i1 * (1.0 + self.isc_per_k * dt) * light; // eq. (2)
        let voc_change = self.voc_per_k * dt + self.voc_per_log_light * light.ln();
        let drop = self.series_ohm * (i2 - i1) + self.series_ohm_per_k * i2 * dt;
        Ok(OperatingPoint {
            voltage: Voltage::from_v(v1 + self.open_circuit.v() * voc_change - drop),
            current: Current::from_a(i2),
        })
    }
}

/// G2/G1 and T2 - T1 [K].
fn light_and_heat(from: &Conditions, to: &Conditions) -> Result<(f64, f64), TranslationError> {
    let (g1, g2) = (from.irradiance.w_m2(), to.irradiance.w_m2());
    if !(g1 > 0.0 && g2 > 0.0) {
        return Err(TranslationError::NoLight {
            from_w_m2: g1,
            to_w_m2: g2,
        });
    }
    Ok((g2 / g1, to.cell.degc() - from.cell.degc()))
}
