//! Reading back what was stored, as the types that were handed in.

use super::commit::{FAULTY, FAULTY_WITHOUT_NUMBER, GOOD, MISSING, OUT_OF_RANGE};
use super::slot_rows::read_slots;
use super::{EngineState, Store, StoreError};
use analysis::detect::Slot;
use analysis::diagnose::Finding;
use analysis::reading::{Time, Value};
use rusqlite::types::FromSql;
use rusqlite::{Connection, OptionalExtension, Params, Row, params};
use serde::de::value::StrDeserializer;
use serde::de::{DeserializeOwned, IntoDeserializer};

impl Store {
    /// Where the engine stood after the last step; `None` in a new store.
    pub fn load_engine_state(&self) -> Result<Option<EngineState>, StoreError> {
        let mut state = None;
        let sql = "SELECT version, state FROM engine_state";
        each_row(self.settled()?, sql, [], |row| {
            state = Some(EngineState {
                version: get(row, "version")?,
                bytes: get(row, "state")?,
            });
            Ok(())
        })?;
        Ok(state)
    }

    /// The slots that begin in `[from, to)`, in order, laid out as the plant is now.
    pub fn slots(&self, from: Time, to: Time) -> Result<Vec<Slot>, StoreError> {
        let db = self.settled()?;
        read_slots(db, &self.layout, &self.numbers, (from, to), None)
    }

    /// The same with the numbers of one inverter alone; of the others nothing is in them.
    pub fn slots_of(&self, inverter: usize, from: Time, to: Time) -> Result<Vec<Slot>, StoreError> {
        let (db, only) = (self.settled()?, Some(inverter));
        read_slots(db, &self.layout, &self.numbers, (from, to), only)
    }

    /// Whether there is a slot that begins in `[from, to)`.
    pub fn has_slots(&self, from: Time, to: Time) -> Result<bool, StoreError> {
        let sql =
            "SELECT EXISTS (SELECT 1 FROM slot WHERE start_utc_ms >= ?1 AND start_utc_ms < ?2)";
        self.settled()?
            .prepare_cached(sql)
            .and_then(|mut select| {
                select.query_row([from.unix_ms(), to.unix_ms()], |row| row.get(0))
            })
            .map_err(StoreError::at("look for slots"))
    }

    /// All findings, by their beginning.
    pub fn findings(&self) -> Result<Vec<Finding>, StoreError> {
        let sql = "SELECT finding_json FROM finding ORDER BY began_utc_ms, id";
        read_findings(self.settled()?, sql, [])
    }

    /// Those that stand, and those that stood at some time in `[from, to)`, by their beginning.
    pub fn findings_in(&self, from: Time, to: Time) -> Result<Vec<Finding>, StoreError> {
        let sql = "SELECT finding_json FROM finding
                   WHERE ended_utc_ms IS NULL OR (began_utc_ms < ?2 AND ended_utc_ms >= ?1)
                   ORDER BY began_utc_ms, id";
        read_findings(self.settled()?, sql, [from.unix_ms(), to.unix_ms()])
    }

    /// Those that stand, by their beginning.
    pub fn findings_standing(&self) -> Result<Vec<Finding>, StoreError> {
        let sql = "SELECT finding_json FROM finding WHERE ended_utc_ms IS NULL
                   ORDER BY began_utc_ms, id";
        read_findings(self.settled()?, sql, [])
    }

    /// Those that have ended, the last to begin first: so many, from after the one with this id on.
    pub fn findings_ended(
        &self,
        before: Option<&str>,
        limit: usize,
    ) -> Result<Vec<Finding>, StoreError> {
        let sql = "SELECT finding_json FROM finding
                   WHERE ended_utc_ms IS NOT NULL AND (?1 IS NULL OR (began_utc_ms, id) <
                       (SELECT b.began_utc_ms, b.id FROM finding b WHERE b.id = ?1))
                   ORDER BY began_utc_ms DESC, id DESC LIMIT ?2";
        read_findings(self.settled()?, sql, params![before, limit as i64])
    }

    /// The one with an id.
    pub fn finding(&self, id: &str) -> Result<Option<Finding>, StoreError> {
        let sql = "SELECT finding_json FROM finding WHERE id = ?1";
        Ok(read_findings(self.settled()?, sql, [id])?.pop())
    }

