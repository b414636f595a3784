//! What stays of a channel's readings in a minute or an hour.
//!
//! Model:   of a measured quantity the sum, the smallest and the largest; the mean is sum / good.
//!          Of a counter the first and the last. Of a state or of event bits the last, and all that
//!          were seen. Readings out of range, missing and faulty ones are counted, and take no part.
//!          An hour is made of its minutes, and is the same as if it were made of the readings.
//! Symbols: `seen` of event bits: their bitwise or. Of states: bit n for state n, n from 1 to 52;
//!          bit 0 for a number that is none of these.
//! Range:   sums as in `sum.rs`: of decimals the double nearest to the true sum.
//! Check:   `cells_tests.rs`, against rational arithmetic.

use super::column::wholes;
use super::sum::{decimal_sum, exact_sum};
use analysis::reading::{Quantity, Reading, Span, Time, Value};

/// One minute of an aggregate.
pub const MINUTE: Span = Span::from_min(1);
/// One hour of it.
pub const HOUR: Span = Span::from_h(1);

/// One channel in one minute or hour in which there was a reading, good or not.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// When it begins.
    pub start: Time,
    /// Good readings.
    pub good: u32,
    /// Numbers that the quantity cannot have.
    pub out_of_range: u32,
    /// Readings without a value.
    pub missing: u32,
    /// Readings of which the device says itself that they are wrong.
    pub faulty: u32,
    /// Of the good readings; `None` where there was none.
    pub held: Option<Held>,
}

/// What good readings leave, by what the quantity is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Held {
    /// Of a measured quantity.
    Measured {
        /// Sum of the good readings.
        sum: f64,
        /// Smallest.
        min: f64,
        /// Largest.
        max: f64,
    },
    /// Of a lifetime counter.
    Counter {
        /// First.
        first: f64,
        /// Last.
        last: f64,
    },
    /// Of a state or of event bits.
    Code {
        /// Last.
        last: f64,
        /// All that were seen, as the file's first lines say.
        seen: f64,
    },
}

impl Cell {
    /// How many readings there were, good or not.
    pub fn readings(&self) -> u32 {
        self.good + self.out_of_range + self.missing + self.faulty
    }

    /// Mean of a measured quantity.
    pub fn mean(&self) -> Option<f64> {
        match self.held {
            Some(Held::Measured { sum, .. }) => Some(sum / f64::from(self.good)),
            _ => None,
        }
    }
}

/// How a quantity is aggregated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::store) enum Role {
    Measured,
    Counter,
    State,
    Bits,
}

impl Role {
    pub fn of(quantity: Quantity) -> Self {
        match quantity {
            Quantity::EnergyTotal => Role::Counter,
            Quantity::State => Role::State,
            Quantity::EventBits => Role::Bits,
            _ => Role::Measured,
        }
    }
}

/// The minutes of readings of one channel, in order of time.
pub(in crate::store) fn minutes(readings: &[Reading], role: Role) -> Vec<Cell> {
    let good: Vec<f64> = readings.iter().filter_map(|r| r.value.good()).collect();
    let decimal = wholes(&good);
    let mut passed = 0;
    let by_minute = readings.chunk_by(|a, b| minute_of(a.at) == minute_of(b.at));
    by_minute
        .map(|of_minute| {
            let count = of_minute
                .iter()
                .filter(|r| r.value.good().is_some())
                .count();
            let range = passed..passed + count;
            passed = range.end;
            let sum = || match &decimal {
                Some((places, wholes)) => decimal_sum(&wholes[range.clone()], *places),
                None => exact_sum(&good[range.clone()]),
            };
            let held = (count > 0).then(|| held(&good[range.clone()], role, sum));
            let counted =
                |bad: fn(&Value) -> bool| of_minute.iter().filter(|r| bad(&r.value)).count() as u32;
            Cell {
                start: minute_of(of_minute[0].at),
                good: count as u32,
                out_of_range: counted(|v| matches!(v, Value::OutOfRange(_))),
                missing: counted(|v| matches!(v, Value::Missing)),
                faulty: counted(|v| matches!(v, Value::Faulty(_))),
                held,
            }
        })
        .collect()
}

/// The minute that holds a time; of the very first one what can be told.
pub(super) fn minute_of(at: Time) -> Time {
    begin(at, MINUTE)
}

fn begin(at: Time, span: Span) -> Time {
    let (at, span) = (at.unix_ms(), span.ms());
    Time::from_unix_ms(at.div_euclid(span).saturating_mul(span))
}

fn held(good: &[f64], role: Role, sum: impl Fn() -> f64) -> Held {
    let (first, last) = (good[0], good[good.len() - 1]);
    let all_seen = |bits: fn(f64) -> u64| {
        let seen = good.iter().fold(0, |seen, code| seen | bits(*code));
        seen as f64
    };
    match role {
        Role::Measured => Held::Measured {
            sum: sum(),
            min: good.iter().copied().fold(f64::INFINITY, f64::min),
            max: good.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        },
        Role::Counter => Held::Counter { first, last },
        Role::State => Held::Code {
            last,
            seen: all_seen(state_bit),
        },
        Role::Bits => Held::Code {
            last,
            seen: all_seen(|bits| bits as u64),
        },
    }
}

/// The highest bit of a double's whole numbers is the 53rd.
fn state_bit(state: f64) -> u64 {
    let known = state.fract() == 0.0 && (1.0..=52.0).contains(&state);
    if known { 1 << state as u64 } else { 1 }
}

/// The hours of minutes of one channel, in order of time.
pub(in crate::store) fn hours(minutes: &[Cell]) -> Vec<Cell> {
    let same_hour = |a: &Cell, b: &Cell| begin(a.start, HOUR) == begin(b.start, HOUR);
    minutes.chunk_by(same_hour).map(hour).collect()
}

fn hour(minutes: &[Cell]) -> Cell {
    let count = |part: fn(&Cell) -> u32| minutes.iter().map(part).sum();
    let held: Vec<Held> = minutes.iter().filter_map(|m| m.held).collect();
    Cell {
        start: begin(minutes[0].start, HOUR),
        good: count(|m| m.good),
        out_of_range: count(|m| m.out_of_range),
        missing: count(|m| m.missing),
        faulty: count(|m| m.faulty),
        held: joined(&held),
    }
}

/// All in one; they are of one quantity, in order of time.
fn joined(parts: &[Held]) -> Option<Held> {
    let sums: Vec<f64> = parts.iter().filter_map(sum_of).collect();
    let join = |before: Held, next: Held| match (before, next) {
        (
            Held::Measured { min, max, .. },
            Held::Measured {
                min: low,
                max: high,
                ..
            },
        ) => Held::Measured {
            sum: 0.0,
            min: min.min(low),
            max: max.max(high),
        },
        (Held::Counter { first, .. }, Held::Counter { last, .. }) => Held::Counter { first, last },
        (Held::Code { seen, .. }, Held::Code { last, seen: also }) => Held::Code {
            last,
            seen: (seen as u64 | also as u64) as f64,
        },
        (before, _) => before,
    };
    parts.iter().copied().reduce(join).map(|all| match all {
        Held::Measured { min, max, .. } => Held::Measured {
            sum: exact_sum(&sums),
            min,
            max,
        },
        other => other,
    })
}

fn sum_of(held: &Held) -> Option<f64> {
    match held {
        Held::Measured { sum, .. } => Some(*sum),
        _ => None,
    }
}
