//! Whether the plant does what it should, in one word and a few numbers.

use super::device::{self, Freshness};
use super::finding::{self, Brief};
use super::{rounded, utc};
use crate::store::{Maintenance, Store, StoreError};
use crate::web::Page;
use crate::web::calendar::{self, Length};
use analysis::detect::{Severity, Slot};
use analysis::ledger::{Loss, hourly};
use analysis::reading::Time;
use analysis::review::{Account, Balance};
use chrono_tz::Tz;
use serde::Serialize;

/// Less than this is expected at dusk and dawn, and says nothing [Wh].
const LEAST_WH: f64 = 100.0;
/// Whether it does what it should.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Yes.
    AsExpected,
    /// Something wants a person.
    Attention,
    /// Something is urgent now, and somebody has put it off.
    Waiting,
    /// Too little today, by limits.
    HeldBack,
    /// Too little today, and nothing has been found yet.
    Low,
    /// Most of the light of today was not recorded.
    NotRecorded,
    /// Something is not heard, so nobody knows.
    Unknown,
    /// There is no light, and nothing is wrong.
    Dark,
}

/// The first page.
#[derive(Debug, Clone, Serialize)]
pub struct Overview {
    pub site: String,
    pub now_utc: String,
    pub verdict: Verdict,
    pub today: Today,
    /// What stands and is not waiting, the most urgent first; without notes.
    pub findings: Vec<Brief>,
    /// What stands and may wait until a time.
    pub snoozed: Vec<Brief>,
    /// What was held back today, by inverter and limit.
    pub limited: Vec<Limited>,
    pub sources: Vec<Source>,
    pub maintenance: Vec<Work>,
    /// Mails, calls and messages that nobody has taken for more than a day.
    pub deliveries_late_count: usize,
    #[serde(skip)]
    pub timezone: Tz,
}

/// The day so far.
#[derive(Debug, Clone, Serialize)]
pub struct Today {
    /// Of the calendar at the site.
    pub date: String,
    /// Of what was recorded.
    pub expected_wh: f64,
    pub measured_wh: f64,
    /// `None` while there was too little light to tell.
    pub ratio: Option<f64>,
    /// The sum over all inverters.
    pub curve: Vec<Point>,
}

/// One slot of the site.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Point {
    pub at_unix_s: i64,
    pub measured_w: Option<f64>,
    pub expected_w: Option<f64>,
}

/// What a limit held back.
#[derive(Debug, Clone, Serialize)]
pub struct Limited {
    pub device: String,
    pub limit: &'static str,
    pub held_back_wh: f64,
}

/// How a device is heard.
#[derive(Debug, Clone, Serialize)]
pub struct Source {
    pub device: String,
    pub freshness: Freshness,
    pub heard_utc: Option<String>,
    pub silent_s: Option<i64>,
    pub trouble: Option<&'static str>,
}

/// Somebody works on the plant, or will.
#[derive(Debug, Clone, Serialize)]
pub struct Work {
    pub device: Option<String>,
    pub from_utc: String,
    pub to_utc: String,
    pub who: String,
    pub reason: String,
    #[serde(skip)]
    pub from: Time,
    #[serde(skip)]
    pub to: Time,
}

impl Work {
    /// As it stands in the store.
    pub fn of(work: &Maintenance) -> Self {
        Self {
            device: work.device.as_ref().map(ToString::to_string),
            from_utc: utc(work.from),
            to_utc: utc(work.to),
            who: work.who.clone(),
            reason: work.reason.clone(),
            from: work.from,
            to: work.to,
        }
    }
}

