//! One slowly learned number: what it was when the plant was handed over, and what it is now.
//!
//! Model:   a day gives a value x_d. Now is the median of the last 30 accepted days; the baseline
//!          is the median of the first 14, and stays. A day is accepted within `bound` of the
//!          neutral value and within `step` of now: drift is slow, a fault is not. A step for the
//!          better that five days in a row agree on (a repair, a cleaning) is where now starts anew.
//!          s^2 = (1.25 s_d)^2 / n + s_drift^2 (a median of n days), s_d the robust scatter of the
//!          days, or what is usual while there are few.
//! Symbols: x_d in the unit of the number, s one standard deviation of now, n days.
//! Range:   at least one accepted day; before it nothing is known.
//! Source:  own; engineering judgement, as are the bounds of those who ask.
//! Check:   tests below; tests/acceptance/coverage.rs for the intervals.

use crate::reading::{MEDIAN_OVER_MEAN, SolarDay, median, robust_spread};
use serde::{Deserialize, Serialize};

/// Days that now rests on, and days that the baseline rests on.
const NOW_DAYS: usize = 30;
const BASELINE_DAYS: usize = 14;
/// Days in a row that show a step for the better.
const STEP_DAYS: usize = 5;
/// Days from which their own scatter is believed.
const SCATTER_DAYS: usize = 7;

/// What bounds a number, in its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rule {
    /// Its value where nothing is known.
    pub neutral: f64,
    /// The furthest from there that a day may be.
    pub bound: f64,
    /// The furthest from now that a day may be.
    pub step: f64,
    /// Whether more is better.
    pub more_is_better: bool,
    /// Usual scatter from day to day (one standard deviation).
    pub usual_scatter: f64,
    /// What changes between the days that now rests on and today (one standard deviation).
    pub drift: f64,
}

/// A number, how sure it is, and what it rests on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Known {
    /// Its value.
    pub value: f64,
    /// One standard deviation.
    pub sigma: f64,
    /// The first of the days that it rests on.
    pub from: SolarDay,
    /// The last of them.
    pub to: SolarDay,
    /// How many.
    pub days: usize,
}

/// A slowly learned number.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Slow {
    /// Accepted days.
    days: Days,
    /// The latest days in a row that lie a step off on the good side.
    better: Vec<(SolarDay, f64)>,
    baseline: Baseline,
}

/// Days, oldest first, and what they say together: that is asked many times in each slot.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(from = "Vec<(SolarDay, f64)>", into = "Vec<(SolarDay, f64)>")]
struct Days {
    all: Vec<(SolarDay, f64)>,
    together: Option<Together>,
}

/// What some days say together.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Together {
    middle: f64,
    /// Standard deviation of one day; `None` of few days.
    scatter: Option<f64>,
}

/// What it was when the plant was handed over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
enum Baseline {
    /// The days that it rests on so far.
    Growing(Vec<(SolarDay, f64)>),
    /// For ever.
    Final(Known),
}

impl Default for Baseline {
    fn default() -> Self {
        Self::Growing(Vec::new())
    }
}

impl Slow {
    /// Takes the value of a day, if it is plausible.
    pub fn take(&mut self, day: SolarDay, value: f64, rule: &Rule) {
        let is_plausible = (value - rule.neutral).abs() <= rule.bound;
        // Where time has gone back, a day ends twice.
        let is_known = self.days.all.last().is_some_and(|(last, _)| *last >= day);
        if !is_plausible || is_known {
            return;
        }
        // Where nothing is known of now, the handover is the best there is.
        let now = self.now(rule).or(self.baseline(rule)).map(|now| now.value);
        if let Some(now) = now.filter(|now| (value - now).abs() > rule.step) {
            let is_better = (value > now) == rule.more_is_better;
            self.take_step(day, value, is_better, rule);
            return;
        }
        self.better.clear();
        let mut days = std::mem::take(&mut self.days.all);
        days.push((day, value));
        if days.len() > NOW_DAYS {
            days.remove(0);
        }
        self.days = days.into();
        self.grow_baseline((day, value), rule);
    }

    fn take_step(&mut self, day: SolarDay, value: f64, is_better: bool, rule: &Rule) {
        let agrees = |(_, other): &(SolarDay, f64)| (value - other).abs() <= rule.step;
        if !is_better || !self.better.iter().all(agrees) {
            self.better.clear();
        }
        if is_better {
            self.better.push((day, value));
        }
        if self.better.len() == STEP_DAYS {
            self.days = std::mem::take(&mut self.better).into();
            if let Baseline::Growing(first) = &mut self.baseline {
                first.clone_from(&self.days.all);
            }
        }
    }

    fn grow_baseline(&mut self, day: (SolarDay, f64), rule: &Rule) {
        let Baseline::Growing(first) = &mut self.baseline else {
            return;
        };
        first.push(day);
        let known = Together::of(first).and_then(|together| known(first, together, rule, 0.0));
        if let Some(known) = known.filter(|known| known.days == BASELINE_DAYS) {
            self.baseline = Baseline::Final(known);
        }
    }

