//! The latest valid slots of one input on one day: what a fast diagnosis looks at.
//! Never in here: what the samples mean.

use crate::reading::{SolarDay, Span, Time, median};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// One valid slot of one input, freed from what its plane's inputs share as far as that is known.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Sample {
    /// Start of the slot.
    pub start: Time,
    /// Measured over curve current, over the common factor [-].
    pub ratio: f64,
    /// What the inputs that share a horizontal sensor show of its light, over the common factor: the
    /// best of the others, 1 at most, and 1 where there are none [-].
    pub light_ratio: f64,
    /// Its own standard deviation [-].
    pub own: f64,
    /// Standard deviation of the common factor [-].
    pub common: f64,
    /// Measured over expected peak voltage [-].
    pub voltage_ratio: f64,
    /// Its standard deviation [-].
    pub voltage_sigma: f64,
    /// Energy missing against expected in the slot [Wh].
    pub missing_wh: f64,
}

/// Samples kept for a diagnosis: enough for an hour of five-minute slots.
const KEPT: usize = 12;

/// The latest samples of one input. Starts afresh each day.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Window {
    day: Option<SolarDay>,
    samples: VecDeque<Sample>,
    first_ratio_of_day: Option<f64>,
    /// The middle of the last samples of the day before.
    ratio_before: Option<f64>,
}

impl Window {
    /// No sample yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes the sample of a valid slot.
    pub fn push(&mut self, day: SolarDay, sample: Sample) {
        if self.day != Some(day) {
            *self = Self {
                day: Some(day),
                ratio_before: median(self.samples.iter().map(|s| s.ratio)),
                ..Self::default()
            };
        }
        self.first_ratio_of_day.get_or_insert(sample.ratio);
        if self.samples.len() == KEPT {
            self.samples.pop_front();
        }
        self.samples.push_back(sample);
    }

    /// The latest samples that together cover `light`, at least `least` of them, oldest first;
    /// `None` while there are not enough.
    pub fn latest(&self, light: Span, slot: Span, least: usize) -> Option<Vec<Sample>> {
        let needed = slots_covering(light, slot, least);
        let skipped = self.samples.len().checked_sub(needed)?;
        Some(self.samples.iter().skip(skipped).copied().collect())
    }

    /// The first ratio of the day, and the middle of the last ones of the day before: whether a loss was
    /// there when the light came, and came in the night.
    pub fn across_the_night(&self) -> Option<(f64, Option<f64>)> {
        Some((self.first_ratio_of_day?, self.ratio_before))
    }

    /// All samples kept, oldest first.
    pub fn samples(&self) -> impl DoubleEndedIterator<Item = &Sample> {
        self.samples.iter()
    }
}

/// How many slots together cover `light`, at least `least`.
pub(super) fn slots_covering(light: Span, slot: Span, least: usize) -> usize {
    let covering = (light.ms() as usize).div_ceil(slot.ms() as usize);
    covering.max(least)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_new_day_starts_afresh() {
        let sample = |ms| Sample {
            start: Time::from_unix_ms(ms),
            ratio: 1.0,
            light_ratio: 1.0,
            own: 0.02,
            common: 0.03,
            voltage_ratio: 1.0,
            voltage_sigma: 0.01,
            missing_wh: 0.0,
        };
        let day = |ms| Time::from_unix_ms(ms).solar_day(0.0);
        let mut window = Window::new();
        for i in 0..20 {
            window.push(day(0), sample(i));
        }
        let slot = Span::from_min(5);
        assert_eq!(
            window.latest(Span::from_min(30), slot, 4).map(|s| s.len()),
            Some(6)
        );
        assert_eq!(window.latest(Span::from_h(2), slot, 4), None);
        assert_eq!(window.across_the_night(), Some((1.0, None)));
        window.push(
            day(86_400_000),
            Sample {
                ratio: 0.7,
                ..sample(86_400_000)
            },
        );
        assert_eq!(window.samples().count(), 1);
        assert_eq!(window.across_the_night(), Some((0.7, Some(1.0))));
    }
}
