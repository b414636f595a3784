//! One row of an export: a reading, or a minute or hour of a channel.
//!
//! | column | of a reading | of a measured minute or hour | of a counter | of a state or event bits |
//! |---|---|---|---|---|
//! | at_utc | its time | the beginning | the beginning | the beginning |
//! | span_s | 0 | 60 or 3600 | 60 or 3600 | 60 or 3600 |
//! | value | the number, also of one out of range or faulty | mean | last | last |
//! | min, max | | smallest, largest | | |
//! | first | | | first | |
//! | seen | | | | all that were seen (`store/history/cells.rs`) |
//! | good, out_of_range, missing, faulty | one of them is 1 | how many readings | how many | how many |

use crate::store::{Cell, HOUR, Held, MINUTE, Store, StoreError};
use analysis::reading::{ChannelId, Reading, Span, Time, Value};

/// Names of the columns behind `at_utc` and `channel`, in order.
pub(super) const NUMBERS: [&str; 5] = ["value", "min", "max", "first", "seen"];
/// Names of the counts behind those, in order.
pub(super) const COUNTS: [&str; 4] = ["good", "out_of_range", "missing", "faulty"];

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Row {
    pub at: Time,
    pub span_s: i32,
    /// In the order of [`NUMBERS`].
    pub numbers: [Option<f64>; 5],
    /// In the order of [`COUNTS`].
    pub counts: [u32; 4],
}

/// A channel in `[from, to)` as finely as it is still there.
pub(super) fn finest(
    store: &Store,
    channel: ChannelId,
    from: Time,
    to: Time,
) -> Result<Vec<Row>, StoreError> {
    let readings = store.readings(channel, from, to)?;
    let minutes = store.minutes(channel, from, to)?;
    // A late reading beside a day of minutes is alone until it has been counted in.
    let in_minutes: u32 = minutes.iter().map(Cell::readings).sum();
    if !readings.is_empty() && readings.len() >= in_minutes as usize {
        return Ok(readings.iter().map(of_reading).collect());
    }
    if !minutes.is_empty() {
        return Ok(minutes.iter().map(|cell| of_cell(cell, MINUTE)).collect());
    }
    let hours = store.hours(channel, from, to)?;
    Ok(hours.iter().map(|cell| of_cell(cell, HOUR)).collect())
}

fn of_reading(reading: &Reading) -> Row {
    let (value, counts) = match reading.value {
        Value::Good(value) => (Some(value), [1, 0, 0, 0]),
        Value::OutOfRange(value) => (Some(value), [0, 1, 0, 0]),
        Value::Missing => (None, [0, 0, 1, 0]),
        Value::Faulty(value) => (value, [0, 0, 0, 1]),
    };
    Row {
        at: reading.at,
        span_s: 0,
        numbers: [value, None, None, None, None],
        counts,
    }
}

fn of_cell(cell: &Cell, span: Span) -> Row {
    let numbers = match cell.held {
        None => [None; 5],
        Some(Held::Measured { min, max, .. }) => [cell.mean(), Some(min), Some(max), None, None],
        Some(Held::Counter { first, last }) => [Some(last), None, None, Some(first), None],
        Some(Held::Code { last, seen }) => [Some(last), None, None, None, Some(seen)],
    };
    Row {
        at: cell.start,
        span_s: (span.ms() / 1000) as i32,
        numbers,
        counts: [cell.good, cell.out_of_range, cell.missing, cell.faulty],
    }
}
