//! From light and heat to the curve and the peak of every input.
//!
//! Model:   each string is N modules of the one-diode model at its plane's irradiance and cell
//!          temperature, less its cable; strings of an input share its voltage. Modules age. The
//!          calibration scales the light, shifts the temperature, and scales current and voltage.
//! Symbols: I [A], V [V], G [W/m2], T [degC].
//! Range:   irradiance and temperature inside the one-diode model's range; else no prediction.
//! Source:  `array`; uncertainty in `propagation`.
//! Check:   tests/reference for the parts; tests/acceptance/replay.rs for the whole.

use super::calibration::Factors;
use super::propagation::{Facts, InputUncertain, propagate};
use super::shade::Shade;
use super::types::{InputExpected, Uncertain};
use super::{Light, PlaneLight};
use crate::array::{
    self, ArrayError, Curve, CurveChange, FitError, InputCurve, ModuleModel, OperatingPoint,
};
use crate::plant::{Ageing, Input, Inverter, Plant, PvString};
use crate::reading::{Current, Irradiance, Power, Temperature, Time, Voltage};
use thiserror::Error;

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
    modules: Vec<Module>,
    commissioned: Time,
    /// By inverter, then by input, as in the plant.
    pub inputs: Vec<Vec<InputModel>>,
}

#[derive(Debug, Clone)]
struct Module {
    model: ModuleModel,
    ageing: Ageing,
}

/// What an input is made of.
#[derive(Debug, Clone)]
pub struct InputModel {
    strings: Vec<PvString>,
    /// Plane of the input's light.
    pub plane: usize,
    /// Peak current at 1000 W/m2 [A].
    pub rated_current_a: f64,
    /// Largest power tolerance of its modules [-].
    power_tolerance_ratio: f64,
}

/// What one input should do in one slot.
#[derive(Debug, Clone)]
pub struct Prediction {
    /// The peak, calibrated.
    pub expected: InputExpected,
    /// Relative uncertainty of the current at a voltage.
    pub current_uncertainty: Uncertain,
    /// Relative uncertainty of the peak's voltage.
    pub voltage_uncertainty: Uncertain,
    /// Relative change of the peak's voltage with the cell temperature [1/K].
    pub voltage_per_k: f64,
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
                .map(|fitted| Module {
                    model: fitted.model,
                    ageing: module.ageing,
                })
                .map_err(|source| ChainError::Fit {
                    module: module.id.clone(),
                    source,
                })
        };
        let inverter = |inverter: &Inverter| {
            let inputs = inverter.inputs.iter();
            inputs.map(|input| InputModel::of(plant, input)).collect()
        };
        Ok(Self {
            modules: plant.modules.iter().map(fit).collect::<Result<_, _>>()?,
            commissioned: plant.site.commissioned,
            inputs: plant.inverters.iter().map(inverter).collect(),
        })
    }

    /// What an input should do in this light; `None` at night, without weather, and outside the
    /// range of the one-diode model.
    pub fn predict(
        &self,
        input: &InputModel,
        light: &Light,
        factors: &Factors,
    ) -> Option<Prediction> {
        self.predict_in_shade(input, light, factors, Shade::NONE)
    }

    /// The same behind what shades the input: its strings get less beam, and sections that are passed
    /// by take their share of the voltage.
    pub fn predict_in_shade(
        &self,
        input: &InputModel,
        light: &Light,
        factors: &Factors,
        shade: Shade,
    ) -> Option<Prediction> {
        let plane = light.planes[input.plane].as_ref()?;
        let mut in_shade = *factors;
        in_shade.light.value *= shade.light_left(plane.beam_share);
        in_shade.voltage.value *= shade.voltage_left(plane.beam_share);
        let factors = &in_shade;
        let strings = self.strings(input, light, factors).ok()?;
        let curve = strings.curve().ok()?;
        let peak = curve.max_power();
        let sensitivity = array::peak_sensitivity(&strings.0, &peak);
        let facts = Facts {
            current_ratio: peak.current.a() / input.rated_current_a,
            power_tolerance_ratio: input.power_tolerance_ratio,
            aged_ratio: self.aged_ratio(input, light.at),
        };
        let mut uncertain = propagate(&sensitivity, plane, factors, &facts);
        let (in_current, in_voltage) = shade.sigma(plane.beam_share);
        let grow = |of: &mut Uncertain, by: f64| of.own_ratio = of.own_ratio.hypot(by);
        grow(&mut uncertain.current, in_current);
        grow(&mut uncertain.current_on_curve, in_current);
        grow(&mut uncertain.voltage, in_voltage);
        grow(&mut uncertain.power, in_current.hypot(in_voltage));
        // A mean over the slot, of which only a part is lit.
        let gain = factors.current.value * light.lit_ratio;
        let voltage_ratio = factors.voltage.value;
        Some(Prediction {
            expected: expected(&peak, gain, voltage_ratio, &uncertain),
            current_uncertainty: uncertain.current_on_curve,
            voltage_uncertainty: uncertain.voltage,
            voltage_per_k: sensitivity.voltage_per_k,
            curve,
            gain,
            voltage_ratio,
        })
    }

    fn strings(
        &self,
        input: &InputModel,
        light: &Light,
        factors: &Factors,
    ) -> Result<Strings, ArrayError> {
        let string = |s: &PvString| {
            // A string on a plane without light of its own takes the input's.
            let plane = light.planes[s.plane].or(light.planes[input.plane]);
            let (effective, cell, weight) = plane.map_or(
                (
                    Irradiance::from_w_m2(0.0),
                    Temperature::from_degc(25.0),
                    0.0,
                ),
                |p: PlaneLight| (p.effective, p.heat.cell, p.heat.offset_weight()),
            );
            let offset_k = factors.offset_k.value * weight;
            let module = &self.modules[s.module];
            // What age takes from the power it takes from the photocurrent.
            let left = module.ageing.left_ratio(light.at - self.commissioned);
            let effective = effective.w_m2() * factors.light.value * left;
            let cell = Temperature::from_degc(cell.degc() + offset_k);
            let curve = module.model.at(Irradiance::from_w_m2(effective), cell)?;
            let curve = curve.in_series(s.count, s.cable_loop);
            Ok((curve, module.model.change_per_k(cell)))
        };
        let strings = input.strings.iter().map(string);
        Ok(Strings::of(
            &strings.collect::<Result<Vec<_>, ArrayError>>()?,
        ))
    }

    /// What its age is stated to leave of the power of a plane's first input [-].
    pub fn left_by_age(&self, plane: usize, at: Time) -> Option<f64> {
        let mut inputs = self.inputs.iter().flatten();
        let input = inputs.find(|input| input.plane == plane)?;
        Some(1.0 - self.aged_ratio(input, at))
    }

    fn aged_ratio(&self, input: &InputModel, at: Time) -> f64 {
        let lost = |s: &PvString| {
            1.0 - self.modules[s.module]
                .ageing
                .left_ratio(at - self.commissioned)
        };
        input.strings.iter().map(lost).fold(0.0, f64::max)
    }
}

