//! `[recording]`: a table of recorded values and which channel each column is.

use super::devices::Device;
use super::site::time_zone;
use super::{source, value};
use crate::checked::{Column, Recording, Stamp};
use crate::own_shape::{self, Columns};
use crate::problem::{Fault, Problems};
use crate::raw;
use crate::table::Table;
use crate::table::near;
use analysis::reading::{Channel, ChannelTable};
use chrono::{DateTime, NaiveDateTime, Timelike, Utc};
use chrono_tz::Tz;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::Path;

/// A recording whose columns are not numbered yet.
pub(super) struct Read {
    /// The rest, unless something was reported.
    unnumbered: Option<Recording>,
    columns: Vec<(own_shape::Column, Option<Channel>)>,
}

impl Read {
    /// Channels that its columns are.
    pub(super) fn channels(&self) -> impl Iterator<Item = Channel> {
        self.columns
            .iter()
            .filter_map(|(_, channel)| channel.clone())
    }

    /// Numbers the columns.
    pub(super) fn checked(self, channels: &ChannelTable) -> Option<Recording> {
        let column = |(raw, channel): &(own_shape::Column, Option<Channel>)| {
            Some(Column {
                header: raw.header.clone(),
                channel: channels.id(channel.as_ref()?)?,
                scale: raw.scale,
                offset: raw.offset,
            })
        };
        let columns = self.columns.iter().map(column).collect::<Option<_>>()?;
        let recording = self.unnumbered?;
        Some(Recording {
            columns,
            ..recording
        })
    }
}

pub(super) fn recording(
    raw: &raw::Recording,
    devices: &[Device],
    site_zone: Option<Tz>,
    beside: &Path,
    problems: &mut Problems<'_>,
) -> Read {
    let timezone = match &raw.timezone {
        Some(f) => time_zone(&f.value, (&f.span, &raw.at().key("timezone")), problems),
        None => site_zone,
    };
    let format_is_good = check_format(raw, problems);
    let columns = value(&raw.columns).map(|columns| match_columns(columns, devices, problems));
    let unnumbered = format_is_good
        .then(|| unnumbered(raw, timezone, beside))
        .flatten()
        .filter(|_| columns.is_some());
    Read {
        unnumbered,
        columns: columns.unwrap_or_default(),
    }
}

fn unnumbered(raw: &raw::Recording, timezone: Option<Tz>, beside: &Path) -> Option<Recording> {
    Some(Recording {
        file: beside.join(value(&raw.file)?),
        time_column: value(&raw.time_column)?.0.clone(),
        time_format: value(&raw.time_format).cloned(),
        timezone: timezone?,
        stamp: match value(&raw.interval)?.as_str() {
            "instant" => Stamp::Instant,
            "start" => Stamp::Start,
            _ => Stamp::End,
        },
        interval: value(&raw.interval_s).map(|s| source::span(*s)),
        columns: Vec::new(),
    })
}

/// A format is good when a time written with it reads back the same, to the minute.
fn check_format(raw: &raw::Recording, problems: &mut Problems<'_>) -> bool {
    let Some(found) = &raw.time_format else {
        return true;
    };
    if reads_back(&found.value) {
        return true;
    }
    let (path, text) = (
        raw.at().key("time_format"),
        format!("text {:?}", found.value),
    );
    let wanted = "strftime with the whole date and the time of day, as \"%d.%m.%Y %H:%M:%S\"";
    problems.add(Fault::WrongType, &found.span, path, text, wanted);
    false
}

/// An afternoon of the second half of a month, so that swapped or missing parts show.
const PROBE_UNIX_S: i64 = 1_700_061_780;

fn reads_back(format: &str) -> bool {
    let probe = DateTime::<Utc>::from_timestamp(PROBE_UNIX_S, 0).expect("in range");
    let mut text = String::new();
    if write!(text, "{}", probe.format(format)).is_err() {
        return false;
    }
    let zoned = DateTime::parse_from_str(&text, format).map(|time| time.naive_utc());
    let read = zoned.or_else(|_| NaiveDateTime::parse_from_str(&text, format));
    read.is_ok_and(|read| read.with_second(0) == probe.naive_utc().with_second(0))
}

fn match_columns(
    columns: &Columns,
    devices: &[Device],
    problems: &mut Problems<'_>,
) -> Vec<(own_shape::Column, Option<Channel>)> {
    let mut taken: BTreeMap<Channel, &str> = BTreeMap::new();
    let mut matched = Vec::new();
    for column in &columns.0 {
        let channel = channel(column, devices, problems);
        if let Some(channel) = &channel {
            if let Some(other) = taken.get(channel) {
                let wanted = format!("another channel than that of column {other:?}");
                report(column, Fault::Duplicate, wanted, problems);
            }
            taken.insert(channel.clone(), &column.header);
        }
        matched.push((column.clone(), channel));
    }
    matched
}

fn channel(
    column: &own_shape::Column,
    devices: &[Device],
    problems: &mut Problems<'_>,
) -> Option<Channel> {
    let channel: Channel = match column.channel.parse() {
        Ok(channel) => channel,
        Err(wrong) => {
            let wanted = in_wanted(&wrong);
            report(column, Fault::UnknownName, wanted, problems);
            return None;
        }
    };
    let Some(device) = devices.iter().find(|device| device.id == channel.device) else {
        let ids = devices.iter().map(|device| device.id.as_str());
        let wanted = format!(
            "a device of this site: {}",
            near(channel.device.as_str(), ids)
        );
        report(column, Fault::UnknownName, wanted, problems);
        return None;
    };
    if let Some(wanted) = device.refuses(&channel) {
        report(column, Fault::Contradiction, wanted, problems);
        return None;
    }
    Some(channel)
}

fn in_wanted(wrong: &analysis::reading::ChannelError) -> String {
    use analysis::reading::{ChannelError, Quantity, Scope};
    match wrong {
        ChannelError::Shape { .. } => "<device>/<quantity>, <inverter>/input-<n>/<quantity> or \
             <inverter>/input-<n>/string-<k>/<quantity>"
            .to_owned(),
        ChannelError::Quantity { found } => {
            format!(
                "a quantity: {}",
                near(found, Quantity::ALL.iter().map(|q| q.name()))
            )
        }
        ChannelError::Scope { quantity, .. } => {
            let of_input = Quantity::from_name(quantity)
                .is_some_and(|quantity| matches!(quantity.scope(), Scope::Input { .. }));
            let place = if of_input {
                "<inverter>/input-<n>"
            } else {
                "<device>"
            };
            format!("{place}/{quantity}")
        }
    }
}

fn report(column: &own_shape::Column, fault: Fault, wanted: String, problems: &mut Problems<'_>) {
    let found = format!("text {:?}", column.channel);
    problems.add(fault, &column.at.span, &column.at.path, found, wanted);
}

#[cfg(test)]
mod tests {
    use super::reads_back;

    #[test]
    fn a_time_format_must_hold_a_whole_date_and_a_time() {
        for good in [
            "%Y-%m-%d %H:%M:%S",
            "%d.%m.%Y %H:%M",
            "%Y-%m-%dT%H:%M:%S%z",
            "%m/%d/%Y %I:%M %p",
            "%s",
        ] {
            assert!(reads_back(good), "{good}");
        }
        for bad in [
            "",
            "%Y-%m-%d",
            "%H:%M",
            "%d %H:%M",
            "%Q",
            "%m/%d/%Y %I:%M",
            "%y %j",
        ] {
            assert!(!reads_back(bad), "{bad}");
        }
    }
}
