//! What an inverter itself publishes of its protection and its response to the supply, and how that
//! takes the place of the site's rules.
//!
//! Model:   a trip curve holds corners (limit, longest time); of the corners with one time the mildest
//!          is the limit for that time. Voltages are ratios of nominal voltage.
//! Range:   a curve that lies on the wrong side of nominal, or is not in order, counts as not
//!          published: then the rules stand. So does a trip function that is said to be off, because
//!          the protection of the rules then acts elsewhere in the inverter or outside it. A volt-watt
//!          function that is off limits nothing.
//! Source:  quantities and ratios: the open SunSpec models 702 to 712. What wins: engineering judgement.
//! Check:   tests below.
//! Never in here: registers.

use super::{EnterService, FrequencyLimit, GridLimits, VoltWattPoint, VoltageLimit};
use crate::reading::{Frequency, Span, Voltage};
use serde::{Deserialize, Serialize};

/// Nominal voltage that is published may be phase to neutral or phase to phase: whichever is within
/// this of the rules' [-].
const NOMINAL_RATIO: f64 = 0.15;
/// Frequencies further from nominal than this are no limits of a supply [Hz].
const MOST_OFF_HZ: f64 = 10.0;
/// Voltage over nominal further than this is no limit of a supply [-].
const MOST_RATIO: f64 = 2.0;

/// A function with its curve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Curve {
    /// Switched off.
    Off,
    /// In force: x and y of its corners, in the order of the device.
    On(Vec<(f64, f64)>),
}

/// Settings that an inverter publishes; `None` for what it does not.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct GridSettings {
    /// Nominal voltage, phase to neutral or phase to phase [V].
    pub nominal_v: Option<f64>,
    /// Must-trip corners: voltage over nominal [-], longest time [s].
    pub under_voltage: Option<Curve>,
    /// The same above nominal.
    pub over_voltage: Option<Curve>,
    /// Must-trip corners: frequency [Hz], longest time [s].
    pub under_frequency: Option<Curve>,
    /// The same above nominal.
    pub over_frequency: Option<Curve>,
    /// Voltage over nominal [-], active power over rated power [-].
    pub volt_watt: Option<Curve>,
    /// Voltage over nominal [-], reactive power over its reference [-].
    pub volt_var: Option<Curve>,
    /// Active power over rated power [-], reactive power over its reference [-].
    pub watt_var: Option<Curve>,
    /// Frequency droop.
    pub droop: Option<Droop>,
    /// When it connects.
    pub enter_service: EnterServiceSettings,
}

/// Less power at high frequency.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Droop {
    /// Whether it is switched on.
    pub is_on: bool,
    /// Above nominal before it acts [Hz].
    pub over_deadband_hz: f64,
    /// Change of frequency over nominal that takes all power [-].
    pub over_ratio: f64,
}

/// When it connects, as far as it is published.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct EnterServiceSettings {
    /// Lowest voltage over nominal [-].
    pub low_voltage_ratio: Option<f64>,
    /// Highest voltage over nominal [-].
    pub high_voltage_ratio: Option<f64>,
    /// Lowest frequency [Hz].
    pub low_hz: Option<f64>,
    /// Highest frequency [Hz].
    pub high_hz: Option<f64>,
    /// Wait with a good supply [s].
    pub delay_s: Option<f64>,
    /// Up to so much longer by chance [s].
    pub random_s: Option<f64>,
    /// From no power to rated power [s].
    pub ramp_s: Option<f64>,
}

impl GridSettings {
    /// Whether nothing at all was published.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

impl GridLimits {
    /// These limits with what the inverter publishes in place of the rules'.
    pub fn with(&self, settings: &GridSettings) -> GridLimits {
        let nominal_v = self.nominal_for(settings.nominal_v);
        let (nominal_hz, mut limits) = (self.nominal_frequency.hz(), self.clone());
        let voltage = |curve: &Option<Curve>, sign: f64| {
            let stages = stages(curve.as_ref()?, 1.0, sign, MOST_RATIO - 1.0)?;
            let limit = |(ratio, s): (f64, f64)| VoltageLimit {
                limit: Voltage::from_v(ratio * nominal_v),
                within: seconds(s),
            };
            Some(stages.into_iter().map(limit).collect())
        };
        let frequency = |curve: &Option<Curve>, sign: f64| {
            let stages = stages(curve.as_ref()?, nominal_hz, sign, MOST_OFF_HZ)?;
            let limit = |(hz, s): (f64, f64)| FrequencyLimit {
                limit: Frequency::from_hz(hz),
                within: seconds(s),
            };
            Some(stages.into_iter().map(limit).collect())
        };
        replace(
            &mut limits.under_voltage,
            voltage(&settings.under_voltage, -1.0),
        );
        replace(
            &mut limits.over_voltage,
            voltage(&settings.over_voltage, 1.0),
        );
        replace(
            &mut limits.under_frequency,
            frequency(&settings.under_frequency, -1.0),
        );
        replace(
            &mut limits.over_frequency,
            frequency(&settings.over_frequency, 1.0),
        );
        let line = settings.volt_watt.as_ref();
        replace(
            &mut limits.volt_watt,
            line.and_then(|line| volt_watt(line, nominal_v)),
        );
        limits.enter_service = self.enter_service.map(|rules| {
            let published = settings.enter_service;
            published.over(rules, nominal_v, nominal_hz)
        });
        limits
    }

