//! Whether a store is sound: SQLite's own check, and what must hold between its tables.
//! Reads only, also beside the process that writes.

use super::backup::Progress;
use super::history::{self, HOUR, MINUTE};
use super::open::connect;
use super::query::{each_row, get, table_names};
use super::schema::{Origin, origin};
use super::{Store, StoreError};
use analysis::diagnose::Finding;
use rusqlite::{Connection, OpenFlags};
use std::path::Path;
use std::time::Duration;

/// More than a person reads.
const MOST_PROBLEMS: usize = 100;
/// The writer's longest step takes less.
const BUSY: Duration = Duration::from_secs(30);

/// What was looked at and what is wrong.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Verified {
    /// What is wrong, at most a hundred of it.
    pub problems: Vec<String>,
    /// Slots.
    pub slots: u64,
    /// Findings.
    pub findings: u64,
    /// Channels and days with single readings, each compared with its minutes and hours.
    pub days_of_readings: u64,
    /// Channels and days with minutes, each compared with its hours.
    pub days_of_minutes: u64,
    /// Channels and days with hours.
    pub days_of_hours: u64,
}

impl Verified {
    fn wrong(&mut self, what: String) {
        if self.problems.len() < MOST_PROBLEMS {
            self.problems.push(what);
        }
    }
}

/// Checks the whole file. A file of an older layout has SQLite's own check alone.
///
/// # Errors
/// If it cannot be read at all, or is none of ours.
pub fn verify(path: &Path, progress: &mut dyn FnMut(Progress)) -> Result<Verified, StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let db = connect(path, flags)?;
    db.busy_timeout(BUSY)
        .map_err(StoreError::at("check the store"))?;
    let version = match origin(&db)? {
        Origin::Empty => {
            return Err(StoreError::Empty {
                path: path.to_owned(),
            });
        }
        Origin::Ours(version) => version,
    };
    super::schema::refuse_newer(version, super::schema::MIGRATIONS)?;
    // One moment for all of it.
    db.execute_batch("BEGIN; SELECT count(*) FROM sqlite_schema;")
        .map_err(StoreError::at("check the store"))?;
    let mut verified = Verified::default();
    let looked = look(&db, version, &mut verified, progress);
    match looked {
        // Broken pages may stop the looking itself.
        Err(StoreError::Corrupt { detail, .. }) => verified.wrong(detail),
        other => other?,
    }
    Ok(verified)
}

fn look(
    db: &Connection,
    version: i64,
    verified: &mut Verified,
    progress: &mut dyn FnMut(Progress),
) -> Result<(), StoreError> {
    pages(db, verified, progress)?;
    // In a file with broken pages the rest would only repeat it.
    if version == Store::LAYOUT_VERSION && verified.problems.is_empty() {
        slots(db, verified)?;
        findings(db, verified)?;
        days(db, verified, progress)?;
    }
    Ok(())
}

/// Table by table, so that there is something to say on the way.
fn pages(
    db: &Connection,
    verified: &mut Verified,
    progress: &mut dyn FnMut(Progress),
) -> Result<(), StoreError> {
    let tables = table_names(db)?;
    for (done, table) in tables.iter().enumerate() {
        progress(Progress {
            doing: "checking tables",
            done: done as u64,
            all: tables.len() as u64,
        });
        lines(db, &format!("PRAGMA integrity_check({table})"), verified)?;
    }
    each_row(db, "PRAGMA foreign_key_check", [], |row| {
        let (table, parent): (String, String) = (get(row, "table")?, get(row, "parent")?);
        verified.wrong(format!("{table}: a row without its {parent}"));
        Ok(())
    })
}

fn lines(db: &Connection, pragma: &str, verified: &mut Verified) -> Result<(), StoreError> {
    each_row(db, pragma, [], |row| {
        let line: String = get(row, "integrity_check")?;
        if line != "ok" {
            verified.wrong(line);
        }
        Ok(())
    })
}

/// Each beginning once (the key sees to that), each instant in one slot at most, and parts only of
/// slots that are there.
fn slots(db: &Connection, verified: &mut Verified) -> Result<(), StoreError> {
    let mut before: Option<(i64, i64)> = None;
    each_row(
        db,
        "SELECT start_utc_ms, span_ms FROM slot ORDER BY start_utc_ms",
        [],
        |row| {
            let (start, span): (i64, i64) = (get(row, "start_utc_ms")?, get(row, "span_ms")?);
            verified.slots += 1;
            if let Some((earlier, end)) = before
                && end > start
            {
                verified.wrong(format!(
                    "slots that begin at {earlier} and {start} ms overlap"
                ));
            }
            before = Some((start, start.saturating_add(span)));
            Ok(())
        },
    )
}

fn findings(db: &Connection, verified: &mut Verified) -> Result<(), StoreError> {
    each_row(db, "SELECT id, finding_json FROM finding", [], |row| {
        let (id, json): (String, String) = (get(row, "id")?, get(row, "finding_json")?);
        verified.findings += 1;
        match serde_json::from_str::<Finding>(&json) {
            Ok(finding) if finding.id.as_str() == id => {}
            Ok(finding) => verified.wrong(format!("finding {id} calls itself {}", finding.id)),
            Err(error) => verified.wrong(format!("finding {id} cannot be read: {error}")),
        }
        Ok(())
    })
}

/// Readings against their minutes, minutes against their hours.
fn days(
    db: &Connection,
    verified: &mut Verified,
    progress: &mut dyn FnMut(Progress),
) -> Result<(), StoreError> {
    let mut all = Vec::new();
    let sql = "SELECT day, channel, address FROM
                   (SELECT day, channel FROM reading_day UNION SELECT day, channel FROM minute_day
                    UNION SELECT day, channel FROM hour_day)
               JOIN channel ON channel.id = channel ORDER BY day, channel";
    each_row(db, sql, [], |row| {
        all.push((
            get::<i64>(row, "day")?,
            get::<i64>(row, "channel")?,
            get::<String>(row, "address")?,
        ));
        Ok(())
    })?;
    for (done, (day, channel, address)) in all.iter().enumerate() {
        if done % 256 == 0 {
            progress(Progress {
                doing: "checking days",
                done: done as u64,
                all: all.len() as u64,
            });
        }
        match channel_day(db, *day, *channel, address, verified) {
            Ok(None) => {}
            Ok(Some(wrong)) => {
                verified.wrong(format!("{address} on {}: {wrong}", history::date(*day)));
            }
            Err(error @ StoreError::Undecodable { .. }) => {
                verified.wrong(format!("{address} on {}: {error}", history::date(*day)));
            }
            Err(error) => return Err(error),
        }
    }
    Ok(())
}

fn channel_day(
    db: &Connection,
    day: i64,
    channel: i64,
    address: &str,
    verified: &mut Verified,
) -> Result<Option<&'static str>, StoreError> {
    let readings = history::day_of_readings(db, channel, day)?;
    let minutes = history::day_of_cells(db, channel, day, MINUTE)?;
    let hours = history::day_of_cells(db, channel, day, HOUR)?;
    verified.days_of_readings += u64::from(readings.is_some());
    verified.days_of_minutes += u64::from(minutes.is_some());
    verified.days_of_hours += u64::from(hours.is_some());
    if let Some(readings) = &readings {
        let made = history::minutes(readings, history::role_of(address));
        if minutes.as_ref() != Some(&made) {
            return Ok(Some("its minutes are not those of its readings"));
        }
    }
    if let Some(minutes) = &minutes
        && hours.as_ref() != Some(&history::hours(minutes))
    {
        return Ok(Some("its hours are not those of its minutes"));
    }
    Ok(None)
}
