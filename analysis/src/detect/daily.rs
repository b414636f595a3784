//! Steady loss of current on one input, from the medians of whole days.
//!
//! Model:   a day's loss is 1 - median of its valid ratios; it counts when it exceeds both the
//!          smallest loss worth a visit and `SIGMAS` standard deviations of the median,
//!          s^2 = s_common^2 + 1.57 s_own^2 / n (pi/2 for a median of n).
//!          `DAYS` counting days in a row are a suspicion; one valid day under half of the smallest
//!          loss ends it. Days without enough light neither count nor break the row.
//! Symbols: ratios dimensionless.
//! Range:   days with at least an hour of valid light.
//! Source:  own; days in a row as in the project's design (3 clear days, 4 %).
//! Check:   unit tests below.

use super::window::Sample;
use crate::reading::{SolarDay, Span, Time, median};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Counting days in a row that make a suspicion.
const DAYS: usize = 3;
/// Smallest loss that counts [-].
const SMALLEST_LOSS_RATIO: f64 = 0.035;
/// Standard deviations a day's loss must exceed.
const SIGMAS: f64 = 3.0;
/// Valid light a day needs [h].
const MIN_LIGHT_H: f64 = 1.0;
/// Own standard deviation above which a sample is too rough for a daily loss [-].
const MAX_OWN_RATIO: f64 = 0.06;

/// The loss of one day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DailyLoss {
    /// First valid slot of the day.
    pub began: Time,
    /// 1 - median ratio [-].
    pub loss_ratio: f64,
    /// Its standard deviation [-].
    pub sigma_ratio: f64,
    /// Energy missing on the day [Wh].
    pub missing_wh: f64,
}

impl DailyLoss {
    fn counts(&self) -> bool {
        self.loss_ratio > SMALLEST_LOSS_RATIO.max(SIGMAS * self.sigma_ratio)
    }

    /// Whether the input carries again what it should.
    pub fn is_recovered(&self) -> bool {
        self.loss_ratio < SMALLEST_LOSS_RATIO / 2.0
    }
}

/// The days of one input.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Daily {
    today: Option<(SolarDay, Vec<Sample>)>,
    row: VecDeque<DailyLoss>,
}

impl Daily {
    /// No day yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes the sample of a valid slot on which no other finding stands.
    pub fn add(&mut self, day: SolarDay, sample: Sample) {
        if sample.own > MAX_OWN_RATIO {
            return;
        }
        match &mut self.today {
            Some((today, samples)) if *today == day => samples.push(sample),
            _ => self.today = Some((day, vec![sample])),
        }
    }

    /// Whether the day so far has lost enough to count.
    pub fn today_counts(&self, slot: Span) -> bool {
        let enough = |samples: &&Vec<Sample>| samples.len() as f64 * slot.hours() >= MIN_LIGHT_H;
        let samples = self.today.as_ref().map(|(_, samples)| samples);
        samples.filter(enough).is_some_and(|s| day_loss(s).counts())
    }

    /// The loss of the day that has ended, if it has ended and had enough light.
    pub fn close_day(&mut self, day: SolarDay, slot: Span) -> Option<DailyLoss> {
        let (_, samples) = self.today.take_if(|(closing, _)| *closing < day)?;
        if samples.len() as f64 * slot.hours() < MIN_LIGHT_H {
            return None;
        }
        let loss = day_loss(&samples);
        if loss.counts() {
            self.row.push_back(loss);
            if self.row.len() > DAYS {
                self.row.pop_front();
            }
        } else {
            self.row.clear();
        }
        Some(loss)
    }

    /// The row of counting days, once it is long enough.
    pub fn suspicion(&self) -> Option<Vec<DailyLoss>> {
        (self.row.len() == DAYS).then(|| self.row.iter().copied().collect())
    }
}

fn day_loss(samples: &[Sample]) -> DailyLoss {
    let ratio = median(samples.iter().map(|s| s.ratio)).expect("a day has samples");
    let n = samples.len() as f64;
    let mean = |of: fn(&Sample) -> f64| samples.iter().map(of).sum::<f64>() / n;
    let own_of_median = mean(|s| s.own) * (std::f64::consts::FRAC_PI_2 / n).sqrt();
    DailyLoss {
        began: samples[0].start,
        loss_ratio: 1.0 - ratio,
        sigma_ratio: mean(|s| s.common).hypot(own_of_median),
        missing_wh: samples.iter().map(|s| s.missing_wh).sum(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SLOT: Span = Span::from_min(5);

    fn run(ratio_of_day: &[f64], common: f64) -> Daily {
        let mut daily = Daily::new();
        for (d, ratio) in (0..).zip(ratio_of_day) {
            let midnight = Time::from_unix_ms(d * 86_400_000);
            let day = midnight.solar_day(0.0);
            daily.close_day(day, SLOT);
            for i in 0..40 {
                let sample = Sample {
                    start: midnight + Span::from_h(10) + SLOT * i,
                    ratio: *ratio,
                    own: 0.02,
                    common,
                    voltage_ratio: 1.0,
                    voltage_sigma: 0.01,
                    missing_wh: 1.0,
                };
                daily.add(day, sample);
            }
        }
        daily.close_day(Time::from_unix_ms(99 * 86_400_000).solar_day(0.0), SLOT);
        daily
    }

    #[test]
    fn three_days_of_five_percent_beside_siblings_are_a_suspicion() {
        assert!(run(&[1.0, 0.95, 0.95, 0.95], 0.008).suspicion().is_some());
        assert!(run(&[1.0, 0.95, 0.95], 0.008).suspicion().is_none());
    }

    #[test]
    fn without_siblings_the_same_loss_drowns_in_the_light() {
        assert!(run(&[0.95, 0.95, 0.95], 0.03).suspicion().is_none());
    }

    #[test]
    fn one_good_day_breaks_the_row() {
        assert!(run(&[0.95, 0.95, 1.0, 0.95], 0.008).suspicion().is_none());
    }
}
