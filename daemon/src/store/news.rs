//! What is new of findings: written with them, in the same transaction.
//! Never in here: who is told of it.

use super::query::{each_row, finding, get, named, read_findings};
use super::{Store, StoreError};
use analysis::detect::Severity;
use analysis::diagnose::{Finding, FindingId};
use analysis::reading::Time;
use rusqlite::{Connection, Params, Row, params};
use serde::{Deserialize, Serialize};

/// Something new of a finding.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct News {
    /// Rises from one to the next.
    pub id: i64,
    /// When it was stored.
    pub at: Time,
    /// Of which finding.
    pub finding: FindingId,
    /// What.
    pub what: Turn,
}

/// What can be new of a finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Turn {
    /// It is new, or stands again.
    Found,
    /// It is more urgent than it was.
    Worse,
    /// Nobody has said that he has seen it.
    Unanswered,
    /// Its evidence has ended.
    Ended,
    /// The analysis has begun afresh and does not know it any more: it is looked for anew.
    Unwatched,
}

impl Turn {
    /// Its name in the file.
    pub fn name(self) -> &'static str {
        match self {
            Turn::Found => "found",
            Turn::Worse => "worse",
            Turn::Unanswered => "unanswered",
            Turn::Ended => "ended",
            Turn::Unwatched => "unwatched",
        }
    }
}

/// The findings that stand, or of which something was new from a time (?1) on.
pub(super) const IN_QUESTION: &str = "SELECT id FROM finding WHERE ended_utc_ms IS NULL
     UNION SELECT finding FROM news WHERE at_utc_ms >= ?1";

impl Store {
    /// All that was ever new, in order, of the findings that stand or of which something was new from a
    /// time on.
    pub fn news_in_question(&self, from: Time) -> Result<Vec<News>, StoreError> {
        let mut all = Vec::new();
        let sql = format!("SELECT * FROM news WHERE finding IN ({IN_QUESTION}) ORDER BY id");
        each_row(self.settled()?, &sql, [from.unix_ms()], |row| {
            all.push(read_one(row)?);
            Ok(())
        })?;
        Ok(all)
    }

    /// These findings.
    pub fn findings_in_question(&self, from: Time) -> Result<Vec<Finding>, StoreError> {
        let sql = format!(
            "SELECT finding_json FROM finding WHERE id IN ({IN_QUESTION})
             ORDER BY began_utc_ms, id"
        );
        read_findings(self.settled()?, &sql, [from.unix_ms()])
    }

    /// When a finding became more urgent last, if it ever did.
    pub fn got_worse(&self, finding: &FindingId) -> Result<Option<Time>, StoreError> {
        let mut at = None;
        let sql = "SELECT max(at_utc_ms) AS at_utc_ms FROM news WHERE finding = ?1 AND what = ?2";
        let which = params![finding.as_str(), Turn::Worse.name()];
        each_row(self.settled()?, sql, which, |row| {
            at = get::<Option<i64>>(row, "at_utc_ms")?.map(Time::from_unix_ms);
            Ok(())
        })?;
        Ok(at)
    }

    /// Notes that nobody has answered to a finding.
    pub fn note_unanswered(&mut self, finding: &FindingId, at: Time) -> Result<(), StoreError> {
        write(self.settled()?, finding, Turn::Unanswered, at)
    }
}

fn read_one(row: &Row<'_>) -> Result<News, StoreError> {
    Ok(News {
        id: get(row, "id")?,
        at: Time::from_unix_ms(get(row, "at_utc_ms")?),
        finding: named(row, "finding")?,
        what: named(row, "what")?,
    })
}

/// News with their findings, of columns as in `news` and `finding_json`.
pub(super) fn read_news(
    db: &Connection,
    sql: &str,
    params: impl Params,
) -> Result<Vec<(News, Finding)>, StoreError> {
    let mut all = Vec::new();
    each_row(db, sql, params, |row| {
        all.push((read_one(row)?, finding(row)?));
        Ok(())
    })?;
    Ok(all)
}

/// What is new of a finding beside what is stored of it.
pub(super) fn new_of(db: &Connection, finding: &Finding) -> Result<&'static [Turn], StoreError> {
    let mut before: Option<(Severity, Option<i64>)> = None;
    let sql = "SELECT severity, ended_utc_ms FROM finding WHERE id = ?1";
    each_row(db, sql, [finding.id.as_str()], |row| {
        before = Some((named(row, "severity")?, get(row, "ended_utc_ms")?));
        Ok(())
    })?;
    Ok(match (before, finding.ended) {
        (None, None) | (Some((_, Some(_))), None) => &[Turn::Found],
        (None, Some(_)) => &[Turn::Found, Turn::Ended],
        (Some((_, None)), Some(_)) => &[Turn::Ended],
        (Some((severity, None)), None) if severity < finding.severity => &[Turn::Worse],
        (Some((_, None)), None) | (Some((_, Some(_))), Some(_)) => &[],
    })
}

pub(super) fn write(
    db: &Connection,
    finding: &FindingId,
    what: Turn,
    at: Time,
) -> Result<(), StoreError> {
    db.prepare_cached("INSERT INTO news (at_utc_ms, finding, what) VALUES (?1, ?2, ?3)")
        .and_then(|mut insert| insert.execute(params![at.unix_ms(), finding.as_str(), what.name()]))
        .map_err(StoreError::at("write what is new"))?;
    Ok(())
}
