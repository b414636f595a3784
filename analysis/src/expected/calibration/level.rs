//! What a plane as a whole gave on a day, beside what the light that was measured gives.
//! Never in here: what follows from it.

use super::super::types::WeatherRung;
use super::day::DayMedian;
use crate::reading::median;
use serde::{Deserialize, Serialize};

/// How far inputs may lie beside their median that have lost the same (engineering judgement: as
/// siblings that may calibrate) [-].
const ALIKE_RATIO: f64 = 0.06;

/// What the inputs of a plane gave on a day over what the uncalibrated chain gives.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Level {
    /// Of this light.
    pub rung: WeatherRung,
    /// Median of the inputs [-].
    pub ratio: f64,
    /// Whether days like it may calibrate. All inputs of a plane that are far off alike are no faults of
    /// inputs: dirt and snow are.
    pub is_near: bool,
}

impl Level {
    /// Of the steady days of its inputs in one light.
    pub(super) fn of(rung: WeatherRung, days: &[DayMedian]) -> Option<Self> {
        let near = |day: &&DayMedian| day.may_calibrate;
        let of_near = median(days.iter().filter(near).map(|day| day.current_ratio));
        let is_near = of_near.is_some();
        let ratio = of_near.or_else(|| {
            let middle = median(days.iter().map(|day| day.current_ratio))?;
            let is_alike =
                |day: &DayMedian| (day.current_ratio / middle - 1.0).abs() <= ALIKE_RATIO;
            (days.len() >= 2 && days.iter().all(is_alike)).then_some(middle)
        })?;
        Some(Self {
            rung,
            ratio,
            is_near,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(current_ratio: f64) -> DayMedian {
        DayMedian {
            rung: WeatherRung::PlaneSensor,
            may_calibrate: current_ratio > 0.85,
            current_ratio,
            voltage_ln: 0.0,
            voltage_per_offset_k: -0.004,
        }
    }

    fn level(ratios: &[f64]) -> Option<(f64, bool)> {
        let days: Vec<_> = ratios.iter().map(|ratio| day(*ratio)).collect();
        let level = Level::of(WeatherRung::PlaneSensor, &days)?;
        Some((level.ratio, level.is_near))
    }

    #[test]
    fn what_all_have_lost_is_a_level_and_what_one_has_lost_is_none() {
        assert_eq!(level(&[0.99, 1.01, 0.5]), Some((1.0, true)));
        assert_eq!(level(&[0.7, 0.74]), Some((0.72, false)));
        assert_eq!(level(&[0.7]), None);
        assert_eq!(level(&[0.7, 0.5]), None);
        assert_eq!(level(&[]), None);
    }
}