/// The strings of an input in some light, equal ones as one: curves, and how heat changes them.
struct Strings(Vec<(Curve, CurveChange)>);

impl Strings {
    fn of(strings: &[(Curve, CurveChange)]) -> Self {
        let as_one = |equal: &[(Curve, CurveChange)]| {
            let (curve, change) = equal[0];
            (curve.in_parallel(equal.len()), change)
        };
        Self(strings.chunk_by(|a, b| a == b).map(as_one).collect())
    }

    fn curve(&self) -> Result<InputCurve, ArrayError> {
        let curves: Vec<Curve> = self.0.iter().map(|(curve, _)| *curve).collect();
        InputCurve::new(&curves)
    }
}

impl InputModel {
    fn of(plant: &Plant, input: &Input) -> Self {
        Self {
            strings: input.strings.clone(),
            plane: input.plane(),
            rated_current_a: input
                .strings
                .iter()
                .map(|s| plant.modules[s.module].imp.a())
                .sum(),
            power_tolerance_ratio: plant.power_tolerance_ratio(input),
        }
    }
}

fn expected(
    peak: &OperatingPoint,
    gain: f64,
    voltage_ratio: f64,
    uncertain: &InputUncertain,
) -> InputExpected {
    let voltage_v = peak.voltage.v() * voltage_ratio;
    let current_a = peak.current.a() * gain;
    let power_w = voltage_v * current_a;
    InputExpected {
        voltage: Voltage::from_v(voltage_v),
        current: Current::from_a(current_a),
        sigma_voltage: Voltage::from_v(voltage_v * uncertain.voltage.total_ratio()),
        sigma_current: Current::from_a(current_a * uncertain.current.total_ratio()),
        sigma_power: Power::from_w(power_w * uncertain.power.total_ratio()),
    }
}

impl Prediction {
    /// Current [A] and slope [A/V] of the calibrated curve at a voltage [V].
    pub fn curve_at(&self, voltage_v: f64) -> (f64, f64) {
        let uncalibrated = Voltage::from_v(voltage_v / self.voltage_ratio);
        let (current, slope) = self.curve.current_and_slope_at(uncalibrated);
        (current * self.gain, slope * self.gain / self.voltage_ratio)
    }

    /// Current [A] of the calibrated curve at a voltage [V].
    pub fn current_at(&self, voltage_v: f64) -> f64 {
        let uncalibrated = Voltage::from_v(voltage_v / self.voltage_ratio);
        self.curve.current_at(uncalibrated).a() * self.gain
    }

    /// Power at the peak.
    pub fn power(&self) -> Power {
        self.expected.voltage * self.expected.current
    }
}
