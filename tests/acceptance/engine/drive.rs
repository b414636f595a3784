//! Readings into an engine in one way or another, and what it told.
//! Never in here: what should have been told.

use analysis::detect::{Kind, Severity, Slot};
use analysis::diagnose::Finding;
use analysis::engine::{Engine, Input, Output};
use analysis::expected::Learned;
use analysis::plant::Plant;
use analysis::reading::{Offer, Reading, Span, Time};
use std::collections::BTreeMap;
use std::sync::Arc;

/// All readings of one time.
pub type Poll = (Time, Vec<Reading>);

/// Everything an engine told, each finding as it was told last.
#[derive(Debug, Default, PartialEq)]
pub struct Told {
    pub slots: Vec<Slot>,
    pub findings: BTreeMap<String, Finding>,
    pub refused: Vec<Offer>,
    /// What is known of planes and inputs, day after day.
    pub learned: Vec<Learned>,
}

impl Told {
    pub fn take(&mut self, output: Output) {
        self.slots.extend(output.slots);
        self.refused.extend(output.refused);
        self.learned.extend(output.learned);
        self.update(output.findings);
    }

    fn update(&mut self, findings: impl IntoIterator<Item = Finding>) {
        for finding in findings {
            self.findings.insert(finding.id.to_string(), finding);
        }
    }

    /// The findings of one kind, in order of time.
    pub fn of(&self, kind: Kind) -> Vec<&Finding> {
        let mut found: Vec<&Finding> = self.findings.values().filter(|f| f.kind == kind).collect();
        found.sort_by_key(|f| f.began);
        found
    }

    /// The findings that somebody is to act on: all but notes.
    pub fn alarms(&self) -> Vec<&Finding> {
        let acts = |f: &&Finding| f.severity > Severity::Note;
        self.findings.values().filter(acts).collect()
    }

    /// All findings but notes of limits: most of the synthetic plants clip at noon.
    pub fn but_limits(&self) -> Vec<&Finding> {
        let other = |f: &&Finding| f.kind != Kind::Limited;
        self.findings.values().filter(other).collect()
    }

    /// One line per finding, for messages.
    pub fn list(&self) -> String {
        let line = |f: &Finding| format!("{} found {:?} ended {:?}\n", f.id, f.found, f.ended);
        self.findings.values().map(line).collect()
    }
}

pub fn engine(plant: &Arc<Plant>) -> Engine {
    Engine::new(plant.clone()).expect("the plant can be modelled")
}

/// A fresh engine's account of these steps, closed `until` everything has passed.
pub fn account(plant: &Arc<Plant>, steps: impl IntoIterator<Item = Input>, until: Time) -> Told {
    let mut engine = engine(plant);
    let mut told = Told::default();
    for step in steps {
        told.take(engine.step(step));
    }
    finish(&mut engine, &mut told, until);
    told
}

/// The last tick, and what stands then with what it has cost.
pub fn finish(engine: &mut Engine, told: &mut Told, until: Time) {
    told.take(engine.step(Input::Tick(until)));
    told.update(engine.standing().cloned());
}

/// When the last slot of these polls closes; no later, or their end would be a silence.
pub fn end_of(plant: &Plant, polls: &[Poll]) -> Time {
    let (last, slot) = (polls.last().expect("there are polls").0, plant.timing.slot);
    last.slot_start(slot) + slot + plant.timing.allowed_lateness
}

/// Poll by poll, each with a tick.
pub fn one_by_one(polls: &[Poll]) -> impl Iterator<Item = Input> {
    polls.iter().flat_map(poll_and_tick)
}

pub fn poll_and_tick((at, readings): &Poll) -> impl Iterator<Item = Input> {
    let readings = readings.iter().copied().map(Input::Reading);
    readings.chain([Input::Tick(*at)])
}

/// Many polls, then one tick.
pub fn in_batches(polls: &[Poll], size: usize) -> impl Iterator<Item = Input> {
    polls.chunks(size).flat_map(|batch| {
        let readings = batch
            .iter()
            .flat_map(|(_, readings)| readings.iter().copied());
        let last = batch[batch.len() - 1].0;
        readings.map(Input::Reading).chain([Input::Tick(last)])
    })
}

/// Poll by poll, with ticks between them.
pub fn with_ticks_every(polls: &[Poll], step: Span) -> impl Iterator<Item = Input> {
    let until = move |i: usize| polls.get(i + 1).map_or(polls[i].0 + step, |next| next.0);
    (0..polls.len()).flat_map(move |i| {
        let ticks = (1..)
            .map(move |n| polls[i].0 + step * n)
            .take_while(move |tick| *tick < until(i));
        poll_and_tick(&polls[i]).chain(ticks.map(Input::Tick))
    })
}

/// Asserts that two accounts are the same; says which finding or slot differs first.
pub fn assert_same(told: &Told, wanted: &Told, how: &str) {
    assert_eq!(told.slots.len(), wanted.slots.len(), "{how}: slots");
    for (slot, other) in told.slots.iter().zip(&wanted.slots) {
        assert_eq!(slot, other, "{how}");
    }
    let ids = |told: &Told| told.findings.keys().cloned().collect::<Vec<_>>();
    assert_eq!(ids(told), ids(wanted), "{how}: ids of findings");
    assert_eq!(told.learned, wanted.learned, "{how}: what was learned");
    for (id, finding) in &told.findings {
        assert_eq!(finding, &wanted.findings[id], "{how}: {id}");
    }
}
