//! `noonmark export SITE --out DIR`: what the store holds of a time, one file for each device and
//! day (UTC), as CSV or Parquet.
//!
//! Each channel is written as finely as it is still there: single readings, else minutes, else hours.
//! Never in here: how a file format works.

mod csv_file;
mod parquet_file;
mod row;

use super::at_store::{exit_code, there};
use super::exit;
use super::meter::Meter;
use crate::report::WriteError;
use crate::store::{Layout, Progress, Store, StoreError};
use crate::text::count;
use analysis::reading::{ChannelId, DeviceId, Span, Time};
use chrono::NaiveDate;
use row::Row;
use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Format of the files.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// RFC 4180, a header line, numbers with all their digits.
    Csv,
    /// Apache Parquet, a row group for each channel.
    Parquet,
}

impl Format {
    /// By its name on the command line.
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "csv" => Some(Format::Csv),
            "parquet" => Some(Format::Parquet),
            _ => None,
        }
    }

    fn extension(self) -> &'static str {
        match self {
            Format::Csv => "csv",
            Format::Parquet => "parquet",
        }
    }
}

/// Why an export stopped; files that are there are whole. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum ExportError {
    /// The last day lies before the first.
    #[error("export from {from} to {to}: the last day is before the first")]
    Period {
        /// First day.
        from: NaiveDate,
        /// Last day.
        to: NaiveDate,
    },
    /// The store cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A file cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The rows of a file cannot be encoded or written.
    #[error("write rows of {}", file.display())]
    Rows {
        /// The file.
        file: PathBuf,
        /// Why.
        source: RowsError,
    },
    /// The terminal cannot be written to.
    #[error("write to the terminal: {0}")]
    Print(#[from] io::Error),
}

/// Why rows could not be written.
#[derive(Debug, Error)]
pub enum RowsError {
    /// As CSV.
    #[error(transparent)]
    Csv(#[from] csv::Error),
    /// As Parquet.
    #[error(transparent)]
    Parquet(#[from] parquet::errors::ParquetError),
    /// By the system.
    #[error(transparent)]
    System(#[from] io::Error),
}

impl ExportError {
    /// The exit code that says the same.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Period { .. } => exit::USAGE,
            Self::Store(error) => exit_code(error),
            Self::Write(_) => exit::CANNOT_CREATE,
            Self::Rows { .. } | Self::Print(_) => exit::CANNOT_WRITE,
        }
    }
}

/// What is exported.
#[derive(Debug, Clone, Copy)]
pub struct Wanted {
    /// First day, UTC.
    pub from: NaiveDate,
    /// Last day, UTC; part of it.
    pub to: NaiveDate,
    /// Format of the files.
    pub format: Format,
}

/// Writes a file for each device and day that has something, in place of an earlier one; says how
/// many there are. The devices are those of the store, with what the site file no longer has.
///
/// # Errors
/// If the store cannot be read or a file cannot be written.
pub fn export(
    store: &Path,
    into: &Path,
    wanted: Wanted,
    out: &mut dyn Write,
) -> Result<(), ExportError> {
    let Wanted { from, to, format } = wanted;
    if to < from {
        return Err(ExportError::Period { from, to });
    }
    let path = there(store)?;
    let layout = Layout::of_channels(Store::addresses(&path)?);
    let store = Store::open_to_read(&path, &layout)?;
    let devices = devices(&layout);
    let days = (to - from).num_days() as u64 + 1;
    let mut meter = Meter::new();
    let (mut files, mut rows) = (0, 0);
    for (done, day) in from.iter_days().take(days as usize).enumerate() {
        meter.show(Progress {
            doing: "exporting",
            done: done as u64,
            all: days,
        });
        for (device, channels) in &devices {
            let of_device = rows_of(&store, channels, day)?;
            if of_device.is_empty() {
                continue;
            }
            let file = into.join(format!("{device}_{day}.{}", format.extension()));
            write_file(&file, format, &of_device)?;
            files += 1;
            rows += of_device.iter().map(|(_, rows)| rows.len()).sum::<usize>();
        }
    }
    drop(meter);
    let (files, rows) = (count(files, "file"), count(rows, "row"));
    writeln!(out, "{}: {files}, {rows}", into.display())?;
    Ok(())
}

fn devices(layout: &Layout) -> BTreeMap<DeviceId, Vec<(String, ChannelId)>> {
    let mut devices: BTreeMap<DeviceId, Vec<_>> = BTreeMap::new();
    for (id, channel) in layout.channels.iter() {
        let of_device = devices.entry(channel.device.clone()).or_default();
        of_device.push((channel.to_string(), id));
    }
    devices
}

/// A channel with its rows, in order of time.
type ChannelRows = (String, Vec<Row>);

fn rows_of(
    store: &Store,
    channels: &[(String, ChannelId)],
    day: NaiveDate,
) -> Result<Vec<ChannelRows>, StoreError> {
    let midnight = day.and_time(chrono::NaiveTime::MIN).and_utc();
    let from = Time::from_unix_ms(midnight.timestamp_millis());
    let to = from + Span::from_h(24);
    let mut all = Vec::new();
    for (address, id) in channels {
        let rows = row::finest(store, *id, from, to)?;
        if !rows.is_empty() {
            all.push((address.clone(), rows));
        }
    }
    Ok(all)
}

fn write_file(file: &Path, format: Format, rows: &[ChannelRows]) -> Result<(), ExportError> {
    crate::report::write_pieces(file, |to| {
        let made = match format {
            Format::Csv => csv_file::write(to, rows),
            Format::Parquet => parquet_file::write(to, rows),
        };
        made.map_err(|source| ExportError::Rows {
            file: file.to_owned(),
            source,
        })
    })
}
