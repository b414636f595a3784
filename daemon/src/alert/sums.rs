//! What a mail says about a period: produced, expected, limited, lost to faults.
//! Never in here: what is charged to whom (`analysis::ledger`).

use crate::report::READ_AT_A_TIME;
use crate::store::{Store, StoreError};
use analysis::diagnose::Finding;
use analysis::ledger::{Entry, Hours, Loss};
use analysis::plant::Plant;
use analysis::reading::{Energy, Time};

/// Energies of the site over a period, on the AC side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sums {
    /// What was measured.
    pub produced: Energy,
    /// What the weather would have given.
    pub expected: Energy,
    /// Held back by limits.
    pub limited: Energy,
    /// Lost to findings, and while an inverter stood still without a reason.
    pub faults: Energy,
}

/// The sums of the slots that begin in `[from, to)`.
///
/// # Errors
/// If the store cannot be read.
pub fn sums(
    plant: &Plant,
    store: &Store,
    findings: &[Finding],
    (from, to): (Time, Time),
) -> Result<Sums, StoreError> {
    let none = Energy::from_wh(0.0);
    let mut sums = Sums {
        produced: none,
        expected: none,
        limited: none,
        faults: none,
    };
    let mut hours = Hours::new(plant, findings);
    let mut from = from;
    while from < to {
        let until = to.min(from + READ_AT_A_TIME);
        for slot in store.slots(from, until)? {
            hours.add(&slot).iter().for_each(|entry| sums.add(entry));
        }
        from = until;
    }
    hours.finish().iter().for_each(|entry| sums.add(entry));
    Ok(sums)
}

impl Sums {
    fn add(&mut self, entry: &Entry) {
        add(&mut self.produced, entry.measured);
        add(&mut self.expected, entry.expected);
        for (loss, energy) in entry.losses() {
            match loss {
                Loss::Limited(_) => add(&mut self.limited, energy),
                Loss::Finding(_) | Loss::Outage => add(&mut self.faults, energy),
                Loss::NotRecorded | Loss::Unexplained => {}
            }
        }
    }
}

fn add(sum: &mut Energy, more: Energy) {
    *sum = Energy::from_wh(sum.wh() + more.wh());
}
