//! `ledger.csv`: one row for each hour and inverter, energies in Wh and what they are worth.
//! `limited_by_*` add up to `lost_limited_wh`; `above_rated_power_wh` and `not_compared_wh`, which was
//! produced while nobody knew the light, stand beside the balance.
//! Without a price in the site file the columns of money are empty.
//! Never in here: the balance itself (`analysis::ledger`).

use super::ahead::each_slot;
use super::whole_file::{WriteError, write_pieces};
use crate::store::{Store, StoreError};
use crate::text::utc;
use analysis::detect::Slot;
use analysis::diagnose::Finding;
use analysis::ledger::{Entry, Hours, Loss};
use analysis::plant::Plant;
use analysis::reading::{Energy, Time};
use std::io::Write;
use std::path::Path;
use thiserror::Error;

/// Why the ledger is not in the folder.
#[derive(Debug, Error)]
pub enum LedgerFileError {
    /// The slots could not be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A row could not be formed.
    #[error("form a row of the ledger: {0}")]
    Row(#[from] csv::Error),
    /// The file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// Writes the hours of `[from, to)` in place of an earlier file. Each slot is shown to `also` with
/// the hours that it ended, and at the end the last hours alone: who else needs the slots need not
/// read them again.
///
/// # Errors
/// If the store cannot be read or the file cannot be written.
pub fn write(
    path: &Path,
    plant: &Plant,
    store: &Store,
    findings: &[Finding],
    (from, to): (Time, Time),
    also: &mut dyn FnMut(Option<&Slot>, &[Entry]),
) -> Result<(), LedgerFileError> {
    write_pieces(path, |file: &mut dyn Write| {
        let mut rows = csv::Writer::from_writer(file);
        rows.write_record(header())?;
        let mut hours = Hours::new(plant, findings);
        each_slot(store, (from, to), |slot| {
            let ended = hours.add(slot);
            for entry in &ended {
                rows.write_record(row(plant, entry))?;
            }
            also(Some(slot), &ended);
            Ok::<_, LedgerFileError>(())
        })?;
        let ended = hours.finish();
        for entry in &ended {
            rows.write_record(row(plant, entry))?;
        }
        also(None, &ended);
        rows.flush().map_err(csv::Error::from)?;
        Ok(())
    })
}

/// Its columns: the balance in Wh, then the same in money.
fn header() -> Vec<String> {
    let energies = Loss::all().map(|loss| format!("{}_wh", loss.name()));
    let money = Loss::all().map(|loss| format!("{}_money", loss.name()));
    let text = |names: &[&str]| names.iter().map(|n| n.to_string()).collect::<Vec<_>>();
    let first = text(&[
        "hour_utc",
        "inverter",
        "expected_wh",
        "measured_wh",
        "lost_limited_wh",
    ]);
    let between = text(&[
        "above_rated_power_wh",
        "not_compared_wh",
        "expected_money",
        "measured_money",
    ]);
    first
        .into_iter()
        .chain(energies)
        .chain(between)
        .chain(money)
        .chain(text(&["currency"]))
        .collect()
}

fn row(plant: &Plant, entry: &Entry) -> Vec<String> {
    let price = plant.site.energy_price.as_ref();
    // Most of an hour's losses are nothing, and a year has millions of them.
    let wh = |energy: Energy| match energy.wh() {
        0.0 => "0.000".to_owned(),
        wh => format!("{wh:.3}"),
    };
    let money = |energy: Energy| match price.map(|p| p.of(energy)) {
        None => String::new(),
        Some(0.0) => "0.000000".to_owned(),
        Some(money) => format!("{money:.6}"),
    };
    let losses: Vec<Energy> = entry.losses().map(|(_, energy)| energy).collect();
    let first = [
        utc(entry.hour).unwrap_or_default(),
        plant.inverters[entry.inverter].id.to_string(),
        wh(entry.expected),
        wh(entry.measured),
        wh(entry.limited_total()),
    ];
    let between = [
        wh(entry.above_rated),
        wh(entry.not_compared),
        money(entry.expected),
        money(entry.measured),
    ];
    let currency = price.map_or_else(String::new, |p| p.currency.clone());
    first
        .into_iter()
        .chain(losses.iter().map(|energy| wh(*energy)))
        .chain(between)
        .chain(losses.iter().map(|energy| money(*energy)))
        .chain([currency])
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::array::Limit;
    use analysis::detect::Kind;
    use analysis::plant::EnergyPrice;
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
            not_compared: wh(1.5),
            findings: BTreeMap::from([(Kind::StringOpen, wh(22.0))]),
            outage: wh(3.0),
            not_recorded: wh(0.0),
            unexplained: wh(5.0),
        };
        let site = include_str!("../../../config/sites/quince-row-dairy.toml");
        let mut site = config::parse("site", site, Path::new("")).expect("a right site file");
        site.plant.site.energy_price = Some(EnergyPrice {
            per_kwh: 0.30,
            currency: "AUD".to_owned(),
        });
        let row: BTreeMap<_, _> = header().into_iter().zip(row(&site.plant, &entry)).collect();
        assert_eq!(header().len(), row.len());
        assert_eq!(row["hour_utc"], "2026-11-09T13:00:00Z");
        assert_eq!(row["inverter"], "hall");
        assert_eq!(row["lost_string_open_wh"], "22.000");
        assert_eq!(row["lost_snow_wh"], "0.000");
        assert_eq!(row["unexplained_wh"], "5.000");
        assert_eq!(row["lost_limited_wh"], "10.000");
        assert_eq!(row["limited_by_command_wh"], "7.000");
        assert_eq!(row["limited_by_volt_watt_wh"], "0.000");
        assert_eq!(row["limited_by_not_told_wh"], "3.000");
        assert_eq!(row["above_rated_power_wh"], "2.000");
        assert_eq!(row["not_compared_wh"], "1.500");
        assert_eq!(row["lost_outage_wh"], "3.000");
        assert_eq!(row["lost_outage_money"], "0.000900");
        assert_eq!(row["expected_money"], "0.030000");
        assert_eq!(row["currency"], "AUD");
    }
}