    /// From the beginning of the first slot to the end of the last; `None` without slots.
    pub fn span(&self) -> Result<Option<(Time, Time)>, StoreError> {
        let sql = "SELECT (SELECT min(start_utc_ms) FROM slot), start_utc_ms + span_ms
                   FROM slot ORDER BY start_utc_ms DESC LIMIT 1";
        let ends = |row: &Row<'_>| Ok((row.get(0)?, row.get(1)?));
        let span = self
            .settled()?
            .prepare_cached(sql)
            .and_then(|mut select| select.query_row([], ends).optional())
            .map_err(StoreError::at("read the span of the slots"))?;
        Ok(span.map(|(first, end)| (Time::from_unix_ms(first), Time::from_unix_ms(end))))
    }
}

/// The findings that a query gives.
pub(super) fn read_findings(
    db: &Connection,
    sql: &str,
    params: impl Params,
) -> Result<Vec<Finding>, StoreError> {
    let mut findings = Vec::new();
    each_row(db, sql, params, |row| {
        findings.push(finding(row)?);
        Ok(())
    })?;
    Ok(findings)
}

/// A finding from its column.
pub(super) fn finding(row: &Row<'_>) -> Result<Finding, StoreError> {
    let json: String = get(row, "finding_json")?;
    serde_json::from_str(&json).map_err(|_| undecodable("finding_json", json))
}

/// A reading's value from its columns.
pub(super) fn value(value: Option<f64>, quality: i64) -> Result<Value, StoreError> {
    match (value, quality) {
        (Some(value), GOOD) => Ok(Value::Good(value)),
        (Some(value), OUT_OF_RANGE) => Ok(Value::OutOfRange(value)),
        (None, MISSING) => Ok(Value::Missing),
        (Some(value), FAULTY) => Ok(Value::Faulty(Some(value))),
        (None, FAULTY_WITHOUT_NUMBER) => Ok(Value::Faulty(None)),
        (_, other) => Err(undecodable("quality", other.to_string())),
    }
}

/// Names of all tables of a file, whatever its layout.
pub(super) fn table_names(db: &Connection) -> Result<Vec<String>, StoreError> {
    let mut tables = Vec::new();
    let sql = "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'";
    each_row(db, sql, [], |row| {
        tables.push(get(row, "name")?);
        Ok(())
    })?;
    Ok(tables)
}

/// Hands every row of a query to `take`.
pub(super) fn each_row(
    db: &Connection,
    sql: &str,
    params: impl Params,
    mut take: impl FnMut(&Row<'_>) -> Result<(), StoreError>,
) -> Result<(), StoreError> {
    let at = StoreError::at("read the store");
    let mut select = db.prepare_cached(sql).map_err(&at)?;
    let mut rows = select.query(params).map_err(&at)?;
    while let Some(row) = rows.next().map_err(&at)? {
        take(row)?;
    }
    Ok(())
}

/// A column of a row by its place: of tables with millions of rows, where finding it by name costs
/// more than its value.
pub(super) fn get_at<T: FromSql>(
    row: &Row<'_>,
    (place, column): (usize, &'static str),
) -> Result<T, StoreError> {
    row.get(place)
        .map_err(|error| undecodable(column, error.to_string()))
}

/// A column by its place that holds the name of a unit variant, or NULL.
pub(super) fn named_at_if_any<T: DeserializeOwned>(
    row: &Row<'_>,
    (place, column): (usize, &'static str),
) -> Result<Option<T>, StoreError> {
    let bad = |found: String| undecodable(column, found);
    let text = row.get_ref(place).map_err(|error| bad(error.to_string()))?;
    let name = text.as_str_or_null();
    let Some(name) = name.map_err(|error| bad(error.to_string()))? else {
        return Ok(None);
    };
    let of_name: StrDeserializer<'_, serde::de::value::Error> = name.into_deserializer();
    let variant = T::deserialize(of_name);
    variant.map(Some).map_err(|_| bad(name.to_owned()))
}

/// The same without NULL.
pub(super) fn named_at<T: DeserializeOwned>(
    row: &Row<'_>,
    at: (usize, &'static str),
) -> Result<T, StoreError> {
    named_at_if_any(row, at)?.ok_or_else(|| undecodable(at.1, "NULL".to_owned()))
}

/// The same by the column's name.
pub(super) fn named<T: DeserializeOwned>(
    row: &Row<'_>,
    column: &'static str,
) -> Result<T, StoreError> {
    let place = row.as_ref().column_index(column);
    let place = place.map_err(|error| undecodable(column, error.to_string()))?;
    named_at(row, (place, column))
}

/// A column of a row.
pub(super) fn get<T: FromSql>(row: &Row<'_>, column: &'static str) -> Result<T, StoreError> {
    row.get(column)
        .map_err(|error| undecodable(column, error.to_string()))
}

pub(super) fn undecodable(column: &'static str, found: String) -> StoreError {
    StoreError::Undecodable { column, found }
}
