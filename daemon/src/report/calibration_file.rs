//! `calibration.csv`: what has been learned of every plane and input, now and at the handover.
//!
//! One row for each number, with its 95 % interval and the days that it rests on. Gains multiply
//! what the datasheet gives; the baseline of a tilt or an azimuth is what the site file states;
//! `inverter`, `input` or `plane` say whose it is; of the supply the phase stands in the place of the
//! input.
//! Never in here: how it is learned (`analysis::expected`).

use super::whole_file::{WriteError, write_whole};
use crate::text::date;
use analysis::expected::{Known, Learned, LearnedOf};
use analysis::plant::Plant;
use std::path::Path;
use thiserror::Error;

/// Half width of a 95 % interval over the standard deviation.
const SIGMAS_95: f64 = 1.959_964;

/// Why what was learned is not in the folder.
#[derive(Debug, Error)]
pub enum CalibrationFileError {
    /// A row could not be formed.
    #[error("form a row of the calibration: {0}")]
    Row(#[from] csv::Error),
    /// The file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// Writes what was learned in place of an earlier file.
///
/// # Errors
/// If the file cannot be written.
pub fn write(path: &Path, plant: &Plant, learned: &[Learned]) -> Result<(), CalibrationFileError> {
    let mut rows = csv::Writer::from_writer(Vec::new());
    rows.write_record(HEADER)?;
    for learned in learned {
        rows.write_record(row(plant, learned))?;
    }
    let bytes = rows
        .into_inner()
        .map_err(|error| csv::Error::from(error.into_error()))?;
    Ok(write_whole(path, &bytes)?)
}

const HEADER: [&str; 17] = [
    "inverter",
    "input",
    "plane",
    "light",
    "quantity",
    "now",
    "now_low_95",
    "now_high_95",
    "now_first_day",
    "now_last_day",
    "now_days",
    "baseline",
    "baseline_low_95",
    "baseline_high_95",
    "baseline_first_day",
    "baseline_last_day",
    "baseline_days",
];

fn row(plant: &Plant, learned: &Learned) -> Vec<String> {
    let none = String::new;
    let plane = |p: usize| plant.planes[p].id.clone();
    let input = |i: usize, k: usize| {
        let inverter = &plant.inverters[i];
        (
            inverter.id.to_string(),
            inverter.inputs[k].number.to_string(),
        )
    };
    let (inverter, number, plane, light) = match learned.of {
        LearnedOf::Light(p, rung) => (none(), none(), plane(p), rung.name().to_owned()),
        LearnedOf::CellOffset(p) | LearnedOf::Tilt(p) | LearnedOf::Azimuth(p) => {
            (none(), none(), plane(p), none())
        }
        LearnedOf::Current(i, k) | LearnedOf::Voltage(i, k) => {
            let (inverter, number) = input(i, k);
            (inverter, number, none(), none())
        }
        LearnedOf::Supply(i, phase, _) => {
            let inverter = plant.inverters[i].id.to_string();
            (inverter, format!("L{}", phase + 1), none(), none())
        }
    };
    [inverter, number, plane, light, learned.of.name().to_owned()]
        .into_iter()
        .chain(known(&learned.now))
        .chain(known(&learned.baseline))
        .collect()
}

fn known(known: &Known) -> [String; 6] {
    let half = SIGMAS_95 * known.sigma;
    let number = |number: f64| format!("{number:.4}");
    [
        number(known.value),
        number(known.value - half),
        number(known.value + half),
        date(known.from),
        date(known.to),
        known.days.to_string(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::reading::SolarDay;
    use std::collections::BTreeMap;

    #[test]
    fn a_row_stands_under_its_header() {
        let site = include_str!("../../../config/sites/quince-row-dairy.toml");
        let site = config::parse("site", site, Path::new("")).expect("a right site file");
        let known = Known {
            value: 0.97,
            sigma: 0.01,
            from: SolarDay::from_number(20_766),
            to: SolarDay::from_number(20_779),
            days: 14,
        };
        let learned = Learned {
            of: LearnedOf::Current(1, 0),
            now: known,
            baseline: known,
        };
        let row = row(&site.plant, &learned);
        assert_eq!(row.len(), HEADER.len());
        let row: BTreeMap<_, _> = HEADER.into_iter().zip(row).collect();
        assert_eq!(row["inverter"], "hall");
        assert_eq!(row["quantity"], "dc_current_gain_ratio");
        assert_eq!(row["now_low_95"], "0.9504");
        assert_eq!(row["baseline_first_day"], "2026-11-09");
        assert_eq!(row["baseline_days"], "14");
    }
}
