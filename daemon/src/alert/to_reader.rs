//! What is due to one reader now: a mail with news, a summary.
//! Never in here: a clock, the store, what stands in a mail.

use super::past::{Past, is_to};
use super::policy::Situation;
use crate::store::{About, Delivery, News, Turn};
use crate::text::{at_site, day_at};
use analysis::detect::{Kind, Severity};
use analysis::diagnose::{Finding, FindingId};
use analysis::reading::{Span, Time};
use chrono::{Datelike, Days, Months, NaiveDate, NaiveTime};
use config::checked::{QuietHours, Reader, Role};
use std::collections::{BTreeMap, BTreeSet};

/// How long news gather, so that faults with one cause make one mail: of a hazard and of the rest.
/// The second is about as long as what an inverter needs to find out by itself that it was nothing.
const GATHER_NOW: Span = Span::from_min(1);
const GATHER: Span = Span::from_min(20);
/// How long a device may be silent before anybody is told: somebody who can do something about it, and
/// an owner, who mostly can not. Links come and go.
const SILENT_FOR_SERVICE: Span = Span::from_h(3);
const SILENT_FOR_OWNER: Span = Span::from_h(24);
/// Least time between two mails about hazards that pass quiet hours and the most mails of a day.
const BETWEEN_HAZARDS: Span = Span::from_min(10);
/// After a mail about one kind on one subject nothing more is told of the same that comes and goes
/// for so long: of a hazard, and of the rest.
const SAME_AGAIN_NOW: Span = Span::from_h(2);
const SAME_AGAIN: Span = Span::from_h(12);
/// What was over before it was told is old news after this.
const STALE: Span = Span::from_h(48);
/// A summary of the month before that could not be made by this day is not made any more.
const LAST_DAY_OF_MONTHLY: u32 = 7;
/// A summary tells of the day before, and of so many days in all where the ones before it were not made.
const CAUGHT_UP_DAYS: u64 = 7;

/// One reader and what he has been told.
pub struct To<'a> {
    of: &'a Situation<'a>,
    reader: &'a Reader,
    past: Past<'a>,
}

/// What is new of one finding and has not been told.
struct Item<'a> {
    news: Vec<&'a News>,
    is_hazard: bool,
    /// Not before this, whatever else is told.
    held_until: Time,
    /// When it makes a mail due.
    due: Time,
}

impl<'a> To<'a> {
    /// A reader in a situation.
    pub fn new(of: &'a Situation<'a>, reader: &'a Reader) -> Self {
        Self {
            of,
            reader,
            past: Past::of(of, reader),
        }
    }

    /// The news of the mail that is due now, if one is.
    pub fn news(&self) -> Option<Vec<i64>> {
        let now = self.of.now;
        let items = self.items();
        let is_due = |hazard| items.iter().any(|i| i.is_hazard == hazard && i.due <= now);
        let hazard = is_due(true)
            && self
                .past
                .last_hazard()
                .is_none_or(|at| now - at >= BETWEEN_HAZARDS);
        if !hazard && (!(is_due(true) || is_due(false)) || !self.may_be_disturbed()) {
            return None;
        }
        let open = items.iter().filter(|item| item.held_until <= now);
        let news: BTreeSet<i64> = open.flat_map(|i| i.news.iter().map(|n| n.id)).collect();
        (!news.is_empty()).then(|| news.into_iter().collect())
    }

    fn items(&self) -> Vec<Item<'a>> {
        let mut by_finding: BTreeMap<&FindingId, Vec<&News>> = BTreeMap::new();
        for news in self.of.news.iter().filter(|news| !self.past.has(news)) {
            by_finding.entry(&news.finding).or_default().push(news);
        }
        let item =
            |(id, news): (&FindingId, Vec<&'a News>)| self.item(self.of.findings.get(id)?, news);
        by_finding.into_iter().filter_map(item).collect()
    }

