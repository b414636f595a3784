//! Balances of whole days, kept so that a month or a year is not added up anew each time it is looked at.
//!
//! A day that is kept holds as long as nothing is written into it again (`Written`) and the findings that
//! stood in it are the same: what was lost is charged to them.
//! Never in here: what a balance means.

use crate::store::{Store, StoreError};
use crate::written::Written;
use analysis::detect::{Cost, Slot};
use analysis::diagnose::Finding;
use analysis::ledger::hourly;
use analysis::plant::Plant;
use analysis::reading::Time;
use analysis::review::Balance;
use chrono::NaiveDate;
use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::{Arc, Mutex, MutexGuard};

/// The balances of past days, by inverter.
#[derive(Debug)]
pub struct Balances {
    written: Arc<Written>,
    kept: Mutex<Kept>,
}

#[derive(Debug, Default)]
struct Kept {
    days: BTreeMap<NaiveDate, Day>,
    /// Counts up whenever days are given up: what was read before is not kept then.
    turn: u64,
}

#[derive(Debug)]
struct Day {
    /// Where it ends.
    end: Time,
    /// Of the findings that stood in it.
    findings: u64,
    inverters: Arc<Vec<Balance>>,
}

impl Balances {
    /// None yet; `written` says what of them does not hold any more.
    pub fn new(written: Arc<Written>) -> Self {
        Self {
            written,
            kept: Mutex::default(),
        }
    }

    /// The balances of a day that begins and ends at these times, of all slots in it.
    ///
    /// # Errors
    /// If the store cannot be read.
    pub fn of_day(
        &self,
        (plant, store): (&Plant, &Store),
        date: NaiveDate,
        (from, to): (Time, Time),
        findings: &[Finding],
    ) -> Result<Arc<Vec<Balance>>, StoreError> {
        let standing = fingerprint(findings, from, to);
        let turn = {
            let kept = self.kept();
            let day = kept.days.get(&date);
            if let Some(day) = day.filter(|day| (day.end, day.findings) == (to, standing)) {
                return Ok(day.inverters.clone());
            }
            kept.turn
        };
        let slots = store.slots(from, to)?;
        let inverters = Arc::new(added_up(plant, findings, &slots));
        let day = Day {
            end: to,
            findings: standing,
            inverters: inverters.clone(),
        };
        let mut kept = self.kept();
        if kept.turn == turn {
            kept.days.insert(date, day);
        }
        Ok(inverters)
    }

    /// Without the days into which something has been written.
    fn kept(&self) -> MutexGuard<'_, Kept> {
        let mut kept = self.kept.lock().expect("nothing under this lock panics");
        if let Some(from) = self.written.ask() {
            kept.days.retain(|_, day| day.end <= from);
            kept.turn += 1;
        }
        kept
    }
}

fn added_up(plant: &Plant, findings: &[Finding], slots: &[Slot]) -> Vec<Balance> {
    let mut inverters: Vec<Balance> = plant.inverters.iter().map(|_| Balance::zero()).collect();
    for entry in hourly(plant, slots, findings) {
        inverters[entry.inverter].add(&entry);
    }
    inverters
}

/// Of all that decides what a finding can cost in a day.
fn fingerprint(findings: &[Finding], from: Time, to: Time) -> u64 {
    let mut hasher = DefaultHasher::new();
    let in_it = |f: &&Finding| f.began < to && f.ended.is_none_or(|end| end > from);
    let costly = |f: &&Finding| f.kind.cost() != Cost::Nothing;
    for finding in findings.iter().filter(in_it).filter(costly) {
        finding.id.as_str().hash(&mut hasher);
        finding.began.unix_ms().hash(&mut hasher);
        let ended = finding.ended.filter(|end| *end < to);
        ended.map(|end| end.unix_ms()).hash(&mut hasher);
    }
    hasher.finish()
}

#[cfg(test)]
#[path = "balances_tests.rs"]
mod tests;
