//! What was done to the file and when: opened, migrated, set aside, thinned, backed up; and what people
//! have said on the page: answers to findings, planned work and its early end.
//! Never in here: a clock; who calls says what time it is.

use super::query::{each_row, get};
use super::{Store, StoreError};
use analysis::reading::Time;
use rusqlite::{Connection, params};

/// One thing that was done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Audit {
    /// When; of what goes on over a while, the last time.
    pub at: Time,
    /// What: a name of [`Event`].
    pub event: String,
    /// To what: a day, a file, a version.
    pub subject: String,
    /// How many readings or values, where that is counted.
    pub count: Option<i64>,
}

/// What is done to a store.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Event {
    /// Opened for writing; the subject is the program's version.
    Opened,
    /// Brought forward; the subject says from and to which layout.
    Migrated,
    /// A damaged file got another name; the subject is that name.
    SetAside,
    /// Readings of a day were packed and aggregated; counts readings.
    Packed,
    /// The single readings of a day were let go; counts channels.
    ReadingsDropped,
    /// The minutes of a day were let go; counts channels.
    MinutesDropped,
    /// Readings of a day that came after its own had been let go, in a minute that had some; counts
    /// them.
    LateNotCounted,
    /// A packed value of a day that the disk has changed was put aside; counts values.
    DamagedValue,
    /// Copied; the subject is the copy.
    BackedUp,
    /// Somebody answered to a finding; the subject is which, what and who.
    Answered,
    /// Somebody will work on the plant; the subject is on what, and who.
    MaintenancePlanned,
    /// Work on the plant ended early or was called off; the subject is on what, and who.
    MaintenanceEnded,
}

impl Event {
    /// Its name in the file.
    pub fn name(self) -> &'static str {
        match self {
            Event::Opened => "opened",
            Event::Migrated => "migrated",
            Event::SetAside => "set_aside",
            Event::Packed => "packed",
            Event::ReadingsDropped => "readings_dropped",
            Event::MinutesDropped => "minutes_dropped",
            Event::LateNotCounted => "late_not_counted",
            Event::DamagedValue => "damaged_value",
            Event::BackedUp => "backed_up",
            Event::Answered => "answered",
            Event::MaintenancePlanned => "maintenance_planned",
            Event::MaintenanceEnded => "maintenance_ended",
        }
    }
}

impl Store {
    /// Writes down what was done.
    pub fn note(&mut self, at: Time, event: Event, subject: &str) -> Result<(), StoreError> {
        note(self.settled()?, at, event, subject)
    }

    /// Everything that was ever done, in order.
    pub fn audit(&self) -> Result<Vec<Audit>, StoreError> {
        let mut all = Vec::new();
        each_row(
            self.settled()?,
            "SELECT * FROM audit ORDER BY id",
            [],
            |row| {
                all.push(Audit {
                    at: Time::from_unix_ms(get(row, "at_utc_ms")?),
                    event: get(row, "event")?,
                    subject: get(row, "subject")?,
                    count: get(row, "count")?,
                });
                Ok(())
            },
        )?;
        Ok(all)
    }
}

pub(super) fn note(
    db: &Connection,
    at: Time,
    event: Event,
    subject: &str,
) -> Result<(), StoreError> {
    db.prepare_cached("INSERT INTO audit (at_utc_ms, event, subject) VALUES (?1, ?2, ?3)")
        .and_then(|mut insert| insert.execute(params![at.unix_ms(), event.name(), subject]))
        .map_err(StoreError::at("note what was done"))?;
    Ok(())
}

/// Adds to what was counted of the same event and subject.
pub(super) fn count(
    db: &Connection,
    at: Time,
    event: Event,
    subject: &str,
    more: usize,
) -> Result<(), StoreError> {
    if more == 0 {
        return Ok(());
    }
    db.prepare_cached(
        "INSERT INTO audit (at_utc_ms, event, subject, count) VALUES (?1, ?2, ?3, ?4)
         ON CONFLICT (event, subject) WHERE count IS NOT NULL
         DO UPDATE SET at_utc_ms = excluded.at_utc_ms, count = count + excluded.count",
    )
    .and_then(|mut insert| {
        insert.execute(params![at.unix_ms(), event.name(), subject, more as i64])
    })
    .map_err(StoreError::at("note what was done"))?;
    Ok(())
}
