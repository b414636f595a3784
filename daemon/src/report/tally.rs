//! Figures of everything in the store, kept between reports: each slot is read once.
//!
//! A slot that is written again after the clock was set back is not counted twice.
//! Never in here: what a figure means.

use super::ahead::READ_AT_A_TIME;
use crate::store::{Store, StoreError};
use analysis::ledger::{CapacityTest, Figures, Performance};
use analysis::plant::Plant;
use analysis::reading::Time;
use std::sync::Arc;

/// What has been added up so far.
#[derive(Debug, Clone)]
pub struct Tally {
    pub(super) performance: Performance,
    pub(super) capacity: CapacityTest,
    until: Option<Time>,
    /// Made of it when somebody last asked; none any more once it has gone on.
    figures: Option<Arc<Vec<Figures>>>,
}

impl Tally {
    /// Nothing yet.
    pub fn new(plant: &Plant) -> Self {
        Self {
            performance: Performance::new(plant),
            capacity: CapacityTest::new(plant),
            until: None,
            figures: None,
        }
    }

    /// The figures so far.
    pub(crate) fn figures(&mut self) -> Arc<Vec<Figures>> {
        let made = || Arc::new(self.performance.figures());
        self.figures.get_or_insert_with(made).clone()
    }

    /// Goes on to the end of the store.
    ///
    /// # Errors
    /// If it cannot be read.
    pub(crate) fn go_on(&mut self, store: &Store) -> Result<(), StoreError> {
        while self.step(store)? {}
        Ok(())
    }

    /// Goes on by a piece; whether there was one.
    ///
    /// # Errors
    /// If it cannot be read.
    pub(crate) fn step(&mut self, store: &Store) -> Result<bool, StoreError> {
        let Some((first, last)) = store.span()? else {
            return Ok(false);
        };
        let from = self.until.unwrap_or(first);
        if from >= last {
            return Ok(false);
        }
        let until = last.min(from + READ_AT_A_TIME);
        for slot in store.slots(from, until)? {
            self.performance.add(&slot);
            self.capacity.add(&slot);
        }
        // Kept at every step, so that an error does not count what is behind twice.
        self.until = Some(until);
        self.figures = None;
        Ok(true)
    }
}