    /// The nominal phase voltage that ratios of the inverter are of [V].
    fn nominal_for(&self, published_v: Option<f64>) -> f64 {
        let rules_v = self.nominal_voltage.v();
        let is_near = |v: &f64| (v / rules_v - 1.0).abs() <= NOMINAL_RATIO;
        let phase_v = published_v.into_iter().flat_map(|v| [v, v / 3_f64.sqrt()]);
        phase_v.into_iter().find(is_near).unwrap_or(rules_v)
    }
}

impl EnterServiceSettings {
    fn over(self, rules: EnterService, nominal_v: f64, nominal_hz: f64) -> EnterService {
        let volts = |ratio: Option<f64>, ok: std::ops::RangeInclusive<f64>, rules: Voltage| {
            let ratio = ratio.filter(|ratio| ok.contains(ratio));
            ratio.map_or(rules, |ratio| Voltage::from_v(ratio * nominal_v))
        };
        let hertz = |hz: Option<f64>, ok: std::ops::RangeInclusive<f64>, rules: Frequency| {
            hz.filter(|hz| ok.contains(hz))
                .map_or(rules, Frequency::from_hz)
        };
        let span = |s: Option<f64>, rules: Span| s.filter(is_time).map_or(rules, seconds);
        EnterService {
            voltage: (
                volts(self.low_voltage_ratio, 0.3..=1.0, rules.voltage.0),
                volts(self.high_voltage_ratio, 1.0..=MOST_RATIO, rules.voltage.1),
            ),
            frequency: (
                hertz(
                    self.low_hz,
                    nominal_hz - MOST_OFF_HZ..=nominal_hz,
                    rules.frequency.0,
                ),
                hertz(
                    self.high_hz,
                    nominal_hz..=nominal_hz + MOST_OFF_HZ,
                    rules.frequency.1,
                ),
            ),
            delay: span(self.delay_s, rules.delay),
            random: span(self.random_s, rules.random),
            ramp: span(self.ramp_s, rules.ramp),
        }
    }
}

fn replace<T>(rules: &mut Vec<T>, published: Option<Vec<T>>) {
    if let Some(published) = published {
        *rules = published;
    }
}

/// Limits of a trip curve, mildest first, each with the longest time for which it may be passed;
/// `sign`: above or below the middle. `None` for what is no such curve.
fn stages(curve: &Curve, middle: f64, sign: f64, most: f64) -> Option<Vec<(f64, f64)>> {
    let Curve::On(corners) = curve else {
        return None;
    };
    let is_limit = |&(x, s): &(f64, f64)| {
        let off = (x - middle) * sign;
        off > 0.0 && is_time(&s)
    };
    // A curve may be drawn on to where no supply is; that says nothing more.
    let inside = |&&(x, _): &&(f64, f64)| (x - middle).abs() <= most || sign < 0.0;
    let mut corners: Vec<(f64, f64)> = corners.iter().filter(inside).copied().collect();
    if corners.is_empty() || !corners.iter().all(is_limit) {
        return None;
    }
    // Mildest first, and at an edge of a staircase the time that it comes down to.
    let off = |x: f64| (x - middle) * sign;
    corners.sort_by(|a, b| off(a.0).total_cmp(&off(b.0)).then(a.1.total_cmp(&b.1)));
    let mut stages: Vec<(f64, f64)> = Vec::new();
    for (x, s) in corners {
        // Further out only a shorter time is another limit.
        if stages.last().is_none_or(|last| s < last.1) {
            stages.push((x, s));
        }
    }
    Some(stages)
}

fn volt_watt(line: &Curve, nominal_v: f64) -> Option<Vec<VoltWattPoint>> {
    let Curve::On(points) = line else {
        return Some(Vec::new());
    };
    let rises = points
        .windows(2)
        .all(|p| p[1].0 > p[0].0 && p[1].1 <= p[0].1);
    let is_ratio = |p: &(f64, f64)| p.0 > 0.0 && p.0 <= MOST_RATIO && (0.0..=1.5).contains(&p.1);
    let point = |p: &(f64, f64)| VoltWattPoint {
        voltage: Voltage::from_v(p.0 * nominal_v),
        power_ratio: p.1,
    };
    let is_line = points.len() >= 2 && rises && points.iter().all(is_ratio);
    is_line.then(|| points.iter().map(point).collect())
}

fn is_time(s: &f64) -> bool {
    (0.0..=86_400.0).contains(s)
}

fn seconds(s: f64) -> Span {
    Span::from_ms((s * 1000.0).round() as i64)
}

#[cfg(test)]
#[path = "grid_settings_tests.rs"]
mod tests;
