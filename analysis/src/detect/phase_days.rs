//! What is remembered of one phase of the supply: its resistance on good days, at first and lately,
//! and how high the voltage came.
//!
//! Model:   mean of good days r = sum(r_k / s_k^2) / sum(1 / s_k^2), s_k of no day less than the network's
//!          usual noise would leave it; its variance the larger of
//!          1 / sum(1 / s_k^2) and that of the scatter, plus (LASTING r)^2                   eq. (1)
//! Symbols: r, s [ohm]
//! Range:   baseline from the first `BASELINE_DAYS` good days, and from those after them, up to
//!          `MOST_BASELINE_DAYS`, that are older than what is compared with it and have not changed; a
//!          good day knows the rise at rated export to `GOOD_RATIO` of nominal voltage. A fault older
//!          than the baseline is in it.
//! Source:  weighted mean: textbook; thresholds: engineering judgement.
//! Check:   tests/acceptance/engine/export.rs: operating curves and quiet months.
//! Never in here: what is said of it (`supply_days`).

use super::export_day::PhaseDay;
use super::slope::SupplySlope;
use super::supply_days::SupplyFacts;
use crate::reading::{SolarDay, Time, median};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Good days that make a baseline, and to which it grows while nothing changes.
const BASELINE_DAYS: usize = 5;
const MOST_BASELINE_DAYS: usize = 21;
/// Good days that are compared with it: at least, at most.
const LEAST_DAYS: usize = 3;
const MOST_DAYS: usize = 7;
/// A good day knows the rise at rated export to this, one standard deviation over nominal [-].
const GOOD_RATIO: f64 = 0.005;
/// What lasts over days and is no fault: temperature of the conductors, switching in the network;
/// one standard deviation over resistance [-] (engineering judgement; copper gains 4 % in 10 K).
const LASTING: f64 = 0.03;
/// Change of reactive over active current with which resistances cannot be compared [-]: the
/// reactance of a cable is of the size of its resistance or less (engineering judgement).
const REACTIVE_CHANGED: f64 = 0.1;
/// Resistance over baseline from which a change is said, and what each of its days must leave
/// possible within a standard deviation [-].
const CHANGED_RATIO: f64 = 1.2;
const EACH_DAY_RATIO: f64 = 1.1;
/// Standard deviations that a change must be above none: where the smallest one that must be told is so
/// many of them, and elsewhere. Three phases are asked every day, over five lengths of the last days:
/// with 3 everywhere a false answer came every third year of the campaign, all where less was known.
const CHANGE_SIGMAS: f64 = 3.0;
const SMALLEST_SIGMAS: f64 = 3.5;
const UNSURE_CHANGE_SIGMAS: f64 = 4.0;
/// The smallest change that must be told over the baseline [-].
const SMALLEST_RATIO: f64 = 0.3;
/// A baseline is known to this, one standard deviation over resistance [-]: of a stiff supply little
/// is known, and little is lost in it.
const KNOWN_RATIO: f64 = 0.2;
/// Days that voltages are kept.
const WEEK: i64 = 7;
/// Older days say nothing of now (engineering judgement).
const STALE_DAYS: i64 = 30;

/// One good day of one phase.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct GoodDay {
    day: SolarDay,
    first: Time,
    slope: SupplySlope,
    reactive_per_active: Option<f64>,
}

/// A mean of good days.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DaysMean {
    /// [ohm]
    pub ohm: f64,
    /// One standard deviation [ohm].
    pub sigma_ohm: f64,
    /// Good days.
    pub days: usize,
    /// Steps of the current in them.
    pub steps: u32,
    /// Reactive over active current of the steps, where it was measured [-].
    pub reactive_per_active: Option<f64>,
}

/// What is remembered of a phase.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Phase {
    baseline: Vec<GoodDay>,
    /// The baseline that an earlier run has kept, and its last day, in place of one of its own.
    kept: Option<(DaysMean, SolarDay)>,
    recent: VecDeque<GoodDay>,
    /// Day, start, without export, as measured [V].
    high: VecDeque<(SolarDay, Time, Option<f64>, Option<f64>)>,
}

/// Means with the first and the last of their days.
pub(super) struct PhaseLearned {
    pub(super) now: (DaysMean, (SolarDay, SolarDay)),
    pub(super) baseline: (DaysMean, (SolarDay, SolarDay)),
}

/// A resistance that is above its baseline.
pub(super) struct Change {
    /// First of the days that show it.
    pub(super) began: Time,
    pub(super) now: DaysMean,
    pub(super) baseline: DaysMean,
}

impl Phase {
    /// Takes what a day has shown; `grows`: the baseline takes older days in.
    pub(super) fn take(
        &mut self,
        day: SolarDay,
        shown: &PhaseDay,
        facts: &SupplyFacts,
        grows: bool,
    ) {
        self.forget(day);
        let Some(first) = shown.first else { return };
        let (without, measured) = (shown.high_without_export_v(), shown.high_measured_v());
        self.high.push_back((day, first, without, measured));
        self.take_resistance((day, first), shown, facts, grows);
    }

