//! Findings, with what people have answered to them.

use super::{rounded, utc};
use crate::report::finding_line;
use crate::store::{InForce, Response, Store, StoreError, in_force};
use crate::web::Page;
use analysis::detect::{Kind, Severity};
use analysis::diagnose::{Finding, Subject};
use analysis::reading::Time;
use serde::Serialize;

/// A finding and its answers.
#[derive(Debug, Clone)]
pub struct Answered {
    pub finding: Finding,
    /// In the order in which they were given.
    pub responses: Vec<Response>,
    /// When it became more urgent last, if it did; not looked for where nobody has answered.
    pub got_worse: Option<Time>,
}

/// An answer, for programs.
#[derive(Debug, Clone, Serialize)]
pub struct Answer {
    pub at_utc: String,
    pub who: String,
    pub what: &'static str,
    pub until_utc: Option<String>,
    pub text: String,
}

/// A finding in short.
#[derive(Debug, Clone, Serialize)]
pub struct Brief {
    pub id: String,
    pub title: String,
    pub kind: &'static str,
    pub severity: Severity,
    pub device: String,
    pub input: Option<u8>,
    pub string: Option<String>,
    pub began_utc: String,
    pub ended_utc: Option<String>,
    pub lost_kwh: f64,
    pub summary: String,
    pub is_acknowledged: bool,
    pub snoozed_until_utc: Option<String>,
    #[serde(skip)]
    pub is: Kind,
    #[serde(skip)]
    pub subject: Subject,
    #[serde(skip)]
    pub began: Time,
    #[serde(skip)]
    pub ended: Option<Time>,
    #[serde(skip)]
    pub snoozed_until: Option<Time>,
}

impl Answered {
    fn in_force(&self) -> Option<InForce> {
        in_force(&self.responses, self.got_worse)
    }

    /// Whether somebody has seen it and takes care: the answer that holds.
    pub fn is_acknowledged(&self) -> bool {
        self.in_force() == Some(InForce::Acknowledged)
    }

    /// Until when it may wait, by the answer that holds.
    pub fn snoozed_until(&self, now: Time) -> Option<Time> {
        match self.in_force() {
            Some(InForce::Snoozed(until)) => Some(until).filter(|until| now < *until),
            Some(InForce::Acknowledged) | None => None,
        }
    }

    /// Whether somebody has to do something about it now.
    pub fn is_open(&self, now: Time) -> bool {
        self.finding.ended.is_none()
            && self.finding.severity > Severity::Note
            && self.snoozed_until(now).is_none()
    }

    /// In short.
    pub fn brief(&self, now: Time) -> Brief {
        let finding = &self.finding;
        Brief {
            id: finding.id.to_string(),
            title: finding.title(),
            kind: finding.kind.name(),
            severity: finding.severity,
            device: finding.subject.device.to_string(),
            input: finding.subject.input,
            string: finding.subject.string.clone(),
            began_utc: utc(finding.began),
            ended_utc: finding.ended.map(utc),
            lost_kwh: rounded(finding.lost.wh() / 1000.0, 4),
            summary: finding.summary.clone(),
            is_acknowledged: self.is_acknowledged(),
            snoozed_until_utc: self.snoozed_until(now).map(utc),
            snoozed_until: self.snoozed_until(now),
            is: finding.kind,
            subject: finding.subject.clone(),
            began: finding.began,
            ended: finding.ended,
        }
    }

    /// As a line of `findings.jsonl`, with the answers beside it.
    pub fn for_programs(&self, page: &Page) -> Result<serde_json::Value, String> {
        let line = finding_line(&self.finding, &page.site.plant.site).map_err(|e| e.to_string())?;
        let mut line: serde_json::Value =
            serde_json::from_str(&line).map_err(|error| error.to_string())?;
        let answers: Vec<Answer> = self.responses.iter().map(answer).collect();
        line["title"] = self.finding.title().into();
        line["responses"] = serde_json::to_value(answers).map_err(|error| error.to_string())?;
        Ok(line)
    }
}

fn answer(response: &Response) -> Answer {
    Answer {
        at_utc: utc(response.at),
        who: response.who.clone(),
        what: response.what.name(),
        until_utc: response.until.map(utc),
        text: response.text.clone(),
    }
}

/// All that there ever were: those that stand first, the most urgent before the others, the newest before
/// the older.
pub fn all(store: &Store) -> Result<Vec<Answered>, StoreError> {
    answered(store, store.findings()?)
}

/// Those that stand.
pub fn standing(store: &Store) -> Result<Vec<Answered>, StoreError> {
    answered(store, store.findings_standing()?)
}

/// Findings of the list that are shown at once.
#[derive(Debug)]
pub struct Part {
    /// Of the first part all that stand, then those that have ended.
    pub findings: Vec<Answered>,
    /// The id of the last one, where there are more.
    pub more_before: Option<String>,
}

/// A part of the list: so many that have ended, from after the one with this id on. What stands comes
/// before the first of them.
pub fn part(store: &Store, before: Option<&str>, limit: usize) -> Result<Part, StoreError> {
    let mut ended = store.findings_ended(before, limit + 1)?;
    let has_more = ended.len() > limit;
    ended.truncate(limit);
    let last = ended.last().filter(|_| has_more);
    let more_before = last.map(|finding| finding.id.to_string());
    if before.is_none() {
        ended.extend(store.findings_standing()?);
    }
    Ok(Part {
        findings: answered(store, ended)?,
        more_before,
    })
}

/// With what people have answered, in the order in which they are shown.
fn answered(store: &Store, findings: Vec<Finding>) -> Result<Vec<Answered>, StoreError> {
    let with_answers = findings.into_iter().map(|finding| {
        let responses = store.responses_to(finding.id.as_str())?;
        // Few have answers, and without one it says nothing.
        let got_worse = match responses.is_empty() {
            true => None,
            false => store.got_worse(&finding.id)?,
        };
        Ok(Answered {
            finding,
            responses,
            got_worse,
        })
    });
    let mut all = with_answers.collect::<Result<Vec<_>, StoreError>>()?;
    all.sort_by_cached_key(|answered| {
        let finding = &answered.finding;
        let (stands, severity) = (finding.ended.is_none(), finding.severity);
        let urgency = if stands { Some(severity) } else { None };
        std::cmp::Reverse((stands, urgency, finding.began, finding.id.clone()))
    });
    Ok(all)
}

/// One of them.
pub fn one(store: &Store, id: &str) -> Result<Option<Answered>, StoreError> {
    let finding = store.finding(id)?;
    Ok(answered(store, finding.into_iter().collect())?.pop())
}

#[cfg(test)]
#[path = "finding_tests.rs"]
mod tests;
