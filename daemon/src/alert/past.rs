//! What one reader has been told, by mails alone.
//! Never in here: what is due to him.

use super::policy::Situation;
use crate::store::{About, Delivery, News, Target, Turn};
use analysis::detect::{Kind, Severity};
use analysis::diagnose::{Finding, FindingId, Subject};
use analysis::reading::{Span, Time};
use config::checked::Reader;
use std::collections::{BTreeMap, BTreeSet};

/// What is found so soon after nobody watched it any more is the same: the slowest detectors begin with
/// some weeks of light.
const FOUND_ANEW: Span = Span::from_h(24 * 30);

/// One reader's past.
pub struct Past<'a> {
    /// When each piece of news was mailed to him.
    told: BTreeMap<i64, Time>,
    /// The news in his summaries.
    summed_up: BTreeSet<i64>,
    of_finding: BTreeMap<&'a FindingId, Time>,
    of_same: BTreeMap<(&'a Subject, Kind), Time>,
    /// Findings that nobody watches any more, the last of each kind on a subject, and since when.
    unwatched: BTreeMap<(&'a Subject, Kind), (&'a FindingId, Time)>,
    last_hazard: Option<Time>,
}

impl<'a> Past<'a> {
    /// Of a reader in a situation.
    pub fn of(of: &'a Situation<'a>, reader: &Reader) -> Self {
        let mut past = Self {
            told: BTreeMap::new(),
            summed_up: BTreeSet::new(),
            of_finding: BTreeMap::new(),
            of_same: BTreeMap::new(),
            unwatched: BTreeMap::new(),
            last_hazard: None,
        };
        for mail in of.told.iter().filter(|mail| is_to(mail, reader)) {
            let news = mail.made.news.iter();
            match mail.made.about {
                About::News => past.told.extend(news.map(|news| (*news, mail.made.at))),
                About::Day(_) | About::Month(_) => past.summed_up.extend(news),
            }
        }
        for news in of.news {
            let finding = of.findings.get(&news.finding);
            if let Some(at) = past.told.get(&news.id).copied() {
                past.remember(news, finding, at);
            }
            if let (Turn::Unwatched, Some(finding)) = (news.what, finding) {
                let of = (&finding.subject, finding.kind);
                past.unwatched.insert(of, (&news.finding, news.at));
            }
        }
        past
    }

    fn remember(&mut self, news: &'a News, finding: Option<&'a Finding>, at: Time) {
        let later = |old: &mut Time| *old = at.max(*old);
        let of_finding = self.of_finding.entry(&news.finding);
        of_finding.and_modify(later).or_insert(at);
        let Some(finding) = finding else { return };
        let of_same = self.of_same.entry((&finding.subject, finding.kind));
        of_same.and_modify(later).or_insert(at);
        if finding.severity == Severity::Now && news.what != Turn::Ended {
            self.last_hazard = self.last_hazard.max(Some(at));
        }
    }

    /// Whether he got a piece of news in a mail of its own.
    pub fn has(&self, news: &News) -> bool {
        self.told.contains_key(&news.id)
    }

    /// Whether he got a piece of news in any mail.
    pub fn has_read(&self, news: &News) -> bool {
        self.has(news) || self.summed_up.contains(&news.id)
    }

    /// Whether he was told of a finding, or of the one that it goes on from.
    pub fn knows(&self, finding: &Finding) -> bool {
        self.of_finding.contains_key(&finding.id) || self.goes_on(finding)
    }

    /// Whether a finding was told to him before the analysis began afresh, under another id. A hazard is
    /// told again all the same.
    pub fn goes_on(&self, finding: &Finding) -> bool {
        let before = self.unwatched.get(&(&finding.subject, finding.kind));
        before.is_some_and(|(id, at)| {
            let is_anew = *at <= finding.found && finding.found - *at <= FOUND_ANEW;
            let is_hazard = finding.severity == Severity::Now;
            **id != finding.id && is_anew && !is_hazard && self.of_finding.contains_key(id)
        })
    }

    /// When he was told last of something of this kind on this subject.
    pub fn told_of_same(&self, finding: &Finding) -> Option<Time> {
        let same = (&finding.subject, finding.kind);
        self.of_same.get(&same).copied()
    }

    /// When he was told last of a hazard.
    pub fn last_hazard(&self) -> Option<Time> {
        self.last_hazard
    }
}

/// Whether a mail goes to a reader.
pub fn is_to(mail: &Delivery, reader: &Reader) -> bool {
    matches!(&mail.made.target, Target::Mail(address) if *address == reader.email)
}
