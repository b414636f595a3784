//! Values on the command line, with what was wanted where they are wrong.
//! Never in here: options.

use crate::commands::export;
use config::schema::File;
use std::ops::RangeInclusive;

/// A time as RFC 3339 has it.
pub(super) fn time(text: &str) -> Result<analysis::reading::Time, String> {
    let date = chrono::DateTime::parse_from_rfc3339(text)
        .map_err(|_| "wanted RFC 3339, as in 2026-06-21T08:00:00Z".to_owned())?;
    Ok(analysis::reading::Time::from_unix_ms(
        date.timestamp_millis(),
    ))
}

/// A day of the calendar.
pub(super) fn day(text: &str) -> Result<chrono::NaiveDate, String> {
    text.parse()
        .map_err(|_| "wanted a day, as in 2026-06-21".to_owned())
}

/// One unit id or a range of them.
pub(super) fn units(text: &str) -> Result<RangeInclusive<u8>, String> {
    let range = text.split_once('-').unwrap_or((text, text));
    let range = range.0.parse().ok().zip(range.1.parse().ok());
    let range = range.filter(|(first, last): &(u8, u8)| first <= last);
    let (first, last) = range.ok_or_else(|| "wanted two unit ids, as in 1-10".to_owned())?;
    Ok(first..=last)
}

/// A kind of file.
pub(super) fn file(text: &str) -> Result<File, String> {
    match text {
        "site" => Ok(File::Site),
        "map" => Ok(File::RegisterMap),
        "messages" => Ok(File::MessageMap),
        _ => Err("wanted site, map or messages".to_owned()),
    }
}

/// A format of exports.
pub(super) fn format(text: &str) -> Result<export::Format, String> {
    export::Format::from_name(text).ok_or_else(|| "wanted csv or parquet".to_owned())
}

/// How many times as fast a clock runs.
pub(super) fn rate(text: &str) -> Result<f64, String> {
    let rate = text
        .parse::<f64>()
        .ok()
        .filter(|r| *r >= 1.0 && *r <= 3600.0);
    rate.ok_or_else(|| "wanted a number from 1 to 3600".to_owned())
}
