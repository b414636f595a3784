//! `kpi.csv`: figures of performance of every inverter and the site by day, month, year and as a
//! whole; `capacity.csv`: the capacity of every inverter by regression, in the first and in the
//! latest thirty days. A figure that too little was measured for is empty. Days are solar days.
//! Never in here: what a figure means (`analysis::ledger`).

use super::whole_file::{WriteError, write_pieces};
use crate::text::date;
use analysis::ledger::{Capacity, CapacityError, CapacityTest, Figures};
use analysis::plant::Plant;
use analysis::reading::SolarDay;
use std::io::Write;
use std::ops::RangeInclusive;
use std::path::Path;
use thiserror::Error;

/// Days of a capacity test (ASTM E2848 practice: up to thirty).
const TEST_DAYS: i64 = 30;

/// Why the figures are not in the folder.
#[derive(Debug, Error)]
pub enum FiguresFileError {
    /// A row could not be formed.
    #[error("form a row of the figures: {0}")]
    Row(#[from] csv::Error),
    /// The file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

const KPI_HEADER: [&str; 19] = [
    "period",
    "first_day",
    "last_day",
    "inverter",
    "rated_dc_w",
    "output_cover_ratio",
    "light_cover_ratio",
    "array_cover_ratio",
    "output_wh",
    "reference_yield_h",
    "array_yield_h",
    "final_yield_h",
    "capture_loss_h",
    "system_loss_h",
    "performance_ratio",
    "performance_25_degc_ratio",
    "performance_index_ratio",
    "availability_time_ratio",
    "availability_energy_ratio",
];

const CAPACITY_HEADER: [&str; 20] = [
    "inverter",
    "part",
    "first_day",
    "last_day",
    "slots",
    "days",
    "a1_w_per_w_m2",
    "a2_w_per_w2_m4",
    "a3_w_per_w_m2_k",
    "a4_w_per_w_m2_m_s",
    "residual_w",
    "reporting_poa_w_m2",
    "reporting_air_temperature_degc",
    "reporting_wind_speed_m_s",
    "capacity_w",
    "capacity_low_95_w",
    "capacity_high_95_w",
    "expected_capacity_w",
    "capacity_over_expected_ratio",
    "why_not",
];

/// Writes `kpi.csv` in place of an earlier one.
///
/// # Errors
/// If the file cannot be written.
pub fn write_kpi(path: &Path, plant: &Plant, figures: &[Figures]) -> Result<(), FiguresFileError> {
    let rows = figures.iter().map(|f| kpi_row(plant, f));
    write_rows(path, &KPI_HEADER, rows)
}

/// A row of `capacity.csv`.
pub type CapacityRow = [String; 20];

/// Writes `capacity.csv` in place of an earlier one.
///
/// # Errors
/// If the file cannot be written.
pub fn write_capacity(path: &Path, rows: Vec<CapacityRow>) -> Result<(), FiguresFileError> {
    write_rows(path, &CAPACITY_HEADER, rows.into_iter())
}

/// Its rows, by inverter and part.
pub fn capacity_rows(plant: &Plant, test: &CapacityTest) -> Vec<CapacityRow> {
    let mut rows = Vec::new();
    for (i, inverter) in plant.inverters.iter().enumerate() {
        for (part, days) in parts(test, i) {
            let found = test.capacity(plant, i, days, None);
            rows.push(capacity_row(inverter.id.as_str(), part, &found));
        }
    }
    rows
}

/// The first and the latest days of a test; one part where they are the same.
fn parts(test: &CapacityTest, i: usize) -> Vec<(&'static str, RangeInclusive<SolarDay>)> {
    let mut days = test.days(i);
    let Some(first) = days.next() else {
        let none = SolarDay::from_number(0);
        return vec![("first", none..=none)];
    };
    let last = days.next_back().unwrap_or(first);
    let away = |day: SolarDay, by: i64| SolarDay::from_number(day.number() + by);
    let mut parts = vec![("first", first..=away(first, TEST_DAYS - 1))];
    if last > away(first, TEST_DAYS - 1) {
        parts.push(("latest", away(last, 1 - TEST_DAYS)..=last));
    }
    parts
}

fn write_rows<const N: usize>(
    path: &Path,
    header: &[&str; N],
    rows: impl Iterator<Item = [String; N]>,
) -> Result<(), FiguresFileError> {
    write_pieces(path, |file: &mut dyn Write| {
        let mut out = csv::Writer::from_writer(file);
        out.write_record(header)?;
        for row in rows {
            out.write_record(row)?;
        }
        out.flush().map_err(csv::Error::from)?;
        Ok(())
    })
}

fn kpi_row(plant: &Plant, f: &Figures) -> [String; 19] {
    let inverter = f.inverter.map(|i| plant.inverters[i].id.to_string());
    let number = |digits: usize| {
        move |value: Option<f64>| value.map_or_else(String::new, |v| format!("{v:.digits$}"))
    };
    let (wh, hours, ratio) = (number(1), number(4), number(4));
    [
        f.period.name().to_owned(),
        date(f.first),
        date(f.last),
        inverter.unwrap_or_default(),
        format!("{:.1}", f.rated_w),
        ratio(f.output_cover_ratio),
        ratio(f.light_cover_ratio),
        ratio(f.array_cover_ratio),
        wh(f.output_wh),
        hours(f.reference_yield_h),
        hours(f.array_yield_h),
        hours(f.final_yield_h),
        hours(f.capture_loss_h),
        hours(f.system_loss_h),
        ratio(f.performance_ratio),
        ratio(f.performance_ratio_25),
        ratio(f.performance_index),
        ratio(f.availability_time_ratio),
        ratio(f.availability_energy_ratio),
    ]
}

fn capacity_row(
    inverter: &str,
    part: &str,
    found: &Result<Capacity, CapacityError>,
) -> CapacityRow {
    let c = match found {
        Ok(capacity) => capacity,
        Err(error) => {
            let mut row: CapacityRow = std::array::from_fn(|_| String::new());
            row[0] = inverter.to_owned();
            row[1] = part.to_owned();
            row[19] = format!("failed to {error}");
            return row;
        }
    };
    let [a1, a2, a3, a4] = c.fit.coefficients.map(|a| format!("{a:.9e}"));
    let at = &c.conditions;
    let watts = |w: f64| format!("{w:.1}");
    let wind = at.wind.map(|wind| format!("{:.2}", wind.m_s()));
    let wind = wind.unwrap_or_default();
    let a4 = if c.fit.terms < 4 { String::new() } else { a4 };
    [
        inverter.to_owned(),
        part.to_owned(),
        date(*c.days.start()),
        date(*c.days.end()),
        c.fit.points.to_string(),
        c.fit.days.to_string(),
        a1,
        a2,
        a3,
        a4,
        watts(c.fit.residual_w),
        format!("{:.1}", at.poa.w_m2()),
        format!("{:.2}", at.air.degc()),
        wind,
        watts(c.power.w()),
        watts(c.low.w()),
        watts(c.high.w()),
        watts(c.expected.w()),
        format!("{:.4}", c.power.w() / c.expected.w()),
        String::new(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::ledger::Period;
    use std::collections::BTreeMap;

    #[test]
    fn a_figure_that_is_none_is_an_empty_cell_under_its_header() {
        let site = include_str!("../../../config/sites/quince-row-dairy.toml");
        let site = config::parse("site", site, Path::new("")).expect("a right site file");
        let figures = Figures {
            period: Period::Month,
            first: SolarDay::from_number(20_766),
            last: SolarDay::from_number(20_779),
            inverter: Some(1),
            rated_w: 29_530.0,
            output_cover_ratio: Some(0.95),
            light_cover_ratio: Some(0.5),
            array_cover_ratio: Some(0.5),
            output_wh: Some(138_200.0),
            reference_yield_h: None,
            array_yield_h: None,
            final_yield_h: Some(4.679_986),
            capture_loss_h: None,
            system_loss_h: None,
            performance_ratio: None,
            performance_ratio_25: None,
            performance_index: Some(0.97),
            availability_time_ratio: Some(1.0),
            availability_energy_ratio: Some(1.0),
        };
        let row: BTreeMap<_, _> = KPI_HEADER
            .into_iter()
            .zip(kpi_row(&site.plant, &figures))
            .collect();
        assert_eq!(row.len(), KPI_HEADER.len());
        assert_eq!(row["period"], "month");
        assert_eq!(row["first_day"], "2026-11-09");
        assert_eq!(row["inverter"], "hall");
        assert_eq!(row["output_wh"], "138200.0");
        assert_eq!(row["final_yield_h"], "4.6800");
        assert_eq!(row["performance_ratio"], "");
        assert_eq!(row["performance_index_ratio"], "0.9700");
    }

    #[test]
    fn a_capacity_that_is_none_says_why() {
        let none = Err(CapacityError::NoPlaneSensor { bright: 12 });
        let row = capacity_row("hall", "first", &none);
        let row: BTreeMap<_, _> = CAPACITY_HEADER.into_iter().zip(row).collect();
        assert_eq!(row.len(), CAPACITY_HEADER.len());
        assert_eq!(row["capacity_w"], "");
        assert!(
            row["why_not"].contains("12 bright slots"),
            "{}",
            row["why_not"]
        );
    }
}
