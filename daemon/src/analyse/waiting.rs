//! What steps of the engine have made and the store has not taken yet.
//! Never in here: the store's own file, or when it is tried.

use crate::store::{Store, StoreError};
use analysis::detect::{Morning, Slot};
use analysis::diagnose::{Finding, FindingId};
use analysis::engine::Output;
use analysis::expected::{Learned, LearnedOf};
use analysis::reading::{Reading, Time};
use std::collections::BTreeMap;
use tracing::error;

/// Readings that may wait for a store that refuses; beyond it the oldest are lost, and it is said.
const MAX_WAITING_READINGS: usize = 200_000;

/// All of it.
#[derive(Debug, Default)]
pub(super) struct Waiting {
    pub readings: Vec<Reading>,
    pub slots: Vec<Slot>,
    pub findings: BTreeMap<String, Finding>,
    /// Those of them that an engine before this one has watched.
    pub unwatched: Vec<FindingId>,
    /// Before what was learned.
    pub forgotten: Vec<LearnedOf>,
    pub learned: Vec<Learned>,
    pub mornings: Vec<(usize, Morning)>,
}

impl Waiting {
    /// Takes what a step has made, and the findings that stand, of which it has changed what they cost.
    /// Returns those that began or ended.
    pub fn take<'f>(
        &mut self,
        output: Output,
        standing: impl Iterator<Item = &'f Finding>,
    ) -> Vec<Finding> {
        self.slots.extend(output.slots);
        let gone = output.forgotten;
        self.learned.retain(|l| !gone.contains(&l.of));
        self.forgotten.extend(gone);
        self.learned.extend(output.learned);
        self.mornings.extend(output.mornings);
        let mut put = |finding: &Finding| {
            self.findings
                .insert(finding.id.to_string(), finding.clone());
        };
        standing.for_each(&mut put);
        output.findings.iter().for_each(put);
        output.findings
    }

    /// The earliest slot among it.
    pub fn first_slot(&self) -> Option<Time> {
        self.slots.iter().map(|slot| slot.start).min()
    }

    /// Lets go of the oldest readings where there are too many.
    pub fn bound(&mut self) {
        let over = self.readings.len().saturating_sub(MAX_WAITING_READINGS);
        if over > 0 {
            self.readings.drain(..over);
            error!(
                readings = over,
                "raw readings lost: the store has refused for too long"
            );
        }
    }

    /// Ends what stood when the last slot was closed, or when it was found where there is none: nothing
    /// watches it any more.
    pub fn close_standing(&mut self, store: &Store) -> Result<(), StoreError> {
        let last = store.span()?.map(|(_, last)| last);
        for mut finding in store.findings_standing()? {
            finding.ended = Some(last.unwrap_or(finding.found).max(finding.began));
            self.unwatched.push(finding.id.clone());
            self.findings.insert(finding.id.to_string(), finding);
        }
        Ok(())
    }
}
