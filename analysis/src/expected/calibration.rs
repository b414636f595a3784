//! How one input differs from its datasheet: a gain for its current, a ratio for its voltage.
//!
//! Model:   gain = median of I_measured / I_curve(V_measured), over the valid slots of the first
//!          clear enough day; the voltage ratio is the median of V_measured / V_mp.
//! Symbols: both dimensionless; `spread` is 1.4826 x the median absolute deviation of the day.
//! Range:   gain within 1 -+ (0.12 + power tolerance) and never so far that half a string could be
//!          inside; voltage ratio within 1 -+ (0.06 + power tolerance); beside siblings within 0.06.
//!          A day outside is not used: a fault that was there from the start must not become what is
//!          expected.
//! Source:  own; the bounds are engineering judgement: irradiance sensor 5 % and soiling or
//!          mismatch 7 % at most, temperature error 10 K x 0.4 %/K plus 2 %.
//! Check:   the recordings under tests/data, where the array's facts are only partly published.

use super::types::Uncertain;
use crate::reading::SolarDay;
use serde::{Deserialize, Serialize};

/// Slots a day must have before it may calibrate, as a span of light [h].
const MIN_LIGHT_H: f64 = 1.5;
/// Largest spread of the ratios of a day that may calibrate [-].
const MAX_SPREAD_RATIO: f64 = 0.05;
/// Bound of the gain around 1, beside the module's own tolerance [-].
const GAIN_BOUND_RATIO: f64 = 0.12;
/// Bound of the voltage ratio around 1 [-].
const VOLTAGE_BOUND_RATIO: f64 = 0.06;
/// Bound of an input beside its siblings on the same plane [-].
const SIBLING_BOUND_RATIO: f64 = 0.06;
/// Uncertainty that a datasheet leaves in an input's own current and voltage [-].
const DATASHEET_CURRENT_RATIO: f64 = 0.03;
const DATASHEET_VOLTAGE_RATIO: f64 = 0.012;
/// What stays after a calibration: drift, incidence, spectrum [-].
const CALIBRATED_CURRENT_RATIO: f64 = 0.01;
const CALIBRATED_VOLTAGE_RATIO: f64 = 0.004;
/// How much of the plane's common error a calibration takes away [-].
const COMMON_LEFT_RATIO: f64 = 0.6;

/// One valid slot, as a calibration sees it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CalibrationSample {
    /// I_measured / I_curve(V_measured) by the datasheet [-].
    pub current_ratio: f64,
    /// V_measured / V_mp by the datasheet [-].
    pub voltage_ratio: f64,
    /// The current beside that of its siblings on the plane, where there are any [-].
    pub beside_siblings: Option<f64>,
}

/// What bounds the calibration of an input.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CalibrationBounds {
    /// Largest power tolerance of its modules [-].
    pub power_tolerance_ratio: f64,
    /// Strings in parallel.
    pub strings: usize,
}

/// Slow knowledge about one input.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Calibration {
    accepted: Option<Accepted>,
    today: Option<(SolarDay, Vec<CalibrationSample>)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Accepted {
    day: SolarDay,
    gain: f64,
    voltage_ratio: f64,
}

impl Calibration {
    /// Nothing known beyond the datasheet.
    pub fn new() -> Self {
        Self {
            accepted: None,
            today: None,
        }
    }

    /// Factor on the datasheet's current [-].
    pub fn gain(&self) -> f64 {
        self.accepted.map_or(1.0, |a| a.gain)
    }

    /// Factor on the datasheet's voltage [-].
    pub fn voltage_ratio(&self) -> f64 {
        self.accepted.map_or(1.0, |a| a.voltage_ratio)
    }

    /// Uncertainty of the current, given that of the light.
    pub fn current_uncertainty(&self, light: Uncertain) -> Uncertain {
        match self.accepted {
            None => widen(light, 1.0, DATASHEET_CURRENT_RATIO),
            Some(_) => widen(light, COMMON_LEFT_RATIO, CALIBRATED_CURRENT_RATIO),
        }
    }

    /// Uncertainty of the voltage, given that from temperature and light.
    pub fn voltage_uncertainty(&self, heat: Uncertain) -> Uncertain {
        match self.accepted {
            None => widen(heat, 1.0, DATASHEET_VOLTAGE_RATIO),
            Some(_) => widen(heat, COMMON_LEFT_RATIO, CALIBRATED_VOLTAGE_RATIO),
        }
    }

    /// Takes a valid slot of a healthy input. Once a day has been accepted it stays: a later change
    /// is a finding, not a calibration.
    pub fn add(&mut self, day: SolarDay, sample: CalibrationSample) {
        if self.accepted.is_some() {
            return;
        }
        match &mut self.today {
            Some((today, samples)) if *today == day => samples.push(sample),
            _ => self.today = Some((day, vec![sample])),
        }
    }

