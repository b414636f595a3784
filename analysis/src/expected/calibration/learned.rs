//! What has been learned of a plant, as it is stored and shown, and taken back after a fresh start.
//! Never in here: how it is learned.

use super::slow::{Known, Rule, Slow};
use super::{CURRENT, Calibration, VOLTAGE, WeatherRung};

/// A learned number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Learned {
    /// What it is about.
    pub of: LearnedOf,
    /// Now.
    pub now: Known,
    /// When the plant was handed over; final once it rests on fourteen days.
    pub baseline: Known,
}

/// What a learned number is about; indices into the plant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LearnedOf {
    /// Gain of the light in a plane, by where it comes from [-].
    Light(usize, WeatherRung),
    /// Offset of the cell temperature in a plane [K].
    CellOffset(usize),
    /// Gain of the current of an input, by inverter and input [-].
    Current(usize, usize),
    /// Ratio of the voltage of an input, by inverter and input [-].
    Voltage(usize, usize),
    /// Tilt of a plane that was found to lie otherwise than stated [deg]; what is stated stands as its
    /// baseline.
    Tilt(usize),
    /// Azimuth of such a plane, the same.
    Azimuth(usize),
    /// Of the supply, by inverter and phase from 0.
    Supply(usize, usize, SupplyNumber),
}

/// What is learned of a phase of the supply.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SupplyNumber {
    /// Its resistance [ohm].
    Resistance,
    /// Reactive over active current of the steps that showed it [-].
    Reactive,
}

impl LearnedOf {
    /// The quantity's name in files; its unit ends it.
    pub fn name(&self) -> &'static str {
        match self {
            Self::Light(..) => "light_gain_ratio",
            Self::CellOffset(_) => "cell_temperature_offset_k",
            Self::Current(..) => "dc_current_gain_ratio",
            Self::Voltage(..) => "dc_voltage_gain_ratio",
            Self::Tilt(_) => "tilt_deg",
            Self::Azimuth(_) => "azimuth_deg",
            Self::Supply(_, _, SupplyNumber::Resistance) => "supply_resistance_ohm",
            Self::Supply(_, _, SupplyNumber::Reactive) => "supply_reactive_per_active_ratio",
        }
    }
}

impl Calibration {
    /// Everything that has been learned.
    pub fn learned(&self) -> Vec<Learned> {
        let mut all = Vec::new();
        let mut report = |of, slow: &Slow, rule: &Rule| {
            let known = slow.now(rule).zip(slow.baseline(rule));
            all.extend(known.map(|(now, baseline)| Learned { of, now, baseline }));
        };
        for (p, plane) in self.planes.iter().enumerate() {
            for (rung, light) in &plane.light {
                report(LearnedOf::Light(p, *rung), light, plane.light_rule());
            }
            let rule = plane.offset_rule();
            report(LearnedOf::CellOffset(p), &plane.offset_k, rule);
        }
        for (i, inputs) in self.inputs.iter().enumerate() {
            for (k, input) in inputs.iter().enumerate() {
                report(LearnedOf::Current(i, k), &input.current, &CURRENT);
                report(LearnedOf::Voltage(i, k), &input.voltage, &VOLTAGE);
            }
        }
        all
    }

    /// Takes over the baseline that an earlier run has kept; one that is not final is learned anew.
    pub fn recall(&mut self, of: LearnedOf, baseline: Known) {
        let slow = match of {
            LearnedOf::Light(p, rung) => self.planes[p].light.entry(rung).or_default(),
            LearnedOf::CellOffset(p) => &mut self.planes[p].offset_k,
            LearnedOf::Current(i, k) => &mut self.inputs[i][k].current,
            LearnedOf::Voltage(i, k) => &mut self.inputs[i][k].voltage,
            // What is stated stands in the site file, and a plane is surveyed anew.
            LearnedOf::Tilt(_) | LearnedOf::Azimuth(_) => return,
            // Not of the array: `SupplyDays::recall`.
            LearnedOf::Supply(..) => return,
        };
        slow.recall(baseline);
    }
}
