//! Figures of everything in the store, kept between reports: each slot is read once.
//!
//! A slot that is written again after the clock was set back is not counted twice.
//! Never in here: what a figure means.

use super::ahead::READ_AT_A_TIME;
use crate::store::{Store, StoreError};
use analysis::ledger::{CapacityTest, Performance};
use analysis::plant::Plant;
use analysis::reading::Time;

/// What has been added up so far.
#[derive(Debug, Clone)]
pub struct Tally {
    pub(super) performance: Performance,
    pub(super) capacity: CapacityTest,
    until: Option<Time>,
}

impl Tally {
    /// Nothing yet.
    pub fn new(plant: &Plant) -> Self {
        Self {
            performance: Performance::new(plant),
            capacity: CapacityTest::new(plant),
            until: None,
        }
    }

    /// The figures so far.
    pub(crate) fn performance(&self) -> &Performance {
        &self.performance
    }

    /// Goes on to the end of the store.
    ///
    /// # Errors
    /// If it cannot be read.
    pub(crate) fn go_on(&mut self, store: &Store) -> Result<(), StoreError> {
        let Some((first, last)) = store.span()? else {
            return Ok(());
        };
        let mut from = self.until.unwrap_or(first);
        while from < last {
            let until = last.min(from + READ_AT_A_TIME);
            for slot in store.slots(from, until)? {
                self.performance.add(&slot);
                self.capacity.add(&slot);
            }
            // Kept at every step, so that an error does not count what is behind twice.
            self.until = Some(until);
            from = until;
        }
        Ok(())
    }
}