    /// Throws today's slots away: something was found wrong with the input.
    pub fn distrust_today(&mut self) {
        self.today = None;
    }

    /// Decides on the day that has ended, if it has.
    pub fn close_day(&mut self, day: SolarDay, slot_h: f64, bounds: CalibrationBounds) {
        let Some((closing, samples)) = self.today.take_if(|(closing, _)| *closing < day) else {
            return;
        };
        if samples.len() as f64 * slot_h < MIN_LIGHT_H {
            return;
        }
        let (gain, spread) = median_and_spread(samples.iter().map(|s| s.current_ratio));
        let (voltage_ratio, _) = median_and_spread(samples.iter().map(|s| s.voltage_ratio));
        let beside: Vec<f64> = samples.iter().filter_map(|s| s.beside_siblings).collect();
        let tolerance = bounds.power_tolerance_ratio;
        let half_a_string = 0.5 / bounds.strings.max(1) as f64;
        let gain_bound = (GAIN_BOUND_RATIO + tolerance).min(half_a_string);
        let is_like_siblings = beside.is_empty() || {
            let (median, _) = median_and_spread(beside.into_iter());
            (median - 1.0).abs() <= SIBLING_BOUND_RATIO
        };
        let is_plausible = (gain - 1.0).abs() <= gain_bound
            && (voltage_ratio - 1.0).abs() <= VOLTAGE_BOUND_RATIO + tolerance
            && spread <= MAX_SPREAD_RATIO;
        if is_plausible && is_like_siblings {
            self.accepted = Some(Accepted {
                day: closing,
                gain,
                voltage_ratio,
            });
        }
    }
}

impl Default for Calibration {
    fn default() -> Self {
        Self::new()
    }
}

fn widen(light: Uncertain, common_left: f64, own: f64) -> Uncertain {
    Uncertain {
        common_ratio: light.common_ratio * common_left,
        own_ratio: light.own_ratio.hypot(own),
    }
}

fn median_and_spread(values: impl Iterator<Item = f64>) -> (f64, f64) {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    let median = sorted[sorted.len() / 2];
    let mut deviations: Vec<f64> = sorted.iter().map(|v| (v - median).abs()).collect();
    deviations.sort_by(f64::total_cmp);
    (median, 1.4826 * deviations[deviations.len() / 2])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Time;

    fn day(n: i64) -> SolarDay {
        Time::from_unix_ms(n * 86_400_000).solar_day(0.0)
    }

    const BOUNDS: CalibrationBounds = CalibrationBounds {
        power_tolerance_ratio: 0.03,
        strings: 2,
    };

    fn calibrated_on(ratio: impl Fn(usize) -> f64, bounds: CalibrationBounds) -> Calibration {
        let mut calibration = Calibration::new();
        for i in 0..40 {
            let sample = CalibrationSample {
                current_ratio: ratio(i),
                voltage_ratio: 1.01,
                beside_siblings: None,
            };
            calibration.add(day(0), sample);
        }
        calibration.close_day(day(1), 1.0 / 12.0, bounds);
        calibration
    }

    #[test]
    fn a_steady_day_sets_the_gain() {
        let calibration = calibrated_on(|i| 0.95 + 0.001 * (i % 3) as f64, BOUNDS);
        assert_eq!(calibration.gain(), 0.951);
        assert_eq!(calibration.voltage_ratio(), 1.01);
    }

    #[test]
    fn an_open_string_from_the_first_day_does_not_become_what_is_expected() {
        for strings in 2..=8 {
            let left = 1.0 - 1.0 / strings as f64;
            let bounds = CalibrationBounds { strings, ..BOUNDS };
            assert_eq!(calibrated_on(|_| left, bounds).gain(), 1.0, "{strings}");
        }
    }

    #[test]
    fn an_input_unlike_its_siblings_is_not_calibrated() {
        let mut calibration = Calibration::new();
        for _ in 0..40 {
            let sample = CalibrationSample {
                current_ratio: 0.92,
                voltage_ratio: 1.0,
                beside_siblings: Some(0.92),
            };
            calibration.add(day(0), sample);
        }
        calibration.close_day(day(1), 1.0 / 12.0, BOUNDS);
        assert_eq!(calibration.gain(), 1.0);
    }

    #[test]
    fn a_restless_day_does_not_calibrate() {
        let restless = |i| if i % 2 == 0 { 0.9 } else { 1.1 };
        assert_eq!(calibrated_on(restless, BOUNDS).gain(), 1.0);
    }
}
