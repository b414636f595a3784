//! Mornings of insulation: one row for each inverter and day that showed one.
//!
//! Rows go by the inverter's name; what the plant no longer has stays in the file and is not read.

use super::commit::finite_if_any;
use super::layout::Layout;
use super::query::{each_row, get};
use super::{Store, StoreError};
use analysis::detect::Morning;
use analysis::reading::Time;
use rusqlite::{Connection, Row, params};

/// Writes a morning in place of an earlier one that began at the same time.
pub(super) fn write_morning(
    db: &Connection,
    layout: &Layout,
    (i, morning): &(usize, Morning),
) -> Result<(), StoreError> {
    let inverter = layout.inverters[*i].0.as_str();
    let number = |number: Option<f32>| {
        let of = || format!("a morning of {inverter}");
        finite_if_any(of, number.map(f64::from))
    };
    let row = params![
        inverter,
        morning.at.unix_ms(),
        number(morning.log10_ohm)?,
        morning.is_wet,
        number(morning.temperature_degc)?,
        morning.is_low,
        morning.lost_min,
    ];
    db.prepare_cached(
        "INSERT OR REPLACE INTO insulation_morning VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )
    .and_then(|mut insert| insert.execute(row))
    .map_err(StoreError::at("write a morning of insulation"))?;
    Ok(())
}

impl Store {
    /// Every morning of the plant's inverters, by inverter in the plant's order, in order of time.
    pub fn mornings(&self) -> Result<Vec<(usize, Morning)>, StoreError> {
        let mut mornings = Vec::new();
        for (i, (inverter, _)) in self.layout.inverters.iter().enumerate() {
            let sql = "SELECT * FROM insulation_morning WHERE inverter = ?1 ORDER BY at_utc_ms";
            each_row(self.settled()?, sql, [inverter.as_str()], |row| {
                mornings.push((i, read(row)?));
                Ok(())
            })?;
        }
        Ok(mornings)
    }

    /// The last `most` mornings of one inverter, in order of time.
    pub fn mornings_of(&self, inverter: usize, most: usize) -> Result<Vec<Morning>, StoreError> {
        let (id, _) = &self.layout.inverters[inverter];
        let sql = "SELECT * FROM insulation_morning WHERE inverter = ?1
                   ORDER BY at_utc_ms DESC LIMIT ?2";
        let mut mornings = Vec::new();
        each_row(self.settled()?, sql, (id.as_str(), most as i64), |row| {
            mornings.push(read(row)?);
            Ok(())
        })?;
        mornings.reverse();
        Ok(mornings)
    }
}

fn read(row: &Row<'_>) -> Result<Morning, StoreError> {
    let number = |column| {
        let number: Option<f64> = get(row, column)?;
        Ok::<_, StoreError>(number.map(|number| number as f32))
    };
    Ok(Morning {
        at: Time::from_unix_ms(get(row, "at_utc_ms")?),
        log10_ohm: number("log10_ohm")?,
        is_wet: get(row, "is_wet")?,
        temperature_degc: number("temperature_degc")?,
        is_low: get(row, "is_low")?,
        lost_min: get(row, "lost_min")?,
    })
}
