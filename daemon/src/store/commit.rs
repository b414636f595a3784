//! Writing what one step of the engine made: all of it, or nothing.

use super::learned::{forget, write_learned};
use super::mornings::write_morning;
use super::news::{self, Turn};
use super::slot_rows::write_slot;
use super::{EngineState, Store, StoreError};
use analysis::detect::{Morning, Slot};
use analysis::diagnose::{Finding, FindingId};
use analysis::expected::{Learned, LearnedOf};
use analysis::reading::{ChannelId, Reading, Time, Value};
use rusqlite::{Connection, TransactionBehavior, params};

/// What one step of the engine made.
#[derive(Debug, Clone, Copy)]
pub struct Step<'a> {
    /// Up to when the step looked.
    pub at: Time,
    /// Readings that came in. Of a repeated channel and time the better one stays, as the analysis
    /// takes it: good before out of range before missing before faulty, then the larger.
    pub readings: &'a [Reading],
    /// Slots that were closed. One that begins at the same time replaces an earlier one.
    pub slots: &'a [Slot],
    /// Findings that are new or have changed. The same id replaces.
    pub findings: &'a [Finding],
    /// Those of them that have not ended by themselves: nobody watches them any more.
    pub unwatched: &'a [FindingId],
    /// What of it that was learned in earlier steps does not hold any more.
    pub forgotten: &'a [LearnedOf],
    /// What was learned of planes and inputs.
    pub learned: &'a [Learned],
    /// Mornings of insulation that are over, by inverter.
    pub mornings: &'a [(usize, Morning)],
    /// Where the engine stands now.
    pub engine_state: &'a EngineState,
}

impl<'a> Step<'a> {
    /// A step that made nothing.
    pub fn nothing(engine_state: &'a EngineState) -> Self {
        Self {
            at: Time::from_unix_ms(0),
            readings: &[],
            slots: &[],
            findings: &[],
            unwatched: &[],
            forgotten: &[],
            learned: &[],
            mornings: &[],
            engine_state,
        }
    }
}

impl Store {
    /// Writes a step. After an error the store holds what it held before.
    pub fn commit(&mut self, step: &Step<'_>) -> Result<(), StoreError> {
        let doing = "write a step";
        self.settled()?;
        let Store {
            db,
            layout,
            numbers,
            ..
        } = self;
        let change = db
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(StoreError::at(doing))?;
        write_readings(&change, &numbers.channels, step.readings)?;
        for slot in step.slots {
            write_slot(&change, layout, numbers, slot)?;
        }
        for finding in step.findings {
            let new = news::new_of(&change, finding)?;
            write_finding(&change, finding)?;
            for what in new {
                let what = match what {
                    Turn::Ended if step.unwatched.contains(&finding.id) => Turn::Unwatched,
                    other => *other,
                };
                news::write(&change, &finding.id, what, step.at)?;
            }
        }
        for of in step.forgotten {
            forget(&change, layout, of)?;
        }
        for learned in step.learned {
            write_learned(&change, layout, learned)?;
        }
        for morning in step.mornings {
            write_morning(&change, layout, morning)?;
        }
        write_engine_state(&change, step.engine_state)?;
        change.commit().map_err(StoreError::at(doing))
    }
}

pub(super) const GOOD: i64 = 0;
pub(super) const OUT_OF_RANGE: i64 = 1;
pub(super) const MISSING: i64 = 2;
pub(super) const FAULTY: i64 = 3;
pub(super) const FAULTY_WITHOUT_NUMBER: i64 = 4;

/// Quality and number, as they are stored.
pub(super) fn parts(value: Value) -> (i64, Option<f64>) {
    match value {
        Value::Good(value) => (GOOD, Some(value)),
        Value::OutOfRange(value) => (OUT_OF_RANGE, Some(value)),
        Value::Missing => (MISSING, None),
        Value::Faulty(Some(value)) => (FAULTY, Some(value)),
        Value::Faulty(None) => (FAULTY_WITHOUT_NUMBER, None),
    }
}

/// The file's number of a channel of this plant.
pub(super) fn channel_number(
    numbers: &[Option<i64>],
    channel: ChannelId,
) -> Result<Option<i64>, StoreError> {
    let number = numbers.get(usize::from(channel.0)).copied();
    number.ok_or(StoreError::UnknownChannel {
        channel,
        known: numbers.len(),
    })
}

