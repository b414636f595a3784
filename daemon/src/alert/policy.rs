//! Whom to tell what, and when: rare mails, each worth reading, and never a hazard that waits.
//!
//! News of findings gather for a while and go to a reader in one mail. What is less urgent than the
//! reader wants, or over before he was told, is left to his summary. Quiet hours, the number of mails
//! in a day, maintenance and snoozing hold a mail back; a hazard passes all but the last.
//! Never in here: a clock, the store, what stands in a mail.

use super::to_reader::To;
use crate::store::{About, Delivery, InForce, Maintenance, News, Response, Turn, in_force};
use analysis::detect::Severity;
use analysis::diagnose::{Finding, FindingId};
use analysis::reading::{Span, Time};
use chrono_tz::Tz;
use config::checked::Alerts;
use std::collections::{BTreeMap, BTreeSet};

/// Reminders of one finding, each after twice the time of the one before.
const MOST_REMINDERS: u32 = 3;
/// What has days is reminded of so many times as late as what has hours.
const PATIENCE_SOON: i64 = 3;

/// How far back news and mails are looked at, beside all of findings that stand: past a month, whose
/// summary is made once, and past everything that is held back.
pub const LOOK_BACK: Span = Span::from_h(24 * 62);

/// Everything that a decision depends on.
#[derive(Debug, Clone, Copy)]
pub struct Situation<'a> {
    /// What time it is.
    pub now: Time,
    /// Where.
    pub timezone: Tz,
    /// Who wants to know.
    pub alerts: &'a Alerts,
    /// What was new of findings that stand, or of which something was new within [`LOOK_BACK`].
    pub news: &'a [News],
    /// These findings.
    pub findings: &'a BTreeMap<FindingId, Finding>,
    /// The mails that told of them, or were made within [`LOOK_BACK`]; where nobody reads mails, what went
    /// to programs.
    pub told: &'a [Delivery],
    /// What readers have answered.
    pub answers: &'a Answers,
    /// When the plant was first looked at.
    pub first_slot: Option<Time>,
}

/// What readers have answered.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Answers {
    /// Findings that somebody has seen and takes care of.
    pub acknowledged: BTreeSet<FindingId>,
    /// Findings of which nobody wants to hear before a time.
    pub snoozed: BTreeMap<FindingId, Time>,
    /// When somebody works on the plant.
    pub maintenance: Vec<Maintenance>,
}

impl Answers {
    /// From all that was answered, in the order in which it was, and what was new of the findings.
    pub fn of(responses: &[Response], maintenance: Vec<Maintenance>, news: &[News]) -> Self {
        let mut answers = Self {
            maintenance,
            ..Self::default()
        };
        let mut by_finding: BTreeMap<&str, Vec<&Response>> = BTreeMap::new();
        for response in responses {
            let of = by_finding.entry(&response.finding).or_default();
            of.push(response);
        }
        for (finding, responses) in by_finding {
            let finding = FindingId::from_stored(finding);
            let worse = got_worse(news, &finding).map(|news| news.at);
            match in_force(responses, worse) {
                Some(InForce::Acknowledged) => {
                    answers.acknowledged.insert(finding);
                }
                Some(InForce::Snoozed(until)) => {
                    answers.snoozed.insert(finding, until);
                }
                None => {}
            }
        }
        answers
    }
}

/// When a finding became more urgent last, if it did.
fn got_worse<'a>(news: &'a [News], finding: &FindingId) -> Option<&'a News> {
    let is_it = |news: &&News| news.what == Turn::Worse && news.finding == *finding;
    news.iter().rfind(is_it)
}

/// What is to be done now.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Decision {
    /// Mails to make.
    pub mails: Vec<Due>,
    /// Findings to which nobody has answered for too long.
    pub unanswered: Vec<FindingId>,
}

/// A mail that is due.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Due {
    /// Index among the readers.
    pub reader: usize,
    /// What it tells.
    pub about: About,
    /// The news in it.
    pub news: Vec<i64>,
}

/// Decides.
pub fn decide(situation: &Situation<'_>) -> Decision {
    let mut mails = Vec::new();
    for (index, reader) in situation.alerts.readers.iter().enumerate() {
        let to = To::new(situation, reader);
        let due = |(about, news)| Due {
            reader: index,
            about,
            news,
        };
        let news = to.news();
        let summary = to.summary(news.as_deref().unwrap_or_default());
        mails.extend(news.map(|news| due((About::News, news))));
        mails.extend(summary.map(due));
    }
    Decision {
        mails,
        unanswered: unanswered(situation),
    }
}

/// Urgent findings that stand, that somebody has got, and to which nobody has answered.
fn unanswered(of: &Situation<'_>) -> Vec<FindingId> {
    let is_due = |finding: &&Finding| {
        let is_open = finding.ended.is_none() && finding.severity >= Severity::Soon;
        let snoozed = of.answers.snoozed.get(&finding.id);
        let waits = of.answers.acknowledged.contains(&finding.id)
            || snoozed.is_some_and(|until| *until > of.now);
        if !is_open || waits {
            return false;
        }
        // One that became more urgent is a new matter: nobody is reminded of it before he knows.
        let from = got_worse(of.news, &finding.id).map_or(0, |news| news.id);
        let own = |news: &&News| news.finding == finding.id && news.id >= from;
        let news = of.news.iter().filter(own);
        let reminders = news.clone().filter(|n| n.what == Turn::Unanswered).count() as u32;
        let numbers: BTreeSet<i64> = news.map(|news| news.id).collect();
        let got = of.told.iter().filter(|told| {
            let tells = |id: &i64| numbers.contains(id);
            told.made.about == About::News && told.made.news.iter().any(tells)
        });
        let Some(first) = got.filter_map(|told| told.sent).min() else {
            return false;
        };
        // After the time, twice and four times the time.
        let patience = if finding.severity == Severity::Now {
            1
        } else {
            PATIENCE_SOON
        };
        let wait = Span::from_ms((of.alerts.remind_after.ms() * patience) << reminders);
        reminders < MOST_REMINDERS && of.now - first >= wait
    };
    of.findings
        .values()
        .filter(is_due)
        .map(|f| f.id.clone())
        .collect()
}

#[cfg(test)]
#[path = "policy_tests.rs"]
mod tests;
