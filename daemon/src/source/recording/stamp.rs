//! From the text in the time column to a time: format, zone, daylight saving, middle of a mean.

use super::{IntervalStamp, RecordingSettings, SkipReason};
use analysis::reading::{Span, Time};
use chrono::format::{Fixed, Item, Numeric, Parsed, StrftimeItems, parse};
use chrono::{DateTime, MappedLocalTime, NaiveDateTime, TimeDelta, TimeZone};
use chrono_tz::Tz;

/// Reads times in the order of the rows, which decides between the two meanings of a local time
/// that comes twice.
#[derive(Debug)]
pub(super) struct Stamps {
    format: Format,
    timezone: Tz,
    to_middle: Span,
    /// The last local time that could be either of two.
    doubtful: Option<Doubtful>,
}

/// A time, and whether its text could have meant another one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stamp {
    pub at: Time,
    pub ambiguous: bool,
}

#[derive(Debug)]
enum Format {
    Rfc3339,
    /// The text carries its offset, or counts seconds.
    WithOffset(Vec<Item<'static>>),
    Local(Vec<Item<'static>>),
}

#[derive(Debug, Clone, Copy)]
struct Doubtful {
    local: NaiveDateTime,
    second_time: bool,
}

impl Stamps {
    /// `None` if the format is not one.
    pub fn new(settings: &RecordingSettings) -> Option<Self> {
        let format = match &settings.time_format {
            None => Format::Rfc3339,
            Some(text) => {
                let items = StrftimeItems::new(text).parse_to_owned().ok()?;
                if items.iter().any(carries_offset) {
                    Format::WithOffset(items)
                } else {
                    Format::Local(items)
                }
            }
        };
        let half = settings.interval_span.half();
        let to_middle = match settings.interval {
            IntervalStamp::Instant => Span::ZERO,
            IntervalStamp::Start => half,
            IntervalStamp::End => Span::from_ms(-half.ms()),
        };
        Some(Self {
            format,
            timezone: settings.timezone,
            to_middle,
            doubtful: None,
        })
    }

    /// The time of the next row.
    pub fn read(&mut self, text: &str) -> Result<Stamp, SkipReason> {
        let unreadable = SkipReason::TimeUnreadable;
        let (unix_ms, ambiguous) = match &self.format {
            Format::Rfc3339 => {
                let time = DateTime::parse_from_rfc3339(text).map_err(|_| unreadable)?;
                (time.timestamp_millis(), false)
            }
            Format::WithOffset(items) => {
                let parsed = parsed(text, items).ok_or(unreadable)?;
                let time = parsed.to_datetime().map_err(|_| unreadable)?;
                (time.timestamp_millis(), false)
            }
            Format::Local(items) => {
                let parsed = parsed(text, items).ok_or(unreadable)?;
                let local = parsed.to_naive_datetime_with_offset(0);
                self.resolve(local.map_err(|_| unreadable)?)?
            }
        };
        Ok(Stamp {
            at: Time::from_unix_ms(unix_ms) + self.to_middle,
            ambiguous,
        })
    }

    fn resolve(&mut self, local: NaiveDateTime) -> Result<(i64, bool), SkipReason> {
        match self.timezone.from_local_datetime(&local) {
            MappedLocalTime::Single(time) => Ok((time.timestamp_millis(), false)),
            MappedLocalTime::None => Err(SkipReason::TimeDoesNotExist),
            MappedLocalTime::Ambiguous(first, second) => {
                let second_time = self.is_second_time(local);
                self.doubtful = Some(Doubtful { local, second_time });
                let time = if second_time { second } else { first };
                Ok((time.timestamp_millis(), true))
            }
        }
    }

    /// Rows come in rising order, so within one night a local time that does not rise is already
    /// behind the putting back of the clocks.
    fn is_second_time(&self, local: NaiveDateTime) -> bool {
        self.doubtful.is_some_and(|before| {
            let same_night = (local - before.local).abs() < TimeDelta::days(1);
            same_night && (before.second_time || local <= before.local)
        })
    }
}

fn parsed(text: &str, items: &[Item<'static>]) -> Option<Parsed> {
    let mut parsed = Parsed::new();
    parse(&mut parsed, text, items.iter()).ok()?;
    Some(parsed)
}

fn carries_offset(item: &Item<'_>) -> bool {
    match item {
        Item::Fixed(fixed) => matches!(
            fixed,
            Fixed::TimezoneOffset
                | Fixed::TimezoneOffsetColon
                | Fixed::TimezoneOffsetDoubleColon
                | Fixed::TimezoneOffsetTripleColon
                | Fixed::TimezoneOffsetColonZ
                | Fixed::TimezoneOffsetZ
                | Fixed::RFC2822
                | Fixed::RFC3339
        ),
        Item::Numeric(Numeric::Timestamp, _) => true,
        _ => false,
    }
}
