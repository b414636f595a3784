//! `ledger.csv`: one row for each hour and inverter, energies in Wh. `limited_by_*` add up to
//! `lost_limited_wh`; `above_rated_power_wh` stands beside the balance.
//! Never in here: the balance itself (`analysis::ledger`).

use super::text::utc;
use super::whole_file::{WriteError, write_whole};
use analysis::array::Limit;
use analysis::ledger::{COSTLY, Entry};
use analysis::plant::Plant;
use analysis::reading::Energy;
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
    let limited = Limit::ALL.iter();
    let limited = limited.map(|limit| format!("limited_by_{}_wh", limit.name()));
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
    .chain(limited)
    .chain(lost)
    .chain(["not_recorded_wh", "unexplained_wh", "above_rated_power_wh"].map(str::to_owned))
    .collect()
}

fn row(plant: &Plant, entry: &Entry) -> Vec<String> {
    let wh = |energy: Energy| format!("{:.3}", energy.wh());
    let limited = Limit::ALL
        .iter()
        .map(|limit| entry.limited.get(limit).map_or(0.0, |e| e.wh()));
    let lost = COSTLY
        .iter()
        .map(|kind| entry.findings.get(kind).map_or(0.0, |e| e.wh()));
    let inverter = plant.inverters[entry.inverter].id.to_string();
    [
        utc(entry.hour).unwrap_or_default(),
        inverter,
        wh(entry.expected),
        wh(entry.measured),
        wh(entry.limited_total()),
    ]
    .into_iter()
    .chain(limited.chain(lost).map(|wh| format!("{wh:.3}")))
    .chain([
        wh(entry.not_recorded),
        wh(entry.unexplained),
        wh(entry.above_rated),
    ])
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::detect::Kind;
    use analysis::reading::Time;
    use std::collections::BTreeMap;

    #[test]
    fn a_row_stands_under_its_header() {
        let wh = Energy::from_wh;
        let entry = Entry {
            hour: Time::from_unix_ms(1_794_229_200_000),
            inverter: 1,
            expected: wh(100.0),
            measured: wh(60.0),
            limited: BTreeMap::from([(Limit::Command, wh(7.0)), (Limit::NotTold, wh(3.0))]),
            above_rated: wh(2.0),
            findings: BTreeMap::from([(Kind::StringOpen, wh(25.0))]),
            not_recorded: wh(0.0),
            unexplained: wh(5.0),
        };
        let site = include_str!("../../../config/sites/quince-row-dairy.toml");
        let site = config::parse("site", site, Path::new("")).expect("a right site file");
        let row: BTreeMap<_, _> = header().into_iter().zip(row(&site.plant, &entry)).collect();
        assert_eq!(header().len(), row.len());
        assert_eq!(row["hour_utc"], "2026-11-09T13:00:00Z");
        assert_eq!(row["inverter"], "hall");
        assert_eq!(row["lost_string_open_wh"], "25.000");
        assert_eq!(row["lost_snow_wh"], "0.000");
        assert_eq!(row["unexplained_wh"], "5.000");
        assert_eq!(row["lost_limited_wh"], "10.000");
        assert_eq!(row["limited_by_command_wh"], "7.000");
        assert_eq!(row["limited_by_volt_watt_wh"], "0.000");
        assert_eq!(row["limited_by_not_told_wh"], "3.000");
        assert_eq!(row["above_rated_power_wh"], "2.000");
    }
}