    fn item(&self, finding: &'a Finding, mut news: Vec<&'a News>) -> Option<Item<'a>> {
        let now = self.of.now;
        // It is looked for anew, and told when it is found.
        if news.iter().any(|n| n.what == Turn::Unwatched) {
            return None;
        }
        if self.past.goes_on(finding) {
            news.retain(|n| n.what != Turn::Found);
        }
        let was_told = self.past.knows(finding);
        let reminds = news.iter().any(|n| n.what == Turn::Unanswered)
            && !self.of.answers.acknowledged.contains(&finding.id);
        let is_over = finding.ended.is_some();
        if !was_told && !reminds {
            let is_worth_it = finding.severity >= self.reader.told_from;
            if !is_worth_it || is_over && !self.is_worth_it_when_over(finding, &news) {
                return None;
            }
        }
        let only_reminders = news.iter().all(|n| n.what == Turn::Unanswered);
        if only_reminders && (!reminds || is_over) {
            return None;
        }
        let is_hazard =
            finding.severity == Severity::Now && news.iter().any(|n| n.what != Turn::Ended);
        let gather = if is_hazard { GATHER_NOW } else { GATHER };
        let held_until = self.held_until(finding, &news, is_hazard).unwrap_or(now);
        let first = news.first()?.at;
        Some(Item {
            news,
            is_hazard,
            held_until,
            due: (first + gather).max(held_until),
        })
    }

    /// An owner is not told of what came and went, unless it was a hazard; nobody is of a device that
    /// was silent for a moment.
    fn is_worth_it_when_over(&self, finding: &Finding, news: &[&News]) -> bool {
        let is_fresh = news.iter().all(|n| self.of.now - n.at < STALE);
        let is_hazard = finding.severity == Severity::Now;
        let is_for_him = self.reader.role != Role::Owner && finding.kind != Kind::LinkLost;
        is_fresh && (is_hazard || is_for_him)
    }

    /// Until when it is held back, if it is.
    fn held_until(&self, finding: &Finding, news: &[&News], is_hazard: bool) -> Option<Time> {
        let now = self.of.now;
        let snoozed = self.of.answers.snoozed.get(&finding.id).copied();
        let work = self.of.answers.maintenance.iter().filter(|work| {
            let is_there = work
                .device
                .as_ref()
                .is_none_or(|d| *d == finding.subject.device);
            is_there && !is_hazard && (work.from..work.to).contains(&finding.began)
        });
        let work = work.map(|work| work.to).max();
        let comes_again = news.iter().any(|n| n.what == Turn::Found);
        let again = if is_hazard {
            SAME_AGAIN_NOW
        } else {
            SAME_AGAIN
        };
        let same = self.past.told_of_same(finding);
        let same = same.filter(|_| comes_again).map(|at| at + again);
        let is_link = finding.kind == Kind::LinkLost && finding.ended.is_none();
        let patience = match self.reader.role {
            Role::Owner => SILENT_FOR_OWNER,
            Role::Technician | Role::Installer => SILENT_FOR_SERVICE,
        };
        let silent = is_link.then(|| finding.began + patience);
        let holds = snoozed.into_iter().chain(work).chain(same).chain(silent);
        let until = holds.max()?;
        (until > now).then_some(until)
    }

    /// Whether something that is no hazard may be mailed now.
    fn may_be_disturbed(&self) -> bool {
        let local = |at| at_site(at, self.of.timezone).map(|date| date.naive_local());
        let Some(now) = local(self.of.now) else {
            return true;
        };
        let is_today = |mail: &&Delivery| {
            let is_his = mail.made.about == About::News && is_to(mail, self.reader);
            is_his && local(mail.made.at).is_some_and(|at| at.date() == now.date())
        };
        let today = self.of.told.iter().filter(is_today).count();
        !self.is_quiet(now.time()) && today < self.reader.most_per_day as usize
    }

    fn is_quiet(&self, time: NaiveTime) -> bool {
        let quiet = self.of.alerts.quiet;
        quiet.is_some_and(|quiet| is_in(quiet, time))
    }

    /// The summary that is due now, if one is, beside a mail that leaves now with these news.
    pub fn summary(&self, leaving: &[i64]) -> Option<(About, Vec<i64>)> {
        let now = at_site(self.of.now, self.of.timezone)?.naive_local();
        if now.time() < self.of.alerts.summary_at || self.is_quiet(now.time()) {
            return None;
        }
        let (about, news) = match self.reader.role {
            Role::Owner => (self.month(now.date())?, Vec::new()),
            Role::Technician | Role::Installer => self.day(now.date(), leaving)?,
        };
        let is_made = |mail: &Delivery| is_to(mail, self.reader) && mail.made.about == about;
        (!self.of.told.iter().any(is_made)).then_some((about, news))
    }

    /// The month before, if it is not long over and the plant was looked at in it.
    fn month(&self, today: NaiveDate) -> Option<About> {
        if today.day() > LAST_DAY_OF_MONTHLY {
            return None;
        }
        let first = today.with_day(1)?.checked_sub_months(Months::new(1))?;
        let looked = day_at(self.of.first_slot?, self.of.timezone)?;
        (looked < today.with_day(1)?).then_some(About::Month(first))
    }

    /// The day before, if it or the days before it had news worth a visit that no mail has told or tells
    /// now. What is held back is none yet.
    fn day(&self, today: NaiveDate, leaving: &[i64]) -> Option<(About, Vec<i64>)> {
        let day = today.checked_sub_days(Days::new(1))?;
        let first = today.checked_sub_days(Days::new(CAUGHT_UP_DAYS))?;
        let is_of_days = |news: &&News| {
            day_at(news.at, self.of.timezone).is_some_and(|day| (first..today).contains(&day))
        };
        let untold = self.of.news.iter().filter(is_of_days).filter(|news| {
            let finding = self.of.findings.get(&news.finding);
            let is_worth_it = |finding: &Finding| {
                let goes_on = news.what == Turn::Found && self.past.goes_on(finding);
                let is_hazard = finding.severity == Severity::Now && news.what != Turn::Ended;
                let is_held = self.held_until(finding, &[news], is_hazard).is_some();
                finding.severity > Severity::Note && !goes_on && !is_held
            };
            let is_watched = news.what != Turn::Unwatched;
            let is_told = leaving.contains(&news.id) || self.past.has_read(news);
            is_watched && !is_told && finding.is_some_and(is_worth_it)
        });
        let news: Vec<i64> = untold.map(|news| news.id).collect();
        (!news.is_empty()).then_some((About::Day(day), news))
    }
}

fn is_in(quiet: QuietHours, time: NaiveTime) -> bool {
    if quiet.from < quiet.to {
        (quiet.from..quiet.to).contains(&time)
    } else {
        time >= quiet.from || time < quiet.to
    }
}