    /// What is too old to say anything of now, also while nothing new comes.
    fn forget(&mut self, day: SolarDay) {
        let is_stale = |d: &GoodDay| day.days_since(d.day) > STALE_DAYS;
        while self.recent.front().is_some_and(is_stale) {
            self.recent.pop_front();
        }
        while self
            .high
            .front()
            .is_some_and(|h| day.days_since(h.0) >= WEEK)
        {
            self.high.pop_front();
        }
    }

    fn take_resistance(
        &mut self,
        (day, first): (SolarDay, Time),
        shown: &PhaseDay,
        facts: &SupplyFacts,
        grows: bool,
    ) {
        let good_v = GOOD_RATIO * facts.limits.nominal_voltage.v();
        let is_good = |slope: &SupplySlope| slope.sigma_ohm * facts.rated_a <= good_v;
        let Some(slope) = shown.slope().filter(is_good) else {
            return;
        };
        let good = GoodDay {
            day,
            first,
            slope,
            reactive_per_active: shown.reactive_per_active(),
        };
        if self.kept.is_none() && self.baseline.len() < BASELINE_DAYS {
            self.baseline.push(good);
        }
        self.recent.push_back(good);
        if self.recent.len() > MOST_DAYS {
            let oldest = self.recent.pop_front().filter(|_| grows);
            self.baseline.extend(oldest.filter(|day| self.is_next(day)));
        }
    }

    /// Whether a day belongs to the baseline that grows.
    fn is_next(&self, good: &GoodDay) -> bool {
        let has_room = self.baseline.len() < MOST_BASELINE_DAYS;
        let is_later = self.baseline.last().is_some_and(|last| good.day > last.day);
        self.kept.is_none() && has_room && is_later
    }

    /// Highest of the last days as measured [V].
    pub(super) fn measured_v(&self) -> Option<f64> {
        highest(self.high.iter().filter_map(|h| h.3))
    }

    /// Mean of the last good days.
    pub(super) fn lately(&self) -> Option<DaysMean> {
        let days: Vec<GoodDay> = self.recent.iter().copied().collect();
        mean(&days, self.noise_v()).filter(|_| days.len() >= LEAST_DAYS)
    }

    /// What the network's own moves are on the middle of the days that are known, one standard deviation
    /// of a step [V].
    fn noise_v(&self) -> f64 {
        let of_day = |d: &GoodDay| d.slope.sigma_ohm * d.slope.spread_a2.sqrt();
        let days = self.baseline.iter().chain(&self.recent);
        median(days.map(of_day)).unwrap_or(0.0)
    }

    fn settled_baseline(&self) -> Option<DaysMean> {
        if let Some((kept, _)) = self.kept {
            return Some(kept);
        }
        let is_known = |b: &DaysMean| b.sigma_ohm <= KNOWN_RATIO * b.ohm;
        mean(&self.baseline, self.noise_v())
            .filter(|b| self.baseline.len() >= BASELINE_DAYS && is_known(b))
    }

    /// The same with the good days up to `day` that may yet belong to it.
    fn baseline_before(&self, day: SolarDay) -> Option<DaysMean> {
        let settled = self.settled_baseline()?;
        if self.kept.is_some() {
            return Some(settled);
        }
        let mut days = self.baseline.clone();
        let later = self
            .recent
            .iter()
            .filter(|d| self.is_next(d) && d.day < day);
        days.extend(later);
        mean(&days, self.noise_v())
    }

    /// The last good days that are not in the baseline, `count` of them, if that many can be compared.
    fn latest(&self, count: usize) -> Option<Vec<GoodDay>> {
        let from = self.recent.len().checked_sub(count)?;
        let days: Vec<GoodDay> = self.recent.iter().skip(from).copied().collect();
        let after = match self.kept {
            Some((_, last)) => last,
            None => self.baseline.last()?.day,
        };
        (days.first()?.day > after).then_some(days)
    }

    /// Resistance over baseline in the last days.
    pub(super) fn ratio(&self) -> Option<f64> {
        let now = mean(&self.latest(LEAST_DAYS)?, self.noise_v())?;
        Some(now.ohm / self.settled_baseline()?.ohm)
    }

    /// The last good days, as many as are asked for or there are, beside the baseline: resistance over
    /// it, and how far above it [standard deviations]; `None` where no day is left.
    pub(super) fn beside_baseline(&self, days: usize) -> Option<(f64, f64)> {
        let days = days.min(self.recent.len());
        let now = mean(&self.latest(days)?, self.noise_v())?;
        let baseline = self.settled_baseline()?;
        let sigmas = (now.ohm - baseline.ohm) / now.sigma_ohm.hypot(baseline.sigma_ohm);
        Some((now.ohm / baseline.ohm, sigmas))
    }

