//! What people say to the program: answers to findings, and when somebody works on the plant.
//!
//! Everything stays for ever and is written down in the audit too; the latest answer counts.
//! Never in here: who may say it, or what follows from it.

use super::audit::{Event, note};
use super::news::IN_QUESTION;
use super::query::{each_row, get};
use super::{Store, StoreError};
use analysis::reading::{DeviceId, Time};
use rusqlite::{Connection, Params, Row, TransactionBehavior, params};

/// What was answered to a finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// Somebody has seen it and takes care.
    Acknowledged,
    /// It may wait until a time.
    Snoozed,
    /// A note beside it.
    Note,
}

impl What {
    /// Every answer.
    pub const ALL: [What; 3] = [What::Acknowledged, What::Snoozed, What::Note];

    /// Its name in the file.
    pub const fn name(self) -> &'static str {
        match self {
            What::Acknowledged => "acknowledged",
            What::Snoozed => "snoozed",
            What::Note => "note",
        }
    }
}

/// An answer to a finding.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Response {
    /// Id of the finding.
    pub finding: String,
    /// When it was given.
    pub at: Time,
    /// By whom.
    pub who: String,
    /// Which.
    pub what: What,
    /// Of one that lets it wait, until when.
    pub until: Option<Time>,
    /// In words; may be empty.
    pub text: String,
}

/// The answer that holds of a finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum InForce {
    /// Somebody has seen it and takes care.
    Acknowledged,
    /// It may wait until this time.
    Snoozed(Time),
}

/// Of the answers to one finding, in the order in which they were given, the one that holds: each takes
/// the place of the one before it. Notes are no answers; nor is what was said before the finding became
/// more urgent, of which nobody who said it knew.
pub fn in_force<'a>(
    responses: impl IntoIterator<Item = &'a Response>,
    got_worse: Option<Time>,
) -> Option<InForce> {
    let answer = |response: &Response| match response.what {
        What::Acknowledged => Some(InForce::Acknowledged),
        What::Snoozed => response.until.map(InForce::Snoozed),
        What::Note => None,
    };
    let still_counts = |r: &&Response| got_worse.is_none_or(|worse| r.at >= worse);
    let responses = responses.into_iter().filter(still_counts);
    responses.filter_map(answer).last()
}

/// Somebody works on the plant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Maintenance {
    /// The device; `None`: the whole site.
    pub device: Option<DeviceId>,
    /// From when.
    pub from: Time,
    /// Until when.
    pub to: Time,
    /// When it was written down.
    pub at: Time,
    /// By whom.
    pub who: String,
    /// Why.
    pub reason: String,
}

impl Maintenance {
    /// Whether it goes on at a time.
    pub fn is_at(&self, at: Time) -> bool {
        self.from <= at && at < self.to
    }
}

/// The early end of planned work; of work that has not begun, it is called off.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MaintenanceEnd {
    /// Number of the work in the store.
    pub work: i64,
    /// When it was said, and from when on it holds.
    pub at: Time,
    /// By whom.
    pub who: String,
}

/// Something that a person said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Said {
    /// To a finding.
    Response(Response),
    /// That somebody works on the plant.
    Maintenance(Maintenance),
    /// That such work is over before its planned end.
    MaintenanceEnd(MaintenanceEnd),
}

impl Store {
    /// Writes down what was said, in one transaction with its line in the audit.
    ///
    /// # Errors
    /// If the store refuses; nothing has changed then.
    pub fn hear(&mut self, said: &Said) -> Result<(), StoreError> {
        let doing = "write down what was said";
        self.settled()?;
        let change = self
            .db
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(StoreError::at(doing))?;
        let (at, event, subject) = match said {
            Said::Response(response) => respond(&change, response),
            Said::Maintenance(work) => plan(&change, work),
            Said::MaintenanceEnd(end) => end_early(&change, end),
        }
        .map_err(StoreError::at(doing))?;
        note(&change, at, event, &subject)?;
        change.commit().map_err(StoreError::at(doing))
    }

    /// The answers to the findings that are in question from a time on
    /// ([`Store::findings_in_question`]), in the order in which they were given.
    pub fn responses_in_question(&self, from: Time) -> Result<Vec<Response>, StoreError> {
        self.responses_where(&format!("finding IN ({IN_QUESTION})"), [from.unix_ms()])
    }

    /// The answers to one finding, in the order in which they were given.
    pub fn responses_to(&self, finding: &str) -> Result<Vec<Response>, StoreError> {
        self.responses_where("finding = ?1", [finding])
    }

