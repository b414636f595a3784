//! The level of a plane: what its inputs gave on a day over what its light gives.
//!
//! Model:   the median, over the inputs of a plane in its best light of the day, of each one's current
//!          beside what it makes of a clean plane's: by the inputs whose day may calibrate, and where
//!          none may, by all of them if they are alike. Dirt takes the same from all and, in time, more
//!          than a day may be off that calibrates; what is wrong with one input, or with a sensor from
//!          the first day, does not come slowly and is not decided here.
//! Symbols: ratios [-].
//! Range:   inputs are alike within 0.06 of their middle, two or more; no less than 0.6.
//! Source:  own; 0.06 as for a day beside its siblings, 0.6 is twice the dirt that is looked for
//!          (engineering judgement).
//! Check:   tests below; tests/acceptance/engine/soiling.rs.

use super::super::types::WeatherRung;
use super::day::SIBLING_BOUND_RATIO;
use crate::reading::median;
use serde::{Deserialize, Serialize};

/// Lowest level that inputs which are alike have together [-].
const LEAST_RATIO: f64 = 0.6;

/// What the inputs of a plane gave on a day over what the uncalibrated chain gives in its light.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Level {
    /// Where the light came from.
    pub rung: WeatherRung,
    /// Measured over given [-].
    pub ratio: f64,
    /// Whether it is near enough to the datasheet to become what is expected.
    pub may_calibrate: bool,
}

/// The steady day of one input.
#[derive(Debug, Clone, Copy)]
pub(super) struct OfInput {
    pub rung: WeatherRung,
    /// Its current over what the chain gives, over its own gain [-].
    pub ratio: f64,
    pub may_calibrate: bool,
}

impl Level {
    /// Of the inputs of a plane that had a steady day; `None` where these say nothing of the plane.
    pub(super) fn of(days: &[OfInput]) -> Option<Self> {
        let some_may = days.iter().any(|day| day.may_calibrate);
        let count = || days.iter().filter(move |day| day.may_calibrate == some_may);
        let rung = count().map(|day| day.rung).min()?;
        let ratios = || count().filter(|day| day.rung == rung).map(|day| day.ratio);
        let ratio = median(ratios())?;
        let is_alike = |one: f64| (one / ratio - 1.0).abs() <= SIBLING_BOUND_RATIO;
        let is_the_planes =
            some_may || (ratios().count() >= 2 && ratio >= LEAST_RATIO && ratios().all(is_alike));
        is_the_planes.then_some(Self {
            rung,
            ratio,
            may_calibrate: some_may,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn days(ratios: &[f64]) -> Vec<OfInput> {
        let day = |ratio: &f64| OfInput {
            rung: WeatherRung::HorizontalOnly,
            ratio: *ratio,
            may_calibrate: (ratio - 1.0).abs() <= 0.12,
        };
        ratios.iter().map(day).collect()
    }

    #[test]
    fn inputs_that_are_far_off_together_are_the_planes_and_one_alone_is_not() {
        let dirty = Level::of(&days(&[0.80, 0.82, 0.81])).expect("alike");
        assert_eq!((dirty.ratio, dirty.may_calibrate), (0.81, false));
        assert_eq!(Level::of(&days(&[0.80])), None, "alone");
        assert_eq!(Level::of(&days(&[0.80, 0.70])), None, "not alike");
        assert_eq!(Level::of(&days(&[0.5, 0.5])), None, "no dirt");
        assert_eq!(Level::of(&[]), None);
    }

    #[test]
    fn those_that_may_calibrate_decide_and_so_does_their_light() {
        let mut mixed = days(&[0.98, 0.99, 0.7]);
        mixed[2].rung = WeatherRung::PlaneSensor;
        let level = Level::of(&mixed).expect("two may calibrate");
        assert_eq!(level.rung, WeatherRung::HorizontalOnly);
        assert_eq!((level.ratio, level.may_calibrate), (0.985, true));
    }
}