/// As it stands now.
pub fn overview(page: &Page, store: &Store) -> Result<Overview, StoreError> {
    let now = page.clock.now();
    let date = calendar::day_at(now, page.site.timezone);
    let (from, to) = calendar::span(date, Length::Day, page.site.timezone);
    let slots = store.slots(from, to)?;
    let all = finding::standing(store)?;
    let plant = &page.site.plant;
    let found = store.findings_in(from, to)?;
    let entries = hourly(plant, &slots, &found);
    let limited = limited(page, &entries);
    let mut balance = Balance::zero();
    entries.iter().for_each(|entry| balance.add(entry));
    let account = match balance.expected.wh() < LEAST_WH {
        true => Account::NoLight,
        false => Account::of(&balance),
    };
    let stands = all.iter().filter(|a| a.finding.severity > Severity::Note);
    let (open, snoozed): (Vec<_>, Vec<_>) = stands.partition(|a| a.is_open(now));
    let devices = device::devices(page);
    let sources: Vec<Source> = devices
        .into_iter()
        .map(|device| Source {
            device: device.id,
            freshness: device.freshness,
            heard_utc: device.heard_utc,
            silent_s: device.silent_s,
            trouble: device.trouble,
        })
        .collect();
    let verdict = Judged {
        is_open: !open.is_empty(),
        hazard_waits: snoozed.iter().any(|a| a.finding.severity == Severity::Now),
        is_missed: sources.iter().any(|source| source.freshness.is_missed()),
        account,
        is_dark: is_dark(&slots),
    }
    .verdict();
    let today = today(date.to_string(), (&balance, account), &slots);
    let maintenance = store.maintenance_after(now)?;
    Ok(Overview {
        site: plant.site.name.clone(),
        now_utc: utc(now),
        verdict,
        today,
        findings: open.into_iter().map(|a| a.brief(now)).collect(),
        snoozed: snoozed.into_iter().map(|a| a.brief(now)).collect(),
        limited,
        sources,
        maintenance: maintenance.iter().map(Work::of).collect(),
        deliveries_late_count: store.late(now)?,
        timezone: page.site.timezone,
    })
}

/// What a verdict rests on.
#[derive(Debug, Clone, Copy)]
struct Judged {
    /// Something stands that wants a person.
    is_open: bool,
    /// A hazard stands that somebody has put off.
    hazard_waits: bool,
    /// A device is not heard that should be.
    is_missed: bool,
    /// How the day went until now.
    account: Account,
    is_dark: bool,
}

impl Judged {
    /// What stands comes before what is not known, and that before how the day went.
    fn verdict(self) -> Verdict {
        if self.is_open {
            return Verdict::Attention;
        }
        if self.hazard_waits {
            return Verdict::Waiting;
        }
        if self.is_missed {
            return Verdict::Unknown;
        }
        match self.account {
            Account::NoLight => Verdict::Dark,
            Account::NotRecorded => Verdict::NotRecorded,
            Account::HeldBack(_) => Verdict::HeldBack,
            Account::Short(_) => Verdict::Low,
            Account::AsExpected(_) if self.is_dark => Verdict::Dark,
            Account::AsExpected(_) => Verdict::AsExpected,
        }
    }
}

/// Whether the last slot gave nothing to expect.
fn is_dark(slots: &[Slot]) -> bool {
    let last = slots.last();
    last.is_none_or(|slot| expected_w(slot).is_none_or(|w| w <= 0.0))
}

/// Of all inverters together; `None` where it is not known of one.
fn expected_w(slot: &Slot) -> Option<f64> {
    let mut all = slot
        .inverters
        .iter()
        .map(|inverter| inverter.expected_ac_power);
    all.try_fold(0.0, |sum, power| Some(sum + power?.w()))
}

fn measured_w(slot: &Slot) -> Option<f64> {
    let mut all = slot.inverters.iter().map(|inverter| inverter.ac_power);
    all.try_fold(0.0, |sum, power| Some(sum + power?.w()))
}

fn today(date: String, (balance, account): (&Balance, Account), slots: &[Slot]) -> Today {
    let not_recorded = balance.sum(|loss| loss == Loss::NotRecorded);
    let point = |slot: &Slot| Point {
        at_unix_s: (slot.start + slot.span.half()).unix_ms() / 1000,
        measured_w: measured_w(slot).map(|w| rounded(w, 1)),
        expected_w: expected_w(slot).map(|w| rounded(w, 1)),
    };
    Today {
        date,
        expected_wh: rounded(balance.expected.wh() - not_recorded.wh(), 1),
        measured_wh: rounded(balance.measured.wh(), 1),
        ratio: account.share().map(|share| rounded(share, 4)),
        curve: slots.iter().map(point).collect(),
    }
}

fn limited(page: &Page, entries: &[analysis::ledger::Entry]) -> Vec<Limited> {
    let mut sums = std::collections::BTreeMap::new();
    for entry in entries {
        for (limit, energy) in &entry.limited {
            *sums.entry((entry.inverter, *limit)).or_insert(0.0) += energy.wh();
        }
    }
    let above_nothing = sums.into_iter().filter(|(_, wh)| *wh >= 1.0);
    above_nothing
        .map(|((inverter, limit), wh)| Limited {
            device: page.site.plant.inverters[inverter].id.to_string(),
            limit: limit.name(),
            held_back_wh: rounded(wh, 1),
        })
        .collect()
}

#[cfg(test)]
#[path = "overview_tests.rs"]
mod tests;
