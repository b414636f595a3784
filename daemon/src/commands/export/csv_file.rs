//! Rows of an export as CSV. Never in here: which rows.

use super::row::{COUNTS, NUMBERS};
use super::{ChannelRows, RowsError};
use chrono::{DateTime, SecondsFormat};
use std::io::Write;

pub(super) fn write(to: &mut dyn Write, rows: &[ChannelRows]) -> Result<(), RowsError> {
    let mut file = csv::Writer::from_writer(to);
    let names = ["at_utc", "channel", "span_s"].iter().chain(&NUMBERS);
    file.write_record(names.chain(&COUNTS))?;
    for (channel, rows) in rows {
        for row in rows {
            file.write_field(utc(row.at.unix_ms()))?;
            file.write_field(channel)?;
            file.write_field(row.span_s.to_string())?;
            for number in row.numbers {
                // As many digits as it takes to read the same number back.
                file.write_field(number.map_or_else(String::new, |n| n.to_string()))?;
            }
            for count in row.counts {
                file.write_field(count.to_string())?;
            }
            file.write_record(None::<&[u8]>)?;
        }
    }
    Ok(file.flush()?)
}

fn utc(ms: i64) -> String {
    let date = DateTime::from_timestamp_millis(ms).expect("it lies in a day of the calendar");
    date.to_rfc3339_opts(SecondsFormat::Millis, true)
}
