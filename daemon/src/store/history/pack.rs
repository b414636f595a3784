//! One channel and day of single rows packed into one value, with its minutes and hours.
//!
//! The caller's transaction holds all of it: rows are only taken out beside what was made of them.

use super::cells::{Cell, HOUR, MINUTE, Role, hours, minutes};
use super::day::{DAY_MS, ends, merge, pack};
use super::packed_cells;
use super::read::{day_of_cells, day_of_readings, row_readings, table_of};
use crate::store::StoreError;
use crate::store::audit::{Event, count};
use analysis::reading::{ChannelId, Reading, Span, Time};
use chrono::DateTime;
use rusqlite::{Connection, params};

/// Where the rows to be packed lie.
pub(super) struct ChannelDay<'a> {
    pub number: i64,
    pub role: Role,
    pub day: i64,
    pub db: &'a Connection,
    pub now: Time,
}

impl ChannelDay<'_> {
    /// Packs the day's rows; says how many there were. `keeps_readings`: whether single readings of
    /// that day are still wanted.
    pub fn pack(&self, keeps_readings: bool) -> Result<usize, StoreError> {
        let (first, last) = ends(self.day);
        let rows = row_readings(self.db, self.number, ChannelId(0), first, last)?;
        let packed = rows.len();
        let (db, number, day) = (self.db, self.number, self.day);
        let old = self.sound("reading_day", day_of_readings(db, number, day))?;
        match old {
            Some(old) => self.keep(&merge(old, rows))?,
            // Beside cells that were made of more, these rows are not all of the day.
            None if keeps_readings && !self.has_cells()? => self.keep(&rows)?,
            None => self.aggregate(rows)?,
        }
        self.take_out_rows(first, last)?;
        count(db, self.now, Event::Packed, &date(day), packed)?;
        Ok(packed)
    }

    fn has_cells(&self) -> Result<bool, StoreError> {
        let sql = "SELECT EXISTS (SELECT 1 FROM minute_day WHERE day = ?1 AND channel = ?2)
                       OR EXISTS (SELECT 1 FROM hour_day WHERE day = ?1 AND channel = ?2)";
        self.db
            .prepare_cached(sql)
            .and_then(|mut select| select.query_row([self.day, self.number], |row| row.get(0)))
            .map_err(StoreError::at("pack readings"))
    }

    /// Every reading of the day is known.
    fn keep(&self, readings: &[Reading]) -> Result<(), StoreError> {
        self.write("reading_day", "readings", &pack(readings))?;
        self.write_cells(&minutes(readings, self.role))
    }

    /// Single readings of the day are not kept any more: what came before stays as it is, and a new
    /// one counts where there was none.
    fn aggregate(&self, rows: Vec<Reading>) -> Result<(), StoreError> {
        let (db, number, day) = (self.db, self.number, self.day);
        let fresh = minutes(&rows, self.role);
        let old_minutes = self.sound("minute_day", day_of_cells(db, number, day, MINUTE))?;
        if let Some(old) = old_minutes {
            return self.write_cells(&self.joined(old, fresh)?);
        }
        let old_hours = self.sound("hour_day", day_of_cells(db, number, day, HOUR))?;
        match old_hours {
            None => self.write_cells(&fresh),
            Some(old) => {
                let joined = self.joined(old, hours(&fresh))?;
                self.write("hour_day", "cells", &packed_cells::pack(&joined, HOUR))
            }
        }
    }

    fn joined(&self, mut cells: Vec<Cell>, fresh: Vec<Cell>) -> Result<Vec<Cell>, StoreError> {
        let mut late = 0;
        for cell in fresh {
            match cells.binary_search_by_key(&cell.start, |old| old.start) {
                Ok(_) => late += cell.readings() as usize,
                Err(place) => cells.insert(place, cell),
            }
        }
        count(
            self.db,
            self.now,
            Event::LateNotCounted,
            &date(self.day),
            late,
        )?;
        Ok(cells)
    }

    fn write_cells(&self, minutes: &[Cell]) -> Result<(), StoreError> {
        let cells = [(MINUTE, minutes.to_vec()), (HOUR, hours(minutes))];
        let write = |(span, cells): &(Span, Vec<Cell>)| {
            self.write(table_of(*span), "cells", &packed_cells::pack(cells, *span))
        };
        cells.iter().try_for_each(write)
    }

    fn write(&self, table: &str, column: &str, bytes: &[u8]) -> Result<(), StoreError> {
        let sql =
            format!("INSERT OR REPLACE INTO {table} (day, channel, {column}) VALUES (?1, ?2, ?3)");
        self.db
            .prepare_cached(&sql)
            .and_then(|mut insert| insert.execute(params![self.day, self.number, bytes]))
            .map_err(StoreError::at("pack readings"))?;
        Ok(())
    }

    fn take_out_rows(&self, first: Time, last: Time) -> Result<(), StoreError> {
        let sql = "DELETE FROM reading WHERE channel = ?1 AND at_utc_ms BETWEEN ?2 AND ?3";
        self.db
            .prepare_cached(sql)
            .and_then(|mut delete| delete.execute([self.number, first.unix_ms(), last.unix_ms()]))
            .map_err(StoreError::at("pack readings"))?;
        Ok(())
    }

    /// What was read, or none where the disk has changed it: then its bytes are put aside, and the
    /// rows are not held up for ever.
    fn sound<T>(
        &self,
        table: &'static str,
        read: Result<Option<T>, StoreError>,
    ) -> Result<Option<T>, StoreError> {
        let Err(StoreError::Undecodable { .. }) = read else {
            return read;
        };
        let column = if table == "reading_day" {
            "readings"
        } else {
            "cells"
        };
        let aside = format!(
            "INSERT INTO damaged_value SELECT ?3, day, channel, '{table}', {column} FROM {table}
             WHERE day = ?1 AND channel = ?2"
        );
        self.db
            .execute(&aside, [self.day, self.number, self.now.unix_ms()])
            .and_then(|_| {
                let delete = format!("DELETE FROM {table} WHERE day = ?1 AND channel = ?2");
                self.db.execute(&delete, [self.day, self.number])
            })
            .map_err(StoreError::at("put a damaged value aside"))?;
        count(self.db, self.now, Event::DamagedValue, &date(self.day), 1)?;
        Ok(None)
    }
}

/// The day, counted from 1970-01-01, as people write it; of one that no calendar has, the number.
pub fn date(day: i64) -> String {
    let date = DateTime::from_timestamp_millis(day.saturating_mul(DAY_MS));
    date.map_or_else(|| day.to_string(), |date| date.date_naive().to_string())
}
