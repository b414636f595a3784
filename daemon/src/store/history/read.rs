//! Reading history back, wherever it is kept by now.

use super::cells::{Cell, HOUR, MINUTE, Role, hours, minutes};
use super::column::Unreadable;
use super::day::{self, day_of, ends};
use super::packed_cells;
use crate::store::commit::channel_number;
use crate::store::query::{each_row, get, undecodable, value};
use crate::store::{Store, StoreError};
use analysis::reading::{Channel, ChannelId, Reading, Span, Time};
use rusqlite::{Connection, OptionalExtension};
use std::collections::BTreeSet;

impl Store {
    /// The single readings of a channel in `[from, to)`, in order; none of days of which only
    /// minutes or hours are left.
    pub fn readings(
        &self,
        channel: ChannelId,
        from: Time,
        to: Time,
    ) -> Result<Vec<Reading>, StoreError> {
        let Some(number) = channel_number(&self.numbers.channels, channel)? else {
            return Ok(Vec::new());
        };
        // One view: packing moves readings from one table to another.
        let view = self.view()?;
        let mut packed = Vec::new();
        let sql = "SELECT readings FROM reading_day
                   WHERE channel = ?1 AND day BETWEEN ?2 AND ?3 ORDER BY day";
        let last = before(to);
        each_row(&view, sql, (number, day_of(from), day_of(last)), |row| {
            let bytes: Vec<u8> = get(row, "readings")?;
            packed.extend(day::unpack(channel, &bytes).map_err(readings_unreadable)?);
            Ok(())
        })?;
        packed.retain(|reading| from <= reading.at && reading.at <= last);
        let rows = row_readings(&view, number, channel, from, last)?;
        Ok(if packed.is_empty() {
            rows
        } else {
            day::merge(packed, rows)
        })
    }

    /// The minutes of a channel that begin in `[from, to)`, in order; none where the channel has no
    /// reading, good or not, nor where only hours are left.
    pub fn minutes(
        &self,
        channel: ChannelId,
        from: Time,
        to: Time,
    ) -> Result<Vec<Cell>, StoreError> {
        self.cells(channel, from, to, MINUTE)
    }

    /// The hours of a channel that begin in `[from, to)`, in order, as far back as there are any.
    pub fn hours(&self, channel: ChannelId, from: Time, to: Time) -> Result<Vec<Cell>, StoreError> {
        self.cells(channel, from, to, HOUR)
    }

    fn cells(
        &self,
        channel: ChannelId,
        from: Time,
        to: Time,
        span: Span,
    ) -> Result<Vec<Cell>, StoreError> {
        let Some(number) = channel_number(&self.numbers.channels, channel)? else {
            return Ok(Vec::new());
        };
        let view = self.view()?;
        let mut cells = Vec::new();
        let mut packed_days = BTreeSet::new();
        let sql = format!(
            "SELECT day, cells FROM {} WHERE channel = ?1 AND day BETWEEN ?2 AND ?3 ORDER BY day",
            table_of(span)
        );
        let (first_day, last_day) = (day_of(from), day_of(before(to)));
        each_row(&view, &sql, (number, first_day, last_day), |row| {
            let bytes: Vec<u8> = get(row, "cells")?;
            cells.extend(packed_cells::unpack(&bytes, span).map_err(cells_unreadable)?);
            packed_days.insert(get::<i64>(row, "day")?);
            Ok(())
        })?;
        // Whole days, so that the first and last cell are whole.
        let (first, last) = (ends(first_day).0, ends(last_day).1);
        let mut rows = row_readings(&view, number, channel, first, last)?;
        rows.retain(|reading| !packed_days.contains(&day_of(reading.at)));
        let role = Role::of(self.layout.channels.channel(channel).quantity);
        let fresh = minutes(&rows, role);
        cells.extend(if span == HOUR { hours(&fresh) } else { fresh });
        cells.retain(|cell| from <= cell.start && cell.start < to);
        cells.sort_by_key(|cell| cell.start);
        Ok(cells)
    }

    fn view(&self) -> Result<rusqlite::Transaction<'_>, StoreError> {
        let view = self.settled()?.unchecked_transaction();
        view.map_err(StoreError::at("read the store"))
    }
}

/// The last instant of a range that ends before `to`.
fn before(to: Time) -> Time {
    Time::from_unix_ms(to.unix_ms().saturating_sub(1))
}

/// The rows of a channel from `first` to `last`, both of them part of it.
pub(super) fn row_readings(
    db: &Connection,
    number: i64,
    channel: ChannelId,
    first: Time,
    last: Time,
) -> Result<Vec<Reading>, StoreError> {
    let mut readings = Vec::new();
    let sql = "SELECT at_utc_ms, value, quality FROM reading
               WHERE channel = ?1 AND at_utc_ms BETWEEN ?2 AND ?3 ORDER BY at_utc_ms";
    each_row(db, sql, (number, first.unix_ms(), last.unix_ms()), |row| {
        readings.push(Reading {
            channel,
            at: Time::from_unix_ms(row.get_unwrap(0)),
            value: value(row.get_unwrap(1), row.get_unwrap(2))?,
        });
        Ok(())
    })?;
    Ok(readings)
}

/// The packed readings of a channel and day, if there are any.
pub(in crate::store) fn day_of_readings(
    db: &Connection,
    number: i64,
    day: i64,
) -> Result<Option<Vec<Reading>>, StoreError> {
    let sql = "SELECT readings FROM reading_day WHERE day = ?1 AND channel = ?2";
    let Some(bytes) = bytes(db, sql, day, number)? else {
        return Ok(None);
    };
    let readings = day::unpack(ChannelId(0), &bytes).map_err(readings_unreadable)?;
    Ok(Some(readings))
}

/// The packed minutes or hours of a channel and day, if there are any.
pub(in crate::store) fn day_of_cells(
    db: &Connection,
    number: i64,
    day: i64,
    span: Span,
) -> Result<Option<Vec<Cell>>, StoreError> {
    let table = table_of(span);
    let sql = format!("SELECT cells FROM {table} WHERE day = ?1 AND channel = ?2");
    let Some(bytes) = bytes(db, &sql, day, number)? else {
        return Ok(None);
    };
    let cells = packed_cells::unpack(&bytes, span).map_err(cells_unreadable)?;
    Ok(Some(cells))
}

pub(super) fn table_of(span: Span) -> &'static str {
    if span == HOUR {
        "hour_day"
    } else {
        "minute_day"
    }
}

fn bytes(db: &Connection, sql: &str, day: i64, number: i64) -> Result<Option<Vec<u8>>, StoreError> {
    db.prepare_cached(sql)
        .and_then(|mut select| select.query_row([day, number], |row| row.get(0)).optional())
        .map_err(StoreError::at("read the store"))
}

/// How the channel of an address is aggregated. One that this program does not know any more is
/// taken as measured.
pub(in crate::store) fn role_of(address: &str) -> Role {
    let channel: Option<Channel> = address.parse().ok();
    channel.map_or(Role::Measured, |channel| Role::of(channel.quantity))
}

fn readings_unreadable(Unreadable(found): Unreadable) -> StoreError {
    undecodable("reading_day.readings", found)
}

fn cells_unreadable(Unreadable(found): Unreadable) -> StoreError {
    undecodable("the cells of a day", found)
}
