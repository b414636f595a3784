//! One channel's readings of one day (UTC) as one value: every reading, exact, with its time and
//! quality.

use super::blob::{packed, unpacked};
use super::column::{Column, Unreadable};
use analysis::reading::{ChannelId, Reading, Time, Value};
use serde::{Deserialize, Serialize};

/// A day [ms].
pub(super) const DAY_MS: i64 = 86_400_000;

/// The day, counted from 1970-01-01, that holds a time.
pub(in crate::store) fn day_of(at: Time) -> i64 {
    at.unix_ms().div_euclid(DAY_MS)
}

/// Its first and last millisecond. Of the first and last day of all time only a part can be told.
pub(in crate::store) fn ends(day: i64) -> (Time, Time) {
    let first = day.saturating_mul(DAY_MS);
    let last = day
        .saturating_add(1)
        .saturating_mul(DAY_MS)
        .saturating_sub(1);
    let last = if last == i64::MAX - 1 { i64::MAX } else { last };
    (Time::from_unix_ms(first), Time::from_unix_ms(last))
}

/// In order of time. Values only where the quality has one.
#[derive(Serialize, Deserialize)]
struct Day {
    rows: u32,
    at_utc_ms: Column,
    quality: Column,
    values: Column,
}

/// As bytes. The readings are of one channel and day, in order of time, each time once.
pub(super) fn pack(readings: &[Reading]) -> Vec<u8> {
    let times: Vec<i64> = readings.iter().map(|r| r.at.unix_ms()).collect();
    let (qualities, values): (Vec<i64>, Vec<Option<f64>>) =
        readings.iter().map(|r| parts(r.value)).unzip();
    let values: Vec<f64> = values.into_iter().flatten().collect();
    packed(&Day {
        rows: u32::try_from(readings.len()).expect("a day has 86.4 million milliseconds"),
        at_utc_ms: Column::of_wholes(&times),
        quality: Column::of_wholes(&qualities),
        values: Column::of(&values),
    })
}

/// The readings that were packed, as readings of `channel`.
pub(super) fn unpack(channel: ChannelId, bytes: &[u8]) -> Result<Vec<Reading>, Unreadable> {
    let day: Day = unpacked(bytes)?;
    let rows = day.rows as usize;
    let times = day.at_utc_ms.wholes(rows)?;
    let qualities = day.quality.wholes(rows)?;
    let has_number = |quality: i64| quality != MISSING && quality != FAULTY_WITHOUT_NUMBER;
    let held = qualities.iter().filter(|q| has_number(**q)).count();
    let mut numbers = day.values.numbers(held)?.into_iter();
    let mut readings = Vec::with_capacity(rows);
    for (at, quality) in times.into_iter().zip(qualities) {
        let number = has_number(quality).then(|| numbers.next()).flatten();
        let Ok(value) = value(number, quality) else {
            return Err(Unreadable(format!("quality {quality}")));
        };
        let at = Time::from_unix_ms(at);
        readings.push(Reading { channel, at, value });
    }
    Ok(readings)
}

use crate::store::commit::{FAULTY_WITHOUT_NUMBER, MISSING, parts};
use crate::store::query::value;

/// Both, in order of time. Of two readings of one time the better one stays, as the table of single
/// readings keeps it.
pub(super) fn merge(old: Vec<Reading>, new: Vec<Reading>) -> Vec<Reading> {
    let mut all = old;
    all.extend(new);
    // Better first; then only the first of each time is kept.
    all.sort_by(|a, b| a.at.cmp(&b.at).then_with(|| worse(a.value, b.value)));
    all.dedup_by_key(|reading| reading.at);
    all
}

fn worse(a: Value, b: Value) -> std::cmp::Ordering {
    let ((qa, va), (qb, vb)) = (parts(a), parts(b));
    let larger_first = || vb.unwrap_or(0.0).total_cmp(&va.unwrap_or(0.0));
    qa.cmp(&qb).then_with(larger_first)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::collection::btree_map;
    use proptest::prelude::*;

    fn any_value() -> impl Strategy<Value = Value> {
        use proptest::num::f64::{NEGATIVE, NORMAL, POSITIVE, SUBNORMAL, ZERO};
        let number = || POSITIVE | NEGATIVE | NORMAL | SUBNORMAL | ZERO;
        prop_oneof![
            number().prop_map(Value::Good),
            (-5000_i32..5000).prop_map(|n| Value::Good(f64::from(n) / 10.0)),
            number().prop_map(Value::OutOfRange),
            Just(Value::Missing),
            number().prop_map(|number| Value::Faulty(Some(number))),
            Just(Value::Faulty(None)),
        ]
    }

    fn any_day() -> impl Strategy<Value = Vec<Reading>> {
        btree_map(any::<i64>(), any_value(), 0..80).prop_map(|by_time| {
            let reading = |(at, value)| Reading {
                channel: ChannelId(7),
                at: Time::from_unix_ms(at),
                value,
            };
            by_time.into_iter().map(reading).collect()
        })
    }

    proptest! {
        #[test]
        fn readings_come_back_as_they_were(day in any_day()) {
            let back = unpack(ChannelId(7), &pack(&day)).expect("it reads");
            prop_assert_eq!(back, day);
        }

        #[test]
        fn merging_a_day_with_a_part_of_itself_changes_nothing(day in any_day(), skip in 0_usize..9) {
            let part: Vec<Reading> = day.iter().skip(skip).step_by(2).copied().collect();
            prop_assert_eq!(merge(day.clone(), part.clone()), day.clone());
            prop_assert_eq!(merge(part, day.clone()), day);
        }
    }

    #[test]
    fn every_time_lies_in_its_own_day() {
        for at in [
            i64::MIN,
            i64::MIN + 1,
            -1,
            0,
            DAY_MS - 1,
            DAY_MS,
            i64::MAX - 1,
            i64::MAX,
        ] {
            let at = Time::from_unix_ms(at);
            let (first, last) = ends(day_of(at));
            assert!(first <= at && at <= last, "{at:?}");
        }
    }
}
