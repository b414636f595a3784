//! A recording as a source: a CSV file, row by row, as readings.
//!
//! Nothing is dropped silently: every row is used or counted as skipped with a reason and its line,
//! and what was odd about a used row is counted too ([`SkipReport`]).
//! Never in here: a register, a clock, or what a value should be.

mod line;
mod read;
mod report;
mod spacing;
mod stamp;

#[cfg(test)]
mod tests;

pub use read::{Recording, RecordingError, Row};
pub use report::{ColumnCount, Lines, Remark, SkipReason, SkipReport};
pub use spacing::spacing;

use analysis::plant::Plant;
use analysis::reading::{ChannelId, Quantity, Span};
use chrono_tz::Tz;
use config::checked::{self, Stamp};
use std::path::PathBuf;

/// How a file is to be read, as the site file says.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordingSettings {
    /// The CSV file: comma, first line is the header, one row per line.
    pub file: PathBuf,
    /// Header of the column with the time; may be empty.
    pub time_column: String,
    /// How the time is written, in strftime's letters; `None` is RFC 3339.
    pub time_format: Option<String>,
    /// Zone of the times, where they do not carry their own offset.
    pub timezone: Tz,
    /// What the time of a row marks.
    pub interval: IntervalStamp,
    /// Over which span a row is a mean; of no importance for [`IntervalStamp::Instant`].
    pub interval_span: Span,
    /// The columns to read; others are left alone.
    pub columns: Vec<ColumnMap>,
}

impl RecordingSettings {
    /// The recording of a site file; without a span where the site file does not say how far rows are
    /// apart.
    pub fn of(recording: &checked::Recording, plant: &Plant) -> Self {
        let column = |column: &checked::Column| ColumnMap {
            header: column.header.clone(),
            channel: column.channel,
            quantity: plant.channels.channel(column.channel).quantity,
            scale: column.scale,
            offset: column.offset,
        };
        Self {
            file: recording.file.clone(),
            time_column: recording.time_column.clone(),
            time_format: recording.time_format.clone(),
            timezone: recording.timezone,
            interval: match recording.stamp {
                Stamp::Instant => IntervalStamp::Instant,
                Stamp::Start => IntervalStamp::Start,
                Stamp::End => IntervalStamp::End,
            },
            interval_span: recording.interval.unwrap_or(Span::ZERO),
            columns: recording.columns.iter().map(column).collect(),
        }
    }
}

/// What the time of a row marks. A mean's reading carries the middle of its interval.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IntervalStamp {
    /// The values were taken at that time.
    Instant,
    /// The values are means over the span that begins then.
    Start,
    /// The values are means over the span that ends then.
    End,
}

/// Which channel a column holds: value = raw * scale + offset, in the channel's unit.
#[derive(Debug, Clone, PartialEq)]
pub struct ColumnMap {
    /// Header of the column.
    pub header: String,
    /// Channel, as the plant numbers it.
    pub channel: ChannelId,
    /// What the channel measures, for judging the value.
    pub quantity: Quantity,
    /// Factor to the channel's unit.
    pub scale: f64,
    /// Added after scaling, in the channel's unit.
    pub offset: f64,
}
