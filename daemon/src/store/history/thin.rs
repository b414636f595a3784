//! What is due of packing and letting go, in small bounded steps.
//!
//! Each step is one transaction: readings are only taken out beside what was made of them, minutes
//! only where there are hours. A step that is stopped anywhere has done nothing.

use super::day::day_of;
use super::pack::{ChannelDay, date};
use super::read::role_of;
use crate::store::audit::{Event, count};
use crate::store::query::{each_row, get};
use crate::store::{Store, StoreError};
use analysis::reading::Time;
use rusqlite::{Connection, TransactionBehavior};

pub use config::checked::Keep;

/// A day's readings are packed when the day after it is over: nearly all that is late has come.
const WHOLE_DAYS_AS_ROWS: i64 = 2;
/// Values of a day that one step lets go.
const MOST_VALUES: i64 = 64;
/// Pages that one step gives back to the disk, and how many must be free before it does: a day's
/// coming and going is used again and not worth moving pages for.
const PAGES_PER_STEP: i64 = 256;
const FREE_PAGES_KEPT: i64 = 4096;
/// The same as a share of the file.
const FREE_SHARE_KEPT: i64 = 4; // a quarter

/// What one step has done.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Thinned {
    /// Readings that were packed.
    pub readings: usize,
    /// Values of days of which the single readings were let go.
    pub readings_dropped: usize,
    /// Values of days of which the minutes were let go.
    pub minutes_dropped: usize,
    /// Pages that were given back to the disk.
    pub pages_freed: usize,
    /// The latest day that was worked on, by its number since 1970.
    pub day: Option<i64>,
}

impl Thinned {
    /// Whether there was nothing to do.
    pub fn is_nothing(&self) -> bool {
        *self == Self::default()
    }
}

impl Store {
    /// Does a step of what is due at `now`, and of nothing else if nothing is. It packs whole
    /// channels and days until it has packed `most_readings`.
    ///
    /// # Errors
    /// If the store refuses; it holds what it held before.
    pub fn thin(
        &mut self,
        now: Time,
        keep: Keep,
        most_readings: usize,
    ) -> Result<Thinned, StoreError> {
        let doing = "thin old readings";
        self.settled()?;
        let change = self
            .db
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(StoreError::at(doing))?;
        let mut done = pack_due(&change, now, keep, most_readings)?;
        if done.is_nothing() {
            done = let_go(&change, now, keep)?;
        }
        if done.is_nothing() {
            drop(change);
            return Ok(Thinned {
                pages_freed: give_back(&self.db)?,
                ..done
            });
        }
        change.commit().map_err(StoreError::at(doing))?;
        Ok(done)
    }
}

fn pack_due(
    db: &Connection,
    now: Time,
    keep: Keep,
    most_readings: usize,
) -> Result<Thinned, StoreError> {
    let before = day_of(now) - WHOLE_DAYS_AS_ROWS;
    let readings_from = day_of(now - keep.readings);
    let mut done = Thinned::default();
    for (day, number, address) in due(db, before)? {
        if done.readings >= most_readings {
            break;
        }
        let of_day = ChannelDay {
            number,
            role: role_of(&address),
            day,
            db,
            now,
        };
        done.readings += of_day.pack(day >= readings_from)?;
        done.day = done.day.max(Some(day));
    }
    Ok(done)
}

/// The oldest day of every channel that has rows of a day up to `last`, the oldest first.
fn due(db: &Connection, last: i64) -> Result<Vec<(i64, i64, String)>, StoreError> {
    let mut due = Vec::new();
    // The inner query is one look into the key for each channel.
    let sql = "SELECT id, address, (SELECT min(at_utc_ms) FROM reading WHERE channel = id) AS first
               FROM channel";
    each_row(db, sql, [], |row| {
        if let Some(first) = get::<Option<i64>>(row, "first")? {
            let day = day_of(Time::from_unix_ms(first));
            if day <= last {
                due.push((day, get(row, "id")?, get(row, "address")?));
            }
        }
        Ok(())
    })?;
    due.sort();
    Ok(due)
}

fn let_go(db: &Connection, now: Time, keep: Keep) -> Result<Thinned, StoreError> {
    let readings = oldest_gone(db, ("reading_day", "minute_day"), now - keep.readings)?;
    if let Some((day, values)) = readings {
        count(db, now, Event::ReadingsDropped, &date(day), values)?;
        return Ok(Thinned {
            readings_dropped: values,
            day: Some(day),
            ..Thinned::default()
        });
    }
    let minutes = oldest_gone(db, ("minute_day", "hour_day"), now - keep.minutes)?;
    let Some((day, values)) = minutes else {
        return Ok(Thinned::default());
    };
    count(db, now, Event::MinutesDropped, &date(day), values)?;
    Ok(Thinned {
        minutes_dropped: values,
        day: Some(day),
        ..Thinned::default()
    })
}

/// Takes values of the oldest day before `from` out of a table, where the coarser one has its own.
fn oldest_gone(
    db: &Connection,
    (table, coarser): (&str, &str),
    from: Time,
) -> Result<Option<(i64, usize)>, StoreError> {
    let kept = format!(
        "day < ?1 AND EXISTS (SELECT 1 FROM {coarser} c
                              WHERE c.day = {table}.day AND c.channel = {table}.channel)"
    );
    let mut oldest = None;
    let sql = format!("SELECT day FROM {table} WHERE {kept} ORDER BY day LIMIT 1");
    each_row(db, &sql, [day_of(from)], |row| {
        oldest = Some(get::<i64>(row, "day")?);
        Ok(())
    })?;
    let Some(day) = oldest else {
        return Ok(None);
    };
    let sql = format!(
        "DELETE FROM {table} WHERE rowid IN
             (SELECT rowid FROM {table} WHERE {kept} AND day = ?2 LIMIT {MOST_VALUES})"
    );
    let gone = db
        .prepare_cached(&sql)
        .and_then(|mut delete| delete.execute([day_of(from), day]))
        .map_err(StoreError::at("let old values go"))?;
    Ok(Some((day, gone)))
}

/// Gives free pages back to the disk where there are many. Files from before this was prepared keep
/// theirs and use them again.
fn give_back(db: &Connection) -> Result<usize, StoreError> {
    let doing = "give free pages back";
    let number = |pragma: &str| {
        db.query_row(pragma, [], |row| row.get::<_, i64>(0))
            .map_err(StoreError::at(doing))
    };
    let free = || number("PRAGMA freelist_count");
    let before = free()?;
    let enough = FREE_PAGES_KEPT.max(number("PRAGMA page_count")? / FREE_SHARE_KEPT);
    if before <= enough || number("PRAGMA auto_vacuum")? != INCREMENTAL {
        return Ok(0);
    }
    // Each row is a page given back; the statement only goes on as it is read.
    let mut vacuum = db
        .prepare(&format!("PRAGMA incremental_vacuum({PAGES_PER_STEP})"))
        .map_err(StoreError::at(doing))?;
    let mut rows = vacuum.query([]).map_err(StoreError::at(doing))?;
    while rows.next().map_err(StoreError::at(doing))?.is_some() {}
    Ok((before - free()?).max(0) as usize)
}

/// As SQLite numbers its modes of `auto_vacuum`.
pub(in crate::store) const INCREMENTAL: i64 = 2;
