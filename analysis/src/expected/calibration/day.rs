//! What one day of one input says about it, and whether that day may calibrate.
//!
//! Model:   medians over the valid slots of a day in one kind of light.
//! Range:   at least an hour and a half of valid light, steady; the current within
//!          1 -+ (0.12 + power tolerance) and never so far that half a string could be inside; the
//!          voltage within 1 -+ (0.06 + power tolerance); beside siblings within 0.06. A day outside
//!          is not used: a fault that was there from the start must not become what is expected.
//! Source:  own; the bounds are engineering judgement: irradiance sensor 5 % and soiling or
//!          mismatch 7 % at most, temperature error 10 K x 0.4 %/K plus 2 %.
//! Check:   tests below; tests/acceptance/engine/health.rs, strings open from the first day.

use super::super::types::WeatherRung;
use crate::plant::{Input, Plant};
use crate::reading::{Span, median, robust_spread};
use serde::{Deserialize, Serialize};

/// Light that a day must have [h].
const MIN_LIGHT_H: f64 = 1.5;
/// Largest spread of the current ratios of a day [-].
const MAX_SPREAD_RATIO: f64 = 0.05;
/// Bounds of the current and of the voltage around 1, beside the module's own tolerance [-].
const CURRENT_BOUND_RATIO: f64 = 0.12;
const VOLTAGE_BOUND_RATIO: f64 = 0.06;
/// Bound of an input beside its siblings on the same plane [-].
const SIBLING_BOUND_RATIO: f64 = 0.06;

/// One valid slot of an input, beside the uncalibrated chain.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CalibrationSample {
    /// Where the light came from.
    pub rung: WeatherRung,
    /// I_measured / I_curve(V_measured) [-].
    pub current_ratio: f64,
    /// V_measured / V_mp [-].
    pub voltage_ratio: f64,
    /// The current beside that of its siblings on the plane, where there are any [-].
    pub beside_siblings: Option<f64>,
}

/// What bounds the calibration of an input.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Bounds {
    /// Largest power tolerance of its modules [-].
    pub power_tolerance_ratio: f64,
    /// Strings in parallel.
    pub strings: usize,
}

impl Bounds {
    pub fn of(plant: &Plant, input: &Input) -> Self {
        Self {
            power_tolerance_ratio: plant.power_tolerance_ratio(input),
            strings: input.strings.len(),
        }
    }
}

/// The medians of a day that may calibrate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct DayMedian {
    pub rung: WeatherRung,
    pub current_ratio: f64,
    pub voltage_ratio: f64,
}

impl DayMedian {
    /// Of the kind of light that the day had most of; `None` where the day may not calibrate.
    pub fn of(samples: &[CalibrationSample], slot: Span, bounds: Bounds) -> Option<Self> {
        let rung = most_frequent(samples)?;
        let of_rung = || samples.iter().filter(|s| s.rung == rung);
        if of_rung().count() as f64 * slot.hours() < MIN_LIGHT_H {
            return None;
        }
        let currents = || of_rung().map(|s| s.current_ratio);
        let current_ratio = median(currents())?;
        let voltage_ratio = median(of_rung().map(|s| s.voltage_ratio))?;
        let beside = median(of_rung().filter_map(|s| s.beside_siblings));
        let half_a_string = 0.5 / bounds.strings.max(1) as f64;
        let tolerance = bounds.power_tolerance_ratio;
        let is_plausible = (current_ratio - 1.0).abs()
            <= (CURRENT_BOUND_RATIO + tolerance).min(half_a_string)
            && (voltage_ratio - 1.0).abs() <= VOLTAGE_BOUND_RATIO + tolerance
            && robust_spread(currents(), current_ratio)? <= MAX_SPREAD_RATIO
            && beside.is_none_or(|beside| (beside - 1.0).abs() <= SIBLING_BOUND_RATIO);
        is_plausible.then_some(Self {
            rung,
            current_ratio,
            voltage_ratio,
        })
    }
}

fn most_frequent(samples: &[CalibrationSample]) -> Option<WeatherRung> {
    let count = |rung| samples.iter().filter(|s| s.rung == rung).count();
    // The better rung of two that are as frequent.
    let rungs = samples.iter().map(|s| s.rung);
    rungs.max_by_key(|rung| (count(*rung), std::cmp::Reverse(*rung)))
}

#[cfg(test)]
mod tests {
    use super::*;

    const BOUNDS: Bounds = Bounds {
        power_tolerance_ratio: 0.03,
        strings: 2,
    };

    fn day(ratio: impl Fn(usize) -> f64, beside: Option<f64>) -> Vec<CalibrationSample> {
        let sample = |i| CalibrationSample {
            rung: WeatherRung::PlaneSensor,
            current_ratio: ratio(i),
            voltage_ratio: 1.01,
            beside_siblings: beside,
        };
        (0..40).map(sample).collect()
    }

    fn median_of(samples: &[CalibrationSample], bounds: Bounds) -> Option<DayMedian> {
        DayMedian::of(samples, Span::from_min(5), bounds)
    }

    #[test]
    fn a_steady_day_calibrates() {
        let steady = day(|i| 0.95 + 0.001 * (i % 3) as f64, None);
        let median = median_of(&steady, BOUNDS).expect("steady");
        assert_eq!((median.current_ratio, median.voltage_ratio), (0.951, 1.01));
        assert_eq!(median_of(&steady[..10], BOUNDS), None, "too little light");
    }

    #[test]
    fn an_open_string_from_the_first_day_does_not_become_what_is_expected() {
        for strings in 2..=8 {
            let left = 1.0 - 1.0 / strings as f64;
            let bounds = Bounds { strings, ..BOUNDS };
            assert_eq!(median_of(&day(|_| left, None), bounds), None, "{strings}");
        }
    }

    #[test]
    fn an_input_unlike_its_siblings_and_a_restless_day_do_not_calibrate() {
        assert_eq!(median_of(&day(|_| 0.92, Some(0.92)), BOUNDS), None);
        let restless = |i| if i % 2 == 0 { 0.9 } else { 1.1 };
        assert_eq!(median_of(&day(restless, None), BOUNDS), None);
    }

    #[test]
    fn only_the_light_that_the_day_had_most_of_counts() {
        let mut mixed = day(|_| 0.97, None);
        mixed.extend(
            day(|_| 1.08, None)
                .into_iter()
                .take(20)
                .map(|s| CalibrationSample {
                    rung: WeatherRung::HorizontalOnly,
                    ..s
                }),
        );
        let median = median_of(&mixed, BOUNDS).expect("steady");
        assert_eq!(median.current_ratio, 0.97);
        assert_eq!(median.rung, WeatherRung::PlaneSensor);
    }
}