    /// What is known lately and what was known at first, once both are.
    pub(super) fn learned(&self) -> Option<PhaseLearned> {
        let baseline = self.settled_baseline()?;
        let (first, last) = match self.kept {
            Some((_, last)) => (last, last),
            None => (self.baseline.first()?.day, self.baseline.last()?.day),
        };
        let days = (self.recent.front()?.day, self.recent.back()?.day);
        Some(PhaseLearned {
            now: (self.lately()?, days),
            baseline: (baseline, (first, last)),
        })
    }

    /// Takes over a baseline that an earlier run has kept.
    pub(super) fn recall(&mut self, baseline: DaysMean, last: SolarDay) {
        self.kept = Some((baseline, last));
    }

    /// Reactive over active current that belongs to a baseline that was taken over.
    pub(super) fn recall_reactive(&mut self, ratio: f64) {
        if let Some((kept, _)) = &mut self.kept {
            kept.reactive_per_active = Some(ratio);
        }
    }

    /// The last days, as many as it takes to tell that they are above the baseline.
    pub(super) fn changed(&self) -> Option<Change> {
        let is_changed = |(days, baseline): &(Vec<GoodDay>, DaysMean)| {
            let Some(now) = mean(days, self.noise_v()) else {
                return false;
            };
            let sigma = now.sigma_ohm.hypot(baseline.sigma_ohm);
            let is_sure = SMALLEST_RATIO * baseline.ohm >= SMALLEST_SIGMAS * sigma;
            let sigmas = if is_sure {
                CHANGE_SIGMAS
            } else {
                UNSURE_CHANGE_SIGMAS
            };
            let each = days
                .iter()
                .all(|d| d.slope.ohm + d.slope.sigma_ohm > EACH_DAY_RATIO * baseline.ohm);
            let reactive = now.reactive_per_active.zip(baseline.reactive_per_active);
            each && now.ohm >= CHANGED_RATIO * baseline.ohm
                && now.ohm - baseline.ohm >= sigmas * sigma
                && reactive.is_none_or(|(now, then)| (now - then).abs() <= REACTIVE_CHANGED)
        };
        let windows = (LEAST_DAYS..=MOST_DAYS).filter_map(|count| {
            let days = self.latest(count)?;
            let before = self.baseline_before(days.first()?.day)?;
            Some((days, before))
        });
        let (days, baseline) = windows.into_iter().find(is_changed)?;
        Some(Change {
            began: days.first()?.first,
            now: mean(&days, self.noise_v())?,
            baseline,
        })
    }

    /// Highest of the last days [V].
    pub(super) fn without_export_v(&self) -> Option<f64> {
        highest(self.high.iter().filter_map(|h| h.2))
    }

    pub(super) fn days_over(&self, volts: f64) -> usize {
        let over = |h: &&(_, _, Option<f64>, _)| h.2.is_some_and(|v| v >= volts);
        self.high.iter().filter(over).count()
    }

    /// First day of the evidence: of those over a voltage, else of the resistance.
    pub(super) fn began(&self, over_v: Option<f64>) -> Option<Time> {
        match over_v {
            Some(volts) => {
                let over = |h: &&(_, Time, Option<f64>, _)| h.2.is_some_and(|v| v >= volts);
                self.high.iter().find(over).map(|h| h.1)
            }
            None => self.recent.front().map(|d| d.first),
        }
    }
}

/// Eq. (1); of no days `None`.
fn mean(days: &[GoodDay], noise_v: f64) -> Option<DaysMean> {
    // A day of a very quiet network must not outweigh all others, nor one that seems quiet because few
    // half hours say how much it is not.
    const LEAST_SIGMA_RATIO: f64 = 0.01;
    let weigh = |d: &GoodDay| {
        let quiet = noise_v / d.slope.spread_a2.sqrt();
        let least = quiet.max(LEAST_SIGMA_RATIO * d.slope.ohm.abs());
        1.0 / d.slope.sigma_ohm.max(least).powi(2)
    };
    let weights: f64 = days.iter().map(weigh).sum();
    let ohm = days.iter().map(|d| weigh(d) * d.slope.ohm).sum::<f64>() / weights;
    let n = days.len() as f64;
    let off = |d: &GoodDay| weigh(d) * (d.slope.ohm - ohm).powi(2);
    let scatter = days.iter().map(off).sum::<f64>() / weights / (n - 1.0).max(1.0);
    let variance = scatter.max(1.0 / weights) + (LASTING * ohm).powi(2);
    let reactive: Option<f64> = days.iter().map(|d| d.reactive_per_active).sum();
    ohm.is_finite().then_some(DaysMean {
        ohm,
        sigma_ohm: variance.sqrt(),
        days: days.len(),
        steps: days.iter().map(|d| d.slope.steps).sum(),
        reactive_per_active: reactive.map(|sum| sum / n),
    })
}

fn highest(volts: impl Iterator<Item = f64>) -> Option<f64> {
    volts.reduce(f64::max)
}
