//! What was learned of planes, inputs and the supply: one row for each number and day.
//!
//! Rows go by name, so that a new order in the site file moves nothing to another input; what the
//! plant no longer has stays in the file and is not read.

use super::commit::finite;
use super::layout::Layout;
use super::query::{each_row, get, undecodable};
use super::{Store, StoreError};
use analysis::expected::{Known, Learned, LearnedOf, SupplyNumber, WeatherRung};
use analysis::reading::SolarDay;
use rusqlite::{Connection, Row, params};
use std::collections::BTreeMap;

/// Writes a number in place of an earlier one that rests on the same last day.
pub(super) fn write_learned(
    db: &Connection,
    layout: &Layout,
    learned: &Learned,
) -> Result<(), StoreError> {
    let Learned { of, now, baseline } = learned;
    let subject = subject(layout, of);
    let number = |number| finite(|| format!("{} of {subject}", of.name()), number);
    let row = params![
        subject,
        of.name(),
        rung(of),
        now.to.number(),
        number(now.value)?,
        number(now.sigma)?,
        now.from.number(),
        now.days as i64,
        number(baseline.value)?,
        number(baseline.sigma)?,
        baseline.from.number(),
        baseline.to.number(),
        baseline.days as i64,
    ];
    db.prepare_cached(
        "INSERT OR REPLACE INTO learned VALUES
             (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)",
    )
    .and_then(|mut insert| insert.execute(row))
    .map_err(StoreError::at("write what was learned"))?;
    Ok(())
}

/// Takes out all that was ever learned of a number.
pub(super) fn forget(db: &Connection, layout: &Layout, of: &LearnedOf) -> Result<(), StoreError> {
    db.prepare_cached(
        "DELETE FROM learned WHERE subject = ?1 AND quantity = ?2 AND weather_rung = ?3",
    )
    .and_then(|mut delete| delete.execute(params![subject(layout, of), of.name(), rung(of)]))
    .map_err(StoreError::at("take out what was forgotten"))?;
    Ok(())
}

impl Store {
    /// The latest of what was learned of every part that the plant has.
    pub fn learned(&self) -> Result<Vec<Learned>, StoreError> {
        let known = parts(&self.layout);
        let mut latest = Vec::new();
        let sql = "SELECT *, max(last_solar_day) FROM learned
                   GROUP BY subject, quantity, weather_rung";
        each_row(self.settled()?, sql, [], |row| {
            let key: (String, String, String) = (
                get(row, "subject")?,
                get(row, "quantity")?,
                get(row, "weather_rung")?,
            );
            if let Some(of) = known.get(&key) {
                latest.push(read(*of, row)?);
            }
            Ok(())
        })?;
        Ok(latest)
    }
}

fn subject(layout: &Layout, of: &LearnedOf) -> String {
    match *of {
        LearnedOf::Light(p, _)
        | LearnedOf::CellOffset(p)
        | LearnedOf::Tilt(p)
        | LearnedOf::Azimuth(p) => layout.planes[p].clone(),
        LearnedOf::Current(i, k) | LearnedOf::Voltage(i, k) => {
            let (inverter, inputs) = &layout.inverters[i];
            format!("{inverter}/input-{}", inputs[k])
        }
        LearnedOf::Supply(i, phase, _) => {
            format!("{}/phase-{}", layout.inverters[i].0, phase + 1)
        }
    }
}

fn rung(of: &LearnedOf) -> &'static str {
    match of {
        LearnedOf::Light(_, rung) => rung.name(),
        _ => "",
    }
}

/// Everything that may be learned of a plant, by subject, quantity and rung.
fn parts(layout: &Layout) -> BTreeMap<(String, String, String), LearnedOf> {
    let planes = (0..layout.planes.len()).flat_map(|p| {
        let light = WeatherRung::ALL.map(|rung| LearnedOf::Light(p, rung));
        let others = [
            LearnedOf::CellOffset(p),
            LearnedOf::Tilt(p),
            LearnedOf::Azimuth(p),
        ];
        light.into_iter().chain(others)
    });
    let inverters = layout.inverters.iter().enumerate();
    let inputs = inverters.flat_map(|(i, (_, inputs))| {
        (0..inputs.len()).flat_map(move |k| [LearnedOf::Current(i, k), LearnedOf::Voltage(i, k)])
    });
    let key = |of: &LearnedOf| {
        (
            subject(layout, of),
            of.name().to_owned(),
            rung(of).to_owned(),
        )
    };
    let phases = (0..layout.inverters.len()).flat_map(|i| {
        (0..3).flat_map(move |phase| {
            let numbers = [SupplyNumber::Resistance, SupplyNumber::Reactive];
            numbers.map(|number| LearnedOf::Supply(i, phase, number))
        })
    });
    let all = planes.chain(inputs).chain(phases);
    all.map(|of| (key(&of), of)).collect()
}

fn read(of: LearnedOf, row: &Row<'_>) -> Result<Learned, StoreError> {
    let day = |column| Ok::<_, StoreError>(SolarDay::from_number(get(row, column)?));
    let count = |column| {
        let days: i64 = get(row, column)?;
        usize::try_from(days).map_err(|_| undecodable(column, days.to_string()))
    };
    Ok(Learned {
        of,
        now: Known {
            value: get(row, "value")?,
            sigma: get(row, "sigma")?,
            from: day("first_solar_day")?,
            to: day("last_solar_day")?,
            days: count("days")?,
        },
        baseline: Known {
            value: get(row, "baseline_value")?,
            sigma: get(row, "baseline_sigma")?,
            from: day("baseline_first_solar_day")?,
            to: day("baseline_last_solar_day")?,
            days: count("baseline_days")?,
        },
    })
}
