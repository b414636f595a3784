//! Figures of everything in the store, kept for all who show them: each slot is read once.
//!
//! Whoever wants them goes on to the end of the store, piece by piece; others who want them meanwhile take
//! turns with him between two pieces. A slot that is written again after the clock was set back is not
//! counted twice.
//! Never in here: what a figure means.

use super::ahead::READ_AT_A_TIME;
use crate::store::{Store, StoreError};
use analysis::ledger::{CapacityTest, Figures, Performance};
use analysis::plant::Plant;
use analysis::reading::Time;
use std::sync::{Arc, Mutex, MutexGuard};

/// What has been added up so far.
#[derive(Debug)]
pub struct Tally(Mutex<Sums>);

#[derive(Debug)]
struct Sums {
    performance: Performance,
    capacity: CapacityTest,
    until: Option<Time>,
    /// Made of it when somebody last asked; none any more once it has gone on.
    figures: Option<Arc<Vec<Figures>>>,
}

impl Tally {
    /// Nothing yet.
    pub fn new(plant: &Plant) -> Self {
        Self(Mutex::new(Sums {
            performance: Performance::new(plant),
            capacity: CapacityTest::new(plant),
            until: None,
            figures: None,
        }))
    }

    /// The figures so far.
    pub(crate) fn figures(&self) -> Arc<Vec<Figures>> {
        let mut sums = self.sums();
        let Sums {
            performance,
            figures,
            ..
        } = &mut *sums;
        let made = || Arc::new(performance.figures());
        figures.get_or_insert_with(made).clone()
    }

    /// What `of` makes of the test of capacity so far.
    pub(super) fn capacity<T>(&self, of: impl FnOnce(&CapacityTest) -> T) -> T {
        of(&self.sums().capacity)
    }

    /// Goes on to the end of the store.
    ///
    /// # Errors
    /// If it cannot be read.
    pub(crate) fn go_on(&self, store: &Store) -> Result<(), StoreError> {
        while self.step(store)? {}
        Ok(())
    }

    /// Goes on by a piece; whether there was one.
    ///
    /// # Errors
    /// If it cannot be read.
    pub(crate) fn step(&self, store: &Store) -> Result<bool, StoreError> {
        let Some((first, last)) = store.span()? else {
            return Ok(false);
        };
        let mut sums = self.sums();
        let from = sums.until.unwrap_or(first);
        if from >= last {
            return Ok(false);
        }
        let until = last.min(from + READ_AT_A_TIME);
        for slot in store.slots(from, until)? {
            sums.performance.add(&slot);
            sums.capacity.add(&slot);
        }
        // Kept at every step, so that an error does not count what is behind twice.
        sums.until = Some(until);
        sums.figures = None;
        Ok(true)
    }

    fn sums(&self) -> MutexGuard<'_, Sums> {
        self.0.lock().expect("adding up does not panic")
    }
}
