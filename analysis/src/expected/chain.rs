//! From light and heat to the curve and the peak of every input, with their uncertainty.
//!
//! Model:   each string is N modules of the one-diode model at its plane's irradiance and cell
//!          temperature, less its cable; strings of an input share its voltage. The calibration
//!          scales current and voltage.
//!          s_I / I = s_G (common) with the input's own part; s_V / V = |dV/dT| s_T / V with
//!          dV/dT / V = -0.0039 1/K at the peak (one-diode sensitivity of a crystalline module).
//! Symbols: I [A], V [V], G [W/m2], T [degC], standard deviations relative.
//! Range:   irradiance and temperature inside the one-diode model's range; else no prediction.
//! Source:  `array`.
//! Check:   tests/reference for the parts; tests/acceptance/replay.rs for the whole.

use super::types::{InputExpected, Uncertain};
use super::{Calibration, Light, PlaneLight};
use crate::array::{self, ArrayError, FitError, InputCurve, ModuleModel};
use crate::plant::{Input, Inverter, Plant, PvString};
use crate::reading::{Current, Irradiance, Power, Temperature, Voltage};
use thiserror::Error;

/// Relative change of the peak voltage with temperature [1/K], for its uncertainty only.
const PEAK_VOLTAGE_PER_K: f64 = 0.0039;
/// Own voltage uncertainty: an inverter's meter and module scatter [-].
const OWN_VOLTAGE_RATIO: f64 = 0.006;

/// Why no chain can be built for a plant.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ChainError {
    /// The datasheet values of a module contradict each other.
    #[error("fit module `{module}`: {source}")]
    Fit {
        /// The module's id.
        module: String,
        /// What contradicts.
        source: FitError,
    },
}

/// The models of all inputs of a plant.
#[derive(Debug, Clone)]
pub struct Chain {
    modules: Vec<ModuleModel>,
    /// By inverter, then by input, as in the plant.
    pub inputs: Vec<Vec<InputModel>>,
}

/// What an input is made of.
#[derive(Debug, Clone)]
pub struct InputModel {
    strings: Vec<PvString>,
    /// Plane of the input's light.
    pub plane: usize,
    /// Peak current at 1000 W/m2 [A].
    pub rated_current_a: f64,
}

/// What one input should do in one slot.
#[derive(Debug, Clone)]
pub struct Prediction {
    /// The peak, calibrated.
    pub expected: InputExpected,
    /// Relative uncertainty of the current.
    pub current_uncertainty: Uncertain,
    curve: InputCurve,
    gain: f64,
    voltage_ratio: f64,
}

impl Chain {
    /// Fits every module type of the plant.
    ///
    /// # Errors
    /// If a datasheet cannot be fitted.
    pub fn new(plant: &Plant) -> Result<Self, ChainError> {
        let fit = |module: &crate::plant::Module| {
            array::fit_datasheet(module)
                .map(|fitted| fitted.model)
                .map_err(|source| ChainError::Fit {
                    module: module.id.clone(),
                    source,
                })
        };
        let modules = plant.modules.iter().map(fit).collect::<Result<_, _>>()?;
        let input = |input: &Input| InputModel {
            strings: input.strings.clone(),
            plane: input.plane(),
            rated_current_a: input
                .strings
                .iter()
                .map(|s| plant.modules[s.module].imp.a())
                .sum(),
        };
        let inverter = |inverter: &Inverter| inverter.inputs.iter().map(input).collect();
        Ok(Self {
            modules,
            inputs: plant.inverters.iter().map(inverter).collect(),
        })
    }

    /// What an input should do in this light; `None` at night, without weather, and outside the
    /// range of the one-diode model.
    pub fn predict(
        &self,
        input: &InputModel,
        light: &Light,
        calibration: &Calibration,
    ) -> Option<Prediction> {
        let plane = light.planes[input.plane].as_ref()?;
        let curve = self.curve(input, light).ok()?;
        let peak = curve.max_power();
        let (gain, voltage_ratio) = (calibration.gain(), calibration.voltage_ratio());
        let current_uncertainty = calibration.current_uncertainty(Uncertain {
            common_ratio: plane.sigma_ratio.hypot(plane.unsteady_ratio),
            own_ratio: 0.0,
        });
        let voltage_uncertainty = calibration.voltage_uncertainty(Uncertain {
            common_ratio: PEAK_VOLTAGE_PER_K * plane.heat.sigma_k,
            own_ratio: OWN_VOLTAGE_RATIO,
        });
        let voltage_v = peak.voltage.v() * voltage_ratio;
        let current_a = peak.current.a() * gain;
        let expected = InputExpected {
            voltage: Voltage::from_v(voltage_v),
            current: Current::from_a(current_a),
            sigma_voltage: Voltage::from_v(voltage_v * voltage_uncertainty.total_ratio()),
            sigma_current: Current::from_a(current_a * current_uncertainty.total_ratio()),
        };
        Some(Prediction {
            expected,
            current_uncertainty,
            curve,
            gain,
            voltage_ratio,
        })
    }

    fn curve(&self, input: &InputModel, light: &Light) -> Result<InputCurve, ArrayError> {
        let string = |s: &PvString| {
            // A string on a plane without light of its own takes the input's.
            let plane = light.planes[s.plane].or(light.planes[input.plane]);
            let (effective, cell) = plane.map_or(
                (Irradiance::from_w_m2(0.0), Temperature::from_degc(25.0)),
                |p: PlaneLight| (p.effective, p.heat.cell),
            );
            let module = self.modules[s.module].at(effective, cell)?;
            Ok(module.in_series(s.count, s.cable_loop))
        };
        let strings = input
            .strings
            .iter()
            .map(string)
            .collect::<Result<Vec<_>, ArrayError>>()?;
        InputCurve::new(&strings)
    }
}

impl Prediction {
    /// Current [A] and slope [A/V] of the calibrated curve at a voltage [V].
    pub fn curve_at(&self, voltage_v: f64) -> (f64, f64) {
        let uncalibrated = Voltage::from_v(voltage_v / self.voltage_ratio);
        let current = self.curve.current_at(uncalibrated).a() * self.gain;
        let slope = self.curve.slope_at(uncalibrated) * self.gain / self.voltage_ratio;
        (current, slope)
    }

    /// Power at the peak.
    pub fn power(&self) -> Power {
        self.expected.voltage * self.expected.current
    }
}
