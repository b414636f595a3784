//! What a period showed, added up slot by slot: the energy by day or month, the days of every
//! input, and where it worked on its curve. A year of many inverters takes a few megabytes.
//!
//! It is made for pictures and tables of a report; each slot is looked at once.
//! Never in here: how anything is drawn or said.

mod account;
mod choice;
mod cloud;
mod curve;
mod energy;
mod input;

pub use account::Account;
pub use choice::{ChosenDay, Why, chosen_days};
pub use cloud::{CELL_RATIO, Cloud};
pub use curve::healthy_curve;
pub use energy::{Balance, Bucket, EnergyReview, Unit};
pub use input::{InputDay, InputReview};

use crate::detect::{Kind, Slot};
use crate::diagnose::Finding;
use crate::ledger::Entry;
use crate::plant::Plant;
use crate::reading::{Span, Time};

/// A clock at the site: local time minus UTC.
pub type UtcOffset<'a> = &'a dyn Fn(Time) -> Span;

/// A review that is being added up.
pub struct Review<'a> {
    utc_offset: UtcOffset<'a>,
    /// Energy of the site and its inverters.
    pub energy: EnergyReview,
    /// By inverter and input, as in the plant.
    pub inputs: Vec<Vec<InputReview>>,
}

impl<'a> Review<'a> {
    /// Nothing yet, of a period `[from, to)` of a plant on which this was found.
    pub fn new(
        plant: &Plant,
        findings: &[Finding],
        period: (Time, Time),
        utc_offset: UtcOffset<'a>,
    ) -> Self {
        let inputs = plant.inverters.iter().map(|inverter| {
            let of = |input| InputReview::new(inverter, input, findings, period);
            inverter.inputs.iter().map(of).collect()
        });
        Self {
            utc_offset,
            energy: EnergyReview::new(plant.inverters.len(), period),
            inputs: inputs.collect(),
        }
    }

    /// Takes the next slot in order of time, and the hours of the ledger that it ended.
    pub fn add(&mut self, slot: &Slot, entries: &[Entry]) {
        let day = local_day(slot.start, self.utc_offset);
        for (inputs, now) in self.inputs.iter_mut().zip(&slot.inverters) {
            for (review, input) in inputs.iter_mut().zip(&now.inputs) {
                let poa = slot.planes.get(review.plane).and_then(|plane| plane.poa);
                review.add(slot, day, now.limit, input, poa.map(|(poa, _)| poa));
            }
        }
        self.add_entries(entries);
    }

    /// Takes hours of the ledger that no slot ended.
    pub fn add_entries(&mut self, entries: &[Entry]) {
        for entry in entries {
            self.energy.add(entry, self.utc_offset);
        }
    }

    /// Closes the last day.
    pub fn finish(&mut self) {
        self.inputs
            .iter_mut()
            .flatten()
            .for_each(InputReview::close_day);
    }
}

/// Days from 1970-01-01 to the date at the site.
pub fn local_day(at: Time, utc_offset: UtcOffset) -> i64 {
    (at.unix_ms() + utc_offset(at).ms()).div_euclid(Span::from_h(24).ms())
}

/// Disconnections that began in a period, by the hour of the site's clock.
pub fn trips_by_hour<'f>(
    findings: impl Iterator<Item = &'f Finding>,
    (from, to): (Time, Time),
    utc_offset: UtcOffset,
) -> [u32; 24] {
    let mut hours = [0; 24];
    for trip in findings.filter(|f| f.kind == Kind::GridTrip) {
        if from <= trip.began && trip.began < to {
            let local = trip.began + utc_offset(trip.began);
            let of_day = local.unix_ms().rem_euclid(Span::from_h(24).ms());
            hours[(of_day / Span::from_h(1).ms()) as usize] += 1;
        }
    }
    hours
}
