//! What people say to the program: answers to findings, and when somebody works on the plant.
//!
//! Everything stays for ever and is written down in the audit too; the latest answer counts.
//! Never in here: who may say it, or what follows from it.

use super::audit::{Event, note};
use super::query::{each_row, get};
use super::{Store, StoreError};
use analysis::reading::{DeviceId, Time};
use rusqlite::{Row, TransactionBehavior, params};

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
/// the place of the one before it. Notes are no answers.
pub fn in_force<'a>(responses: impl IntoIterator<Item = &'a Response>) -> Option<InForce> {
    let answer = |response: &Response| match response.what {
        What::Acknowledged => Some(InForce::Acknowledged),
        What::Snoozed => response.until.map(InForce::Snoozed),
        What::Note => None,
    };
    responses.into_iter().filter_map(answer).last()
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

/// Something that a person said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Said {
    /// To a finding.
    Response(Response),
    /// That somebody works on the plant.
    Maintenance(Maintenance),
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
            Said::Response(r) => {
                change
                    .execute(
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
                    )
                    .map_err(StoreError::at(doing))?;
                let subject = format!("{} {} by {}", r.finding, r.what.name(), r.who);
                (r.at, Event::Answered, subject)
            }
            Said::Maintenance(m) => {
                let device = m.device.as_ref().map(DeviceId::as_str);
                change
                    .execute(
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
                    )
                    .map_err(StoreError::at(doing))?;
                let subject = format!("{} by {}", device.unwrap_or("the site"), m.who);
                (m.at, Event::MaintenancePlanned, subject)
            }
        };
        note(&change, at, event, &subject)?;
        change.commit().map_err(StoreError::at(doing))
    }

    /// All answers, in the order in which they were given.
    pub fn responses(&self) -> Result<Vec<Response>, StoreError> {
        let mut all = Vec::new();
        let sql = "SELECT * FROM response ORDER BY id";
        each_row(self.settled()?, sql, [], |row| {
            all.push(read_response(row)?);
            Ok(())
        })?;
        Ok(all)
    }

    /// The answers to one finding, in the order in which they were given.
    pub fn responses_to(&self, finding: &str) -> Result<Vec<Response>, StoreError> {
        let mut all = Vec::new();
        let sql = "SELECT * FROM response WHERE finding = ?1 ORDER BY id";
        each_row(self.settled()?, sql, [finding], |row| {
            all.push(read_response(row)?);
            Ok(())
        })?;
        Ok(all)
    }

    /// All maintenance that ends after a time, by its beginning.
    pub fn maintenance_after(&self, after: Time) -> Result<Vec<Maintenance>, StoreError> {
        let mut all = Vec::new();
        let sql = "SELECT * FROM maintenance WHERE to_utc_ms > ?1 ORDER BY from_utc_ms, id";
        each_row(self.settled()?, sql, [after.unix_ms()], |row| {
            let device: Option<String> = get(row, "device")?;
            all.push(Maintenance {
                device: device.map(DeviceId::new),
                from: Time::from_unix_ms(get(row, "from_utc_ms")?),
                to: Time::from_unix_ms(get(row, "to_utc_ms")?),
                at: Time::from_unix_ms(get(row, "at_utc_ms")?),
                who: get(row, "who")?,
                reason: get(row, "reason")?,
            });
            Ok(())
        })?;
        Ok(all)
    }
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
mod tests {
    use super::*;
    use crate::store::Layout;

    #[test]
    fn what_was_said_comes_back_and_stands_in_the_audit() {
        let at = Time::from_unix_ms;
        let mut store = Store::in_memory(&Layout::of_channels([])).expect("memory");
        let response = Response {
            finding: "barn.input-1.string_open.1".to_owned(),
            at: at(5),
            who: "technician".to_owned(),
            what: What::Snoozed,
            until: Some(at(900)),
            text: "part ordered".to_owned(),
        };
        let work = Maintenance {
            device: Some(DeviceId::new("barn")),
            from: at(10),
            to: at(20),
            at: at(6),
            who: "technician".to_owned(),
            reason: "new fuse".to_owned(),
        };
        store.hear(&Said::Response(response.clone())).expect("room");
        store.hear(&Said::Maintenance(work.clone())).expect("room");
        let stored = store.responses().expect("reads");
        assert_eq!(stored, std::slice::from_ref(&response));
        assert_eq!(store.responses_to("another").expect("reads"), []);
        assert_eq!(store.maintenance_after(at(19)).expect("reads"), [work]);
        assert_eq!(store.maintenance_after(at(20)).expect("reads"), []);
        let audit = store.audit().expect("reads");
        let events: Vec<_> = audit.iter().map(|a| a.event.as_str()).collect();
        assert_eq!(events, ["answered", "maintenance_planned"]);
        assert_eq!(
            audit[0].subject,
            "barn.input-1.string_open.1 snoozed by technician"
        );
    }

    #[test]
    fn maintenance_that_ends_before_it_begins_is_refused_whole() {
        let mut store = Store::in_memory(&Layout::of_channels([])).expect("memory");
        let at = Time::from_unix_ms;
        let work = Maintenance {
            device: None,
            from: at(20),
            to: at(10),
            at: at(6),
            who: "technician".to_owned(),
            reason: String::new(),
        };
        store.hear(&Said::Maintenance(work)).expect_err("backwards");
        assert_eq!(store.audit().expect("reads"), []);
    }
}
