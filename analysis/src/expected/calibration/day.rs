//! What one day of one input says about it, and whether that day may calibrate.
//!
//! Model:   medians over the valid slots of a day in one kind of light; of the voltage also over the
//!          brighter half of the bright ones (`bright`), or of all where they are few. A voltage that is
//!          off all day is taken as the cells' temperature, and the current is compared with the peak
//!          that this temperature moves: with u the median of V_measured / V_mp, and d ln I / d ln V = -1
//!          at a peak,  I_measured / I_mp (V_measured / V_mp) / u  to second order in how far a slot is
//!          from there.
//! Range:   at least an hour and a half of valid light, steady; the current within
//!          1 -+ (0.12 + power tolerance) and never so far that half a string could be inside; the
//!          voltage within 1 -+ (0.06 + power tolerance); beside siblings within 0.06. A day outside
//!          is not used: a fault that was there from the start must not become what is expected.
//! Source:  own; the bounds are engineering judgement: irradiance sensor 5 % and soiling or
//!          mismatch 7 % at most, temperature error 10 K x 0.4 %/K plus 2 %.
//! Check:   tests below; tests/acceptance/engine/health.rs, strings open from the first day.

use super::super::bright::{BRIGHT_POA_W_M2, brighter_half};
use super::super::types::WeatherRung;
use crate::plant::{Input, Plant};
use crate::reading::{Span, median, robust_spread};
use serde::{Deserialize, Serialize};

/// Light that a day must have [h].
const MIN_LIGHT_H: f64 = 1.5;
/// Bright light beside which the rest of a day says nothing of the voltage [h].
const MIN_BRIGHT_H: f64 = 1.0;
/// Largest spread of the current ratios of a day [-].
const MAX_SPREAD_RATIO: f64 = 0.05;
/// Bounds of the current and of the voltage around 1, beside the module's own tolerance [-].
const CURRENT_BOUND_RATIO: f64 = 0.12;
const VOLTAGE_BOUND_RATIO: f64 = 0.06;
/// Bound of an input beside its siblings on the same plane [-].
pub(super) const SIBLING_BOUND_RATIO: f64 = 0.06;

/// One valid slot of an input, beside the calibrated chain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CalibrationSample {
    /// Where the light came from.
    pub rung: WeatherRung,
    /// Irradiance in the plane [W/m2].
    pub poa_w_m2: f64,
    /// I_measured / I_mp [-].
    pub current_ratio: f64,
    /// V_measured / V_mp [-].
    pub voltage_ratio: f64,
    /// How the peak's voltage follows an offset of the cells stated for the reference rise [1/K].
    pub voltage_per_offset_k: f64,
    /// The current beside that of its siblings on the plane, where there are any [-].
    pub beside_siblings: Option<f64>,
}

/// A sample as it waits for the end of the day: beside the uncalibrated chain, but for `seen`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Kept {
    pub rung: WeatherRung,
    pub poa_w_m2: f64,
    pub current_ratio: f64,
    /// V_measured / V_mp of the calibrated chain.
    pub seen_voltage_ratio: f64,
    /// ln (V_measured / V_mp).
    pub voltage_ln: f64,
    pub voltage_per_offset_k: f64,
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

/// The voltage of some slots.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct VoltageMedian {
    /// ln (V_measured / V_mp).
    pub ln: f64,
    /// See [`CalibrationSample`].
    pub per_offset_k: f64,
}

impl VoltageMedian {
    fn of(slots: &[&Kept]) -> Option<Self> {
        Some(Self {
            ln: median(slots.iter().map(|s| s.voltage_ln))?,
            per_offset_k: median(slots.iter().map(|s| s.voltage_per_offset_k))?,
        })
    }

    /// The offset of the cells by which the voltage would be that of an array that differs from its
    /// datasheet by `own_ln`.
    pub fn offset_k(&self, own_ln: f64) -> f64 {
        (self.ln - own_ln) / self.per_offset_k
    }

    /// What the array differs by, ln, with such an offset.
    pub fn own_ln(&self, offset_k: f64) -> f64 {
        self.ln - self.per_offset_k * offset_k
    }
}

/// The medians of a steady day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct DayMedian {
    pub rung: WeatherRung,
    pub current_ratio: f64,
    /// Of all slots: by it cells are warmer than thought.
    pub voltage: VoltageMedian,
    /// Of bright ones: by it one input is unlike another.
    pub bright: VoltageMedian,
    /// Whether it is near enough to the datasheet and to its siblings to calibrate.
    pub may_calibrate: bool,
}

