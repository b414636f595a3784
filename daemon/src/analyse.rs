//! From readings to stored slots and findings: the engine and the store, one step at a time.
//!
//! A step is one transaction: its readings, the slots it closed, the findings it changed and the
//! engine's state are stored together or not at all. When the store refuses, the step waits in
//! memory and goes with the next one; the engine does not wait.
//! Never in here: sockets, the clock, files other than the store.

mod begin;
mod waiting;

use crate::store::{
    EngineState as SavedState, Event, Keep, Layout, Said, Step, Store, StoreError, Thinned,
};
use analysis::diagnose::Finding;
use analysis::engine::{Engine, EngineError, Input, STATE_VERSION};
use analysis::plant::{GridSettings, Plant};
use analysis::reading::{DeviceId, Offer, Reading, Time};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thiserror::Error;
use waiting::Waiting;

/// Readings that one step of thinning packs, to the next whole channel and day: below a tenth of a
/// second on a small server, so that a poll hardly waits (measured: DEVELOPERS.md).
const READINGS_PER_THINNING: usize = 10_000;

/// Why analysis cannot start.
#[derive(Debug, Error)]
pub enum AnalyseError {
    /// The plant cannot be modelled.
    #[error(transparent)]
    Engine(#[from] EngineError),
    /// The store cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// What became of readings that take no part in the analysis; all of them are stored.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Refused {
    /// Came again with the same value.
    pub repeated: u64,
    /// Came again with another value.
    pub conflicting: u64,
    /// Came after their time had passed.
    pub too_late: u64,
}

/// The engine and the store of one plant.
#[derive(Debug)]
pub struct Analyst {
    engine: Engine,
    store: Store,
    refused: Refused,
    waiting: Waiting,
    keep_readings: bool,
    /// Up to when it has looked.
    at: Time,
}

impl Analyst {
    /// Goes on where the store's engine state was saved, or starts afresh. `keep_readings`: whether
    /// raw readings are stored (a recording has them already).
    ///
    /// # Errors
    /// If the store cannot be read or the plant cannot be modelled.
    pub fn open(
        plant: Arc<Plant>,
        store: Store,
        keep_readings: bool,
    ) -> Result<Self, AnalyseError> {
        let mut waiting = Waiting::default();
        let engine = begin::engine(plant, &store, &mut waiting)?;
        Ok(Self {
            engine,
            store,
            refused: Refused::default(),
            waiting,
            keep_readings,
            at: Time::from_unix_ms(0),
        })
    }

    /// Takes readings and the watermark. Returns the findings that began or ended.
    pub fn take(&mut self, readings: &[Reading], watermark: Time) -> Vec<Finding> {
        for reading in readings {
            match self.engine.step(Input::Reading(*reading)).refused {
                None | Some(Offer::Waiting) => {}
                Some(Offer::Repeated) => self.refused.repeated += 1,
                Some(Offer::Conflict) => self.refused.conflicting += 1,
                Some(Offer::TooLate) => self.refused.too_late += 1,
            }
        }
        if self.keep_readings {
            self.waiting.readings.extend_from_slice(readings);
        }
        self.step(Input::Tick(watermark))
    }

    /// Takes what an inverter says of how it is set, as read at a time. A weather device has no such
    /// settings.
    pub fn settings(&mut self, device: &DeviceId, at: Time, settings: &GridSettings) {
        let inverters = &self.engine.plant().inverters;
        if let Some(i) = inverters.iter().position(|inverter| &inverter.id == device) {
            self.step(Input::Settings(i, at, Box::new(settings.clone())));
        }
    }

    /// Goes on after a time in which nobody looked: silence in it means nothing.
    pub fn resumed(&mut self, at: Time) -> Vec<Finding> {
        self.step(Input::Resumed(at))
    }

    /// Closes what a recording has filled; silence after its end means nothing.
    pub fn finish(&mut self, at: Time) -> Vec<Finding> {
        self.step(Input::End(at))
    }

    fn step(&mut self, input: Input) -> Vec<Finding> {
        if let Input::Tick(at) | Input::Resumed(at) | Input::End(at) = &input {
            self.at = *at;
        }
        let output = self.engine.step(input);
        // What a standing finding has cost grows slot by slot.
        let grows = !output.slots.is_empty();
        let standing = self.engine.standing().filter(|_| grows);
        self.waiting.take(output, standing)
    }

    /// The earliest slot that waits for the store.
    pub fn first_waiting(&self) -> Option<Time> {
        self.waiting.first_slot()
    }

    /// Stores everything that waits, in one transaction with the engine's state.
    ///
    /// # Errors
    /// If the store refuses; everything still waits then.
    pub fn save(&mut self) -> Result<(), StoreError> {
        let state = SavedState {
            version: STATE_VERSION,
            bytes: postcard::to_stdvec(self.engine.state()).expect("plain data always encodes"),
        };
        let findings: Vec<Finding> = self.waiting.findings.values().cloned().collect();
        let step = Step {
            at: self.at,
            readings: &self.waiting.readings,
            slots: &self.waiting.slots,
            findings: &findings,
            unwatched: &self.waiting.unwatched,
            forgotten: &self.waiting.forgotten,
            learned: &self.waiting.learned,
            mornings: &self.waiting.mornings,
            engine_state: &state,
        };
        let result = self.store.commit(&step);
        match &result {
            Ok(()) => self.waiting = Waiting::default(),
            Err(_) => self.waiting.bound(),
        }
        result
    }

    /// Does a step of what is due of thinning, and says what it was.
    ///
    /// # Errors
    /// If the store refuses; nothing has changed then.
    pub fn thin(&mut self, now: Time, keep: Keep) -> Result<Thinned, StoreError> {
        self.store.thin(now, keep, READINGS_PER_THINNING)
    }

    /// Writes down what was done to the store.
    ///
    /// # Errors
    /// If the store refuses.
    pub fn note(&mut self, at: Time, event: Event, subject: &str) -> Result<(), StoreError> {
        self.store.note(at, event, subject)
    }

    /// Writes down what a person said.
    ///
    /// # Errors
    /// If the store refuses.
    pub fn hear(&mut self, said: &Said) -> Result<(), StoreError> {
        self.store.hear(said)
    }

    /// Gives up a store that turned out damaged: renames its file, which is kept, and goes on in a
    /// new one with what waits and what stands. Says where the damaged file is now.
    ///
    /// # Errors
    /// If the file cannot be renamed or no new one can be opened. The analyst has only a store in
    /// memory then, and work should end.
    pub fn start_new_store(&mut self, file: &Path) -> Result<PathBuf, StoreError> {
        let layout = Layout::of(self.engine.plant());
        let damaged = std::mem::replace(&mut self.store, Store::in_memory(&layout)?);
        let aside = damaged.set_aside(file)?;
        self.store = Store::open(file, &layout)?.store;
        for finding in self.engine.standing() {
            let known = self.waiting.findings.entry(finding.id.to_string());
            known.or_insert_with(|| finding.clone());
        }
        Ok(aside)
    }

    /// The findings that stand, with what they have cost so far.
    pub fn standing(&self) -> impl Iterator<Item = &Finding> {
        self.engine.standing()
    }

    /// The store, to write what the analysis knows nothing of: news that were told.
    pub fn store_mut(&mut self) -> &mut Store {
        &mut self.store
    }

    /// The store, for reports.
    pub fn store(&self) -> &Store {
        &self.store
    }

    /// The plant.
    pub fn plant(&self) -> &Arc<Plant> {
        self.engine.plant()
    }

    /// Readings that took no part so far.
    pub fn refused(&self) -> Refused {
        self.refused
    }
}
