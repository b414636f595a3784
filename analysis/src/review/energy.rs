//! The energy of a period from the hours of the ledger: totals, by inverter, by day or month.

use super::UtcOffset;
use crate::ledger::{Entry, Loss};
use crate::reading::{Energy, Span, Time, civil_from_days};
use std::collections::BTreeMap;

/// Longer periods than this are shown by month [d].
const MOST_DAYS: i64 = 62;
/// Dusk and dawn, in which no light is known, hold less than this of what is produced (judgement) [-].
const LEAST_TOLD_RATIO: f64 = 0.01;

/// What one bar of the ledger stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// A day at the site.
    Day,
    /// A month at the site.
    Month,
}

impl Unit {
    /// The word.
    pub const fn name(self) -> &'static str {
        match self {
            Unit::Day => "day",
            Unit::Month => "month",
        }
    }
}

/// Expected, measured, and where the difference went.
#[derive(Debug, Clone, PartialEq)]
pub struct Balance {
    /// What the weather would have given.
    pub expected: Energy,
    /// What was measured.
    pub measured: Energy,
    /// What was produced beside it, while it was not known what the weather would give.
    pub not_compared: Energy,
    /// What the arrays would have given above the rated power of their inverters: neither expected nor
    /// missing.
    pub above_rated: Energy,
    /// In the order of [`Loss::all`].
    losses: Vec<Energy>,
}

impl Balance {
    /// Nothing yet.
    pub fn zero() -> Self {
        let zero = Energy::from_wh(0.0);
        Self {
            expected: zero,
            measured: zero,
            not_compared: zero,
            above_rated: zero,
            losses: vec![zero; Loss::all().count()],
        }
    }

    /// Takes an hour of an inverter.
    pub fn add(&mut self, entry: &Entry) {
        let losses: Vec<Energy> = entry.losses().map(|(_, energy)| energy).collect();
        self.grow(entry, &losses);
    }

    /// Takes what another one has, of another time or another inverter.
    pub fn join(&mut self, other: &Self) {
        let Self {
            expected,
            measured,
            not_compared,
            above_rated,
            losses,
        } = other;
        self.take([*expected, *measured, *not_compared, *above_rated], losses);
    }

    fn grow(&mut self, entry: &Entry, losses: &[Energy]) {
        let Entry {
            expected,
            measured,
            not_compared,
            above_rated,
            ..
        } = *entry;
        self.take([expected, measured, not_compared, above_rated], losses);
    }

    fn take(&mut self, energies: [Energy; 4], losses: &[Energy]) {
        let grow = |sum: &mut Energy, by: Energy| *sum = Energy::from_wh(sum.wh() + by.wh());
        let sums = [
            &mut self.expected,
            &mut self.measured,
            &mut self.not_compared,
            &mut self.above_rated,
        ];
        for (sum, energy) in sums.into_iter().zip(energies) {
            grow(sum, energy);
        }
        for (sum, energy) in self.losses.iter_mut().zip(losses) {
            grow(sum, *energy);
        }
    }

    /// All that was produced.
    pub fn produced(&self) -> Energy {
        Energy::from_wh(self.measured.wh() + self.not_compared.wh())
    }

    /// What of it was not compared, where that is more than dusk and dawn give.
    pub fn told_not_compared(&self) -> Option<Energy> {
        let least_wh = LEAST_TOLD_RATIO * self.produced().wh();
        (self.not_compared.wh() > least_wh).then_some(self.not_compared)
    }

    /// Every loss; with what was measured they add up to what was expected.
    pub fn losses(&self) -> impl Iterator<Item = (Loss, Energy)> + '_ {
        Loss::all().zip(self.losses.iter().copied())
    }

    /// Held back by all limits.
    pub fn limited(&self) -> Energy {
        self.sum(|loss| matches!(loss, Loss::Limited(_)))
    }

    /// Lost to findings of every kind, and while an inverter stood still without one.
    pub fn lost(&self) -> Energy {
        self.sum(|loss| matches!(loss, Loss::Finding(_) | Loss::Outage))
    }

    /// Of losses that `of` tells.
    pub fn sum(&self, of: impl Fn(Loss) -> bool) -> Energy {
        let shown = self.losses().filter(|(loss, _)| of(*loss));
        Energy::from_wh(shown.fold(0.0, |sum, (_, energy)| sum + energy.wh()))
    }
}

/// One bar.
#[derive(Debug, Clone, PartialEq)]
pub struct Bucket {
    /// Year, month from 1, and for days the day from 1.
    pub date: (i64, i64, Option<i64>),
    /// Its energy.
    pub balance: Balance,
}

/// The energy of a period.
#[derive(Debug, Clone)]
pub struct EnergyReview {
    /// What its bars stand for.
    pub unit: Unit,
    /// Of the site.
    pub site: Balance,
    /// By inverter.
    pub inverters: Vec<Balance>,
    buckets: BTreeMap<(i64, i64, Option<i64>), Balance>,
}

impl EnergyReview {
    pub(super) fn new(inverters: usize, (from, to): (Time, Time)) -> Self {
        let is_short = to - from <= Span::from_h(24) * MOST_DAYS;
        Self {
            unit: if is_short { Unit::Day } else { Unit::Month },
            site: Balance::zero(),
            inverters: vec![Balance::zero(); inverters],
            buckets: BTreeMap::new(),
        }
    }

    pub(super) fn add(&mut self, entry: &Entry, utc_offset: UtcOffset) {
        let (year, month, day) = civil_from_days(super::local_day(entry.hour, utc_offset));
        let date = (year, month, (self.unit == Unit::Day).then_some(day));
        let bucket = self.buckets.entry(date).or_insert_with(Balance::zero);
        let losses: Vec<Energy> = entry.losses().map(|(_, energy)| energy).collect();
        bucket.grow(entry, &losses);
        self.site.grow(entry, &losses);
        self.inverters[entry.inverter].grow(entry, &losses);
    }

    /// In order of time.
    pub fn buckets(&self) -> impl Iterator<Item = Bucket> + '_ {
        self.buckets.iter().map(|(date, balance)| Bucket {
            date: *date,
            balance: balance.clone(),
        })
    }
}