/// The number itself, unless it is NaN or infinite: SQLite would turn NaN into NULL unasked.
pub(super) fn finite(what: impl FnOnce() -> String, number: f64) -> Result<f64, StoreError> {
    if number.is_finite() {
        Ok(number)
    } else {
        Err(StoreError::NotFinite {
            what: what(),
            found: number,
        })
    }
}

/// The same of a number that may be missing.
pub(super) fn finite_if_any(
    what: impl FnOnce() -> String,
    number: Option<f64>,
) -> Result<Option<f64>, StoreError> {
    number.map(|number| finite(what, number)).transpose()
}

fn write_readings(
    db: &Connection,
    numbers: &[Option<i64>],
    readings: &[Reading],
) -> Result<(), StoreError> {
    let doing = StoreError::at("write a reading");
    // In the order of the table's key: neighbours are written to the same page.
    let mut sorted: Vec<&Reading> = readings.iter().collect();
    sorted.sort_by_key(|reading| (reading.channel, reading.at));
    let mut insert = db
        .prepare_cached(
            "INSERT INTO reading (channel, at_utc_ms, value, quality) VALUES (?1, ?2, ?3, ?4)
             ON CONFLICT (channel, at_utc_ms) DO UPDATE
             SET value = excluded.value, quality = excluded.quality
             WHERE excluded.quality < reading.quality
                OR (excluded.quality = reading.quality AND excluded.value > reading.value)",
        )
        .map_err(&doing)?;
    for reading in sorted {
        let channel = channel_number(numbers, reading.channel)?;
        let (quality, value) = parts(reading.value);
        let what = || format!("a reading of channel {}", reading.channel.0);
        let value = finite_if_any(what, value)?;
        insert
            .execute(params![channel, reading.at.unix_ms(), value, quality])
            .map_err(&doing)?;
    }
    Ok(())
}

fn write_finding(db: &Connection, finding: &Finding) -> Result<(), StoreError> {
    refuse_not_finite(finding)?;
    let encode = |source| StoreError::Encode {
        id: finding.id.to_string(),
        source,
    };
    let json = serde_json::to_string(finding).map_err(encode)?;
    db.prepare_cached(
        "INSERT INTO finding (id, device, input, string, kind, severity,
             began_utc_ms, found_utc_ms, ended_utc_ms, finding_json)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)
         ON CONFLICT (id) DO UPDATE SET severity = excluded.severity,
             found_utc_ms = excluded.found_utc_ms, ended_utc_ms = excluded.ended_utc_ms,
             finding_json = excluded.finding_json",
    )
    .and_then(|mut insert| {
        insert.execute(params![
            finding.id.as_str(),
            finding.subject.device.as_str(),
            finding.subject.input,
            finding.subject.string,
            finding.kind.name(),
            name_of(finding.severity),
            finding.began.unix_ms(),
            finding.found.unix_ms(),
            finding.ended.map(|ended| ended.unix_ms()),
            json,
        ])
    })
    .map_err(StoreError::at("write a finding"))?;
    Ok(())
}

/// JSON has no NaN: it would be written as `null` and the finding never read again.
fn refuse_not_finite(finding: &Finding) -> Result<(), StoreError> {
    for (name, number) in finding.numbers() {
        finite(|| format!("{name} of finding {}", finding.id), number)?;
    }
    Ok(())
}

fn write_engine_state(db: &Connection, state: &EngineState) -> Result<(), StoreError> {
    db.prepare_cached(
        "INSERT OR REPLACE INTO engine_state (id, version, state) VALUES (1, ?1, ?2)",
    )
    .and_then(|mut insert| insert.execute(params![state.version, state.bytes]))
    .map_err(StoreError::at("write the engine's state"))?;
    Ok(())
}

/// The name that a unit variant has in files.
pub(super) fn name_of(variant: impl serde::Serialize) -> String {
    match serde_json::to_value(variant) {
        Ok(serde_json::Value::String(name)) => name,
        other => unreachable!("only unit variants are asked for their name, got {other:?}"),
    }
}