impl DayMedian {
    /// Of the kind of light that the day had most of; `None` where there was too little of it or it was
    /// not steady.
    pub fn of(samples: &[Kept], slot: Span, bounds: Bounds) -> Option<Self> {
        let rung = most_frequent(samples)?;
        let of_rung = || samples.iter().filter(|s| s.rung == rung);
        if of_rung().count() as f64 * slot.hours() < MIN_LIGHT_H {
            return None;
        }
        let off = median(of_rung().map(|s| s.seen_voltage_ratio))?;
        let currents = || of_rung().map(|s| s.current_ratio * s.seen_voltage_ratio / off);
        let current_ratio = median(currents())?;
        let all: Vec<&Kept> = of_rung().collect();
        let voltage = VoltageMedian::of(&all)?;
        let bright = of_rung().filter(|s| s.poa_w_m2 >= BRIGHT_POA_W_M2);
        let mut bright: Vec<&Kept> = bright.collect();
        if bright.len() as f64 * slot.hours() < MIN_BRIGHT_H {
            bright = all;
        }
        let bright = VoltageMedian::of(&brighter_half(bright, |s| s.poa_w_m2))?;
        let beside = median(of_rung().filter_map(|s| s.beside_siblings));
        let half_a_string = 0.5 / bounds.strings.max(1) as f64;
        let tolerance = bounds.power_tolerance_ratio;
        let may_calibrate = (current_ratio - 1.0).abs()
            <= (CURRENT_BOUND_RATIO + tolerance).min(half_a_string)
            && voltage.ln.exp_m1().abs() <= VOLTAGE_BOUND_RATIO + tolerance
            && beside.is_none_or(|beside| (beside - 1.0).abs() <= SIBLING_BOUND_RATIO);
        let is_steady = robust_spread(currents(), current_ratio)? <= MAX_SPREAD_RATIO;
        is_steady.then_some(Self {
            rung,
            current_ratio,
            voltage,
            bright,
            may_calibrate,
        })
    }
}

fn most_frequent(samples: &[Kept]) -> Option<WeatherRung> {
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

    fn day(ratio: impl Fn(usize) -> f64, beside: Option<f64>) -> Vec<Kept> {
        let sample = |i| Kept {
            rung: WeatherRung::PlaneSensor,
            poa_w_m2: 600.0,
            current_ratio: ratio(i),
            seen_voltage_ratio: 1.0,
            voltage_ln: 0.01,
            voltage_per_offset_k: -0.004,
            beside_siblings: beside,
        };
        (0..40).map(sample).collect()
    }

    fn median_of(samples: &[Kept], bounds: Bounds) -> Option<DayMedian> {
        DayMedian::of(samples, Span::from_min(5), bounds)
    }

    fn may_calibrate(samples: &[Kept], bounds: Bounds) -> bool {
        median_of(samples, bounds).expect("steady").may_calibrate
    }

    #[test]
    fn a_steady_day_calibrates() {
        let steady = day(|i| 0.95 + 0.001 * (i % 3) as f64, None);
        let median = median_of(&steady, BOUNDS).expect("steady");
        assert_eq!((median.current_ratio, median.voltage.ln), (0.951, 0.01));
        assert_eq!(median_of(&steady[..10], BOUNDS), None, "too little light");
    }

    #[test]
    fn a_voltage_that_is_off_all_day_is_not_taken_for_current() {
        // Cells 12 K colder than thought, and a tracker that now and then sits 2 % above or below its
        // peak, where the current is as much lower or higher.
        let away = |i: usize| [0.98, 1.0, 1.02][i % 3];
        let mut cold = day(|i| 0.97 / away(i), None);
        for (i, sample) in cold.iter_mut().enumerate() {
            sample.seen_voltage_ratio = 1.05 * away(i);
        }
        let median = median_of(&cold, BOUNDS).expect("steady");
        assert!((median.current_ratio - 0.97).abs() < 1e-9, "{median:?}");
    }

    #[test]
    fn dim_slots_say_nothing_of_how_one_input_differs_from_another() {
        let mut clear = day(|_| 0.97, None);
        for (i, sample) in clear.iter_mut().enumerate() {
            sample.poa_w_m2 = 300.0 + 10.0 * i as f64;
            sample.voltage_ln = if sample.poa_w_m2 < 560.0 { 0.01 } else { 0.006 };
        }
        let median = median_of(&clear, BOUNDS).expect("steady");
        assert_eq!((median.voltage.ln, median.bright.ln), (0.01, 0.006));
        let dim = &clear[..20];
        assert_eq!(median_of(dim, BOUNDS).expect("steady").bright.ln, 0.01);
    }

    #[test]
    fn an_open_string_from_the_first_day_does_not_become_what_is_expected() {
        for strings in 2..=8 {
            let left = 1.0 - 1.0 / strings as f64;
            let bounds = Bounds { strings, ..BOUNDS };
            assert!(!may_calibrate(&day(|_| left, None), bounds), "{strings}");
        }
    }

    #[test]
    fn an_input_unlike_its_siblings_and_a_restless_day_do_not_calibrate() {
        assert!(may_calibrate(&day(|_| 0.92, Some(0.95)), BOUNDS));
        assert!(!may_calibrate(&day(|_| 0.92, Some(0.92)), BOUNDS));
        let restless = |i| if i % 2 == 0 { 0.9 } else { 1.1 };
        assert_eq!(median_of(&day(restless, None), BOUNDS), None);
    }

    #[test]
    fn only_the_light_that_the_day_had_most_of_counts() {
        let mut mixed = day(|_| 0.97, None);
        mixed.extend(day(|_| 1.08, None).into_iter().take(20).map(|s| Kept {
            rung: WeatherRung::HorizontalOnly,
            ..s
        }));
        let median = median_of(&mixed, BOUNDS).expect("steady");
        assert_eq!(median.current_ratio, 0.97);
        assert_eq!(median.rung, WeatherRung::PlaneSensor);
    }
}