    fn responses_where(
        &self,
        which: &str,
        params: impl Params,
    ) -> Result<Vec<Response>, StoreError> {
        let mut all = Vec::new();
        let sql = format!("SELECT * FROM response WHERE {which} ORDER BY id");
        each_row(self.settled()?, &sql, params, |row| {
            all.push(read_response(row)?);
            Ok(())
        })?;
        Ok(all)
    }

    /// All maintenance that ends after a time, by its beginning; what ended early has that end, and what
    /// was called off is none.
    pub fn maintenance_after(&self, after: Time) -> Result<Vec<Maintenance>, StoreError> {
        let numbered = self.numbered_maintenance_after(after)?;
        Ok(numbered.into_iter().map(|(_, work)| work).collect())
    }

    /// The same with the numbers by which it is ended early.
    pub fn numbered_maintenance_after(
        &self,
        after: Time,
    ) -> Result<Vec<(i64, Maintenance)>, StoreError> {
        let mut all = Vec::new();
        let sql = "SELECT id, device, from_utc_ms, at_utc_ms, who, reason,
                       min(to_utc_ms, coalesce((SELECT min(e.at_utc_ms) FROM maintenance_end e
                           WHERE e.maintenance = m.id), to_utc_ms)) AS until_utc_ms
                   FROM maintenance m
                   WHERE to_utc_ms > ?1 AND until_utc_ms > max(?1, from_utc_ms)
                   ORDER BY from_utc_ms, id";
        each_row(self.settled()?, sql, [after.unix_ms()], |row| {
            let device: Option<String> = get(row, "device")?;
            let work = Maintenance {
                device: device.map(DeviceId::new),
                from: Time::from_unix_ms(get(row, "from_utc_ms")?),
                to: Time::from_unix_ms(get(row, "until_utc_ms")?),
                at: Time::from_unix_ms(get(row, "at_utc_ms")?),
                who: get(row, "who")?,
                reason: get(row, "reason")?,
            };
            all.push((get(row, "id")?, work));
            Ok(())
        })?;
        Ok(all)
    }
}

/// When, what and to what, for the audit.
type Noted = rusqlite::Result<(Time, Event, String)>;

fn respond(db: &Connection, r: &Response) -> Noted {
    db.execute(
        "INSERT INTO response (finding, at_utc_ms, who, what, until_utc_ms, text)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        params![
            r.finding,
            r.at.unix_ms(),
            r.who,
            r.what.name(),
            r.until.map(Time::unix_ms),
            r.text,
        ],
    )?;
    let subject = format!("{} {} by {}", r.finding, r.what.name(), r.who);
    Ok((r.at, Event::Answered, subject))
}

fn plan(db: &Connection, m: &Maintenance) -> Noted {
    let device = m.device.as_ref().map(DeviceId::as_str);
    db.execute(
        "INSERT INTO maintenance (device, from_utc_ms, to_utc_ms, at_utc_ms, who, reason)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        params![
            device,
            m.from.unix_ms(),
            m.to.unix_ms(),
            m.at.unix_ms(),
            m.who,
            m.reason,
        ],
    )?;
    let subject = format!("{} by {}", device.unwrap_or("the site"), m.who);
    Ok((m.at, Event::MaintenancePlanned, subject))
}

fn end_early(db: &Connection, end: &MaintenanceEnd) -> Noted {
    let sql = "SELECT device FROM maintenance WHERE id = ?1";
    let device: Option<String> = db.query_row(sql, [end.work], |row| row.get(0))?;
    db.execute(
        "INSERT INTO maintenance_end (maintenance, at_utc_ms, who) VALUES (?1, ?2, ?3)",
        params![end.work, end.at.unix_ms(), end.who],
    )?;
    let subject = format!("{} by {}", device.as_deref().unwrap_or("the site"), end.who);
    Ok((end.at, Event::MaintenanceEnded, subject))
}

fn read_response(row: &Row<'_>) -> Result<Response, StoreError> {
    let what: String = get(row, "what")?;
    let known = What::ALL.into_iter().find(|known| known.name() == what);
    let until: Option<i64> = get(row, "until_utc_ms")?;
    Ok(Response {
        finding: get(row, "finding")?,
        at: Time::from_unix_ms(get(row, "at_utc_ms")?),
        who: get(row, "who")?,
        what: known.ok_or_else(|| super::query::undecodable("what", what))?,
        until: until.map(Time::from_unix_ms),
        text: get(row, "text")?,
    })
}

#[cfg(test)]
#[path = "answers_tests.rs"]
mod tests;