    /// Takes over a final baseline that an earlier run has kept.
    pub fn recall(&mut self, baseline: Known) {
        if baseline.days == BASELINE_DAYS {
            self.baseline = Baseline::Final(baseline);
        }
    }

    /// What it is now.
    pub fn now(&self, rule: &Rule) -> Option<Known> {
        known(&self.days.all, self.days.together?, rule, rule.drift)
    }

    /// What it was when the plant was handed over, once that is final.
    pub fn final_baseline(&self) -> Option<Known> {
        match &self.baseline {
            Baseline::Growing(_) => None,
            Baseline::Final(known) => Some(*known),
        }
    }

    /// What it was when the plant was handed over; final once it rests on fourteen days.
    pub fn baseline(&self, rule: &Rule) -> Option<Known> {
        match &self.baseline {
            Baseline::Growing(first) => known(first, Together::of(first)?, rule, 0.0),
            Baseline::Final(known) => Some(*known),
        }
    }
}

impl From<Vec<(SolarDay, f64)>> for Days {
    fn from(all: Vec<(SolarDay, f64)>) -> Self {
        let together = Together::of(&all);
        Self { all, together }
    }
}

impl From<Days> for Vec<(SolarDay, f64)> {
    fn from(days: Days) -> Self {
        days.all
    }
}

impl Together {
    fn of(days: &[(SolarDay, f64)]) -> Option<Self> {
        let values = || days.iter().map(|(_, value)| *value);
        let middle = median(values())?;
        let scatter = robust_spread(values(), middle).filter(|_| days.len() >= SCATTER_DAYS);
        Some(Self { middle, scatter })
    }
}

fn known(days: &[(SolarDay, f64)], together: Together, rule: &Rule, drift: f64) -> Option<Known> {
    let scatter = together.scatter.unwrap_or(rule.usual_scatter);
    Some(Known {
        value: together.middle,
        sigma: (MEDIAN_OVER_MEAN * scatter / (days.len() as f64).sqrt()).hypot(drift),
        from: days.first()?.0,
        to: days.last()?.0,
        days: days.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Time;

    const RULE: Rule = Rule {
        neutral: 1.0,
        bound: 0.1,
        step: 0.02,
        more_is_better: true,
        usual_scatter: 0.01,
        drift: 0.002,
    };

    fn after(values: impl IntoIterator<Item = f64>) -> Slow {
        let mut slow = Slow::default();
        for (n, value) in (0..).zip(values) {
            let day = Time::from_unix_ms(n * 86_400_000).solar_day(0.0);
            slow.take(day, value, &RULE);
        }
        slow
    }

    fn now(slow: &Slow) -> f64 {
        slow.now(&RULE).expect("something is known").value
    }

    #[test]
    fn it_follows_a_drift_and_keeps_the_baseline() {
        let slow = after((0..100).map(|n| 1.0 - 0.0005 * f64::from(n)));
        assert!((now(&slow) - (1.0 - 0.0005 * 84.5)).abs() < 1e-9);
        let baseline = slow.baseline(&RULE).expect("from the first day");
        assert!((baseline.value - (1.0 - 0.0005 * 6.5)).abs() < 1e-9);
        assert_eq!(baseline.days, BASELINE_DAYS);
    }

    #[test]
    fn a_fault_does_not_become_what_is_normal_however_long_it_stays() {
        for healthy in 1..10 {
            let faulty = std::iter::repeat_n(0.96, 200);
            let slow = after(std::iter::repeat_n(1.0, healthy).chain(faulty));
            assert_eq!(now(&slow), 1.0, "{healthy}");
        }
    }

    #[test]
    fn a_repair_that_five_days_agree_on_is_where_it_starts_anew() {
        let before = || std::iter::repeat_n(0.95, 20);
        assert_eq!(now(&after(before().chain([1.0; 4]))), 0.95);
        assert_eq!(now(&after(before().chain([1.0; 5]))), 1.0);
        let split = [1.0, 1.0, 0.9, 1.0, 1.0, 1.0];
        assert_eq!(now(&after(before().chain(split))), 0.95);
    }

    #[test]
    fn after_a_fresh_start_a_day_is_held_against_the_baseline_that_was_kept() {
        let kept = after([1.0; 14]).baseline(&RULE).expect("fourteen days");
        let mut slow = Slow::default();
        slow.recall(kept);
        slow.take(SolarDay::from_number(100), 0.95, &RULE);
        assert_eq!(slow.now(&RULE), None);
        slow.take(SolarDay::from_number(101), 0.99, &RULE);
        assert_eq!(now(&slow), 0.99);
        assert_eq!(slow.baseline(&RULE), Some(kept));
    }

    #[test]
    fn a_day_out_of_bounds_teaches_nothing() {
        assert_eq!(after([0.5, 1.5, f64::NAN]).now(&RULE), None);
    }

    #[test]
    fn the_interval_narrows_with_the_days_down_to_the_drift() {
        let scattered = |n: i32| 1.0 + 0.004 * f64::from(n % 5 - 2);
        let sigma = |n| after((0..n).map(scattered)).now(&RULE).expect("days").sigma;
        assert!(sigma(1) > sigma(4) && sigma(4) > sigma(30));
        assert!(sigma(30) > RULE.drift);
    }
}
