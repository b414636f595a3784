//! `ledger.csv`: one row for each hour and inverter, energies in Wh.
//! Never in here: the balance itself (`analysis::ledger`).

use super::whole_file::{WriteError, write_whole};
use analysis::ledger::{COSTLY, Entry};
use analysis::plant::Plant;
use analysis::reading::{Energy, Time};
use chrono::{DateTime, SecondsFormat};
use std::path::Path;
use thiserror::Error;

/// Why the ledger is not in the folder.
#[derive(Debug, Error)]
pub enum LedgerFileError {
    /// A row could not be formed.
    #[error("form a row of the ledger: {0}")]
    Row(#[from] csv::Error),
    /// The file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// Writes the entries in place of an earlier file.
///
/// # Errors
/// If the file cannot be written.
pub fn write(path: &Path, plant: &Plant, entries: &[Entry]) -> Result<(), LedgerFileError> {
    let mut rows = csv::Writer::from_writer(Vec::new());
    rows.write_record(header())?;
    for entry in entries {
        rows.write_record(row(plant, entry))?;
    }
    let bytes = rows
        .into_inner()
        .map_err(|error| csv::Error::from(error.into_error()))?;
    Ok(write_whole(path, &bytes)?)
}

fn header() -> Vec<String> {
    let lost = COSTLY.iter().map(|kind| format!("lost_{}_wh", kind.name()));
    [
        "hour_utc",
        "inverter",
        "expected_wh",
        "measured_wh",
        "lost_limited_wh",
    ]
    .map(str::to_owned)
    .into_iter()
    .chain(lost)
    .chain(["not_recorded_wh", "unexplained_wh"].map(str::to_owned))
    .collect()
}

fn row(plant: &Plant, entry: &Entry) -> Vec<String> {
    let wh = |energy: Energy| format!("{:.3}", energy.wh());
    let lost = COSTLY
        .iter()
        .map(|kind| entry.findings.get(kind).map_or(0.0, |e| e.wh()));
    let inverter = plant.inverters[entry.inverter].id.to_string();
    [
        hour(entry.hour),
        inverter,
        wh(entry.expected),
        wh(entry.measured),
        wh(entry.limited),
    ]
    .into_iter()
    .chain(lost.map(|lost| format!("{lost:.3}")))
    .chain([wh(entry.not_recorded), wh(entry.unexplained)])
    .collect()
}

fn hour(at: Time) -> String {
    let date = DateTime::from_timestamp_millis(at.unix_ms());
    date.map_or_else(String::new, |d| {
        d.to_rfc3339_opts(SecondsFormat::Secs, true)
    })
}
