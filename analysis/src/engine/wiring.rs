//! Whether the arrays hang on the inputs as described, day by day until it is known.
//! Never in here: what a day says (`detect`, `diagnose::wiring`).

use super::Engine;
use super::array_days::{ArrayState, DAY_KINDS};
use super::slots::{InverterNow, When};
use crate::detect::{Gate, Kind, MAX_UNSTEADY_RATIO, Wiring, WiringSlot};
use crate::diagnose::{Subject, explain, wiring};
use crate::expected::{Factors, Light};
use crate::reading::{SlotMeans, Span, Time};

/// Elevation of the sun from which a slot counts [deg].
const LEAST_ELEVATION_DEG: f64 = 10.0;
/// Probability at which a wiring is told, and that at which the described one is settled
/// (engineering judgement).
const SAY: f64 = 0.95;
const SETTLE: f64 = 0.99;
/// A string that opens later than this after the first slot was whole before. Without a sensor the
/// first hours of a day tell little.
const FIRST_LIGHT: Span = Span::from_h(3);

impl Engine {
    /// A slot in which nothing limits and every input is measured. `by_sky`: the light without what
    /// the inputs show of it themselves.
    pub(super) fn wiring_slot(
        &self,
        i: usize,
        when: When,
        now: &InverterNow,
        (by_sky, means): (&Light, &SlotMeans),
    ) -> Option<WiringSlot> {
        let is_free = now.limit.is_none() && now.facts.is_settled() && !now.facts.throttled;
        let elevation_deg = by_sky.sun.apparent_elevation_deg();
        if self.state.inverters[i].own.wiring.is_settled()
            || !is_free
            || elevation_deg < LEAST_ELEVATION_DEG
        {
            return None;
        }
        let models = &self.chain.inputs[i];
        let planes = models
            .iter()
            .map(|model| by_sky.planes[model.plane].as_ref());
        let planes: Vec<_> = planes.collect::<Option<_>>()?;
        if planes.iter().any(|p| p.unsteady_ratio > MAX_UNSTEADY_RATIO) {
            return None;
        }
        let inputs = 0..models.len();
        let points = inputs.map(|k| self.operating_point(i, k, means));
        let points: Vec<(f64, f64)> = points.collect::<Option<_>>()?;
        // A DC isolator that is open.
        if points.iter().any(|(volts, _)| *volts <= 0.0) {
            return None;
        }
        let given = models
            .iter()
            .map(|model| self.chain.predict(model, by_sky, &Factors::UNKNOWN));
        Some(WiringSlot {
            start: when.start,
            points,
            is_valid: now
                .inputs
                .iter()
                .map(|input| input.slot.gate == Gate::Valid)
                .collect(),
            given: given.collect::<Option<_>>()?,
            rated_a: models.iter().map(|model| model.rated_current_a).collect(),
            is_by_sky: planes.iter().any(|p| !p.rung.is_measured()),
        })
    }

    pub(super) fn close_wiring_day(&mut self, i: usize, found: Time) {
        let Some(day) = self.state.inverters[i].own.wiring.close_day() else {
            return;
        };
        let plant = self.plant.clone();
        let inverter = &plant.inverters[i];
        let (Some(best), probability) = wiring::compare(&day)[0] else {
            return;
        };
        if probability < SAY || self.has_opened(i, best) {
            return;
        }
        let watch = &mut self.state.inverters[i].own.wiring;
        let before = watch.told.replace(best);
        let new = explain::wiring(inverter, &day, found, (best, probability));
        if before.is_some_and(|before| before != best) {
            let kept = new.as_ref().map(|new| (new.subject.clone(), new.kind));
            self.end_wiring_findings(i, kept, day.began);
        }
        self.forget_what_it_was_taken_for(i, best, day.began);
        if let Some(new) = new {
            self.state.book.open(new);
        } else if probability >= SETTLE {
            self.state.inverters[i].own.wiring.settle();
        }
    }

    /// Ends what days have said of the inputs that are not wired as described, and what they were on
    /// the way to say.
    fn forget_what_it_was_taken_for(&mut self, i: usize, wiring: Wiring, at: Time) {
        let inputs = 0..self.plant.inverters[i].inputs.len();
        for k in inputs.filter(|k| wiring.concerns(*k)) {
            self.state.inverters[i].inputs[k].array = ArrayState::default();
            let subject = self.subject((i, k));
            for kind in DAY_KINDS {
                self.state.book.end(&subject, kind, at);
            }
            // Fewer strings are open strings as well.
            if let Wiring::Swapped(..) = wiring {
                self.state.book.end(&subject, Kind::StringOpen, at);
            }
        }
    }

    /// Whether strings are fewer because one has opened since the input was first seen.
    fn has_opened(&self, i: usize, wiring: Wiring) -> bool {
        let Wiring::Strings { input, count } = wiring else {
            return false;
        };
        let described = self.plant.inverters[i].inputs[input].strings.len();
        let subject = self.subject((i, input));
        let opened = self.state.book.since(&subject, Kind::StringOpen);
        let opened = opened.or(self.state.book.since_on_string(&subject, Kind::StringOpen));
        let seen_from = self.state.inverters[i].own.wiring.seen_from(input);
        let later = |(opened, seen): (Time, Time)| opened - seen > FIRST_LIGHT;
        count < described && opened.zip(seen_from).is_some_and(later)
    }

    fn end_wiring_findings(&mut self, i: usize, kept: Option<(Subject, Kind)>, at: Time) {
        let inverter = &self.plant.inverters[i];
        let device = (Subject::device(&inverter.id), Kind::InputsSwapped);
        let inputs = 0..inverter.inputs.len();
        let counts = inputs.map(|k| (self.subject((i, k)), Kind::StringCountDiffers));
        let others: Vec<_> = std::iter::once(device).chain(counts).collect();
        for (subject, kind) in others.into_iter().filter(|it| Some(it) != kept.as_ref()) {
            self.state.book.end(&subject, kind, at);
        }
    }

    /// Whether an input is told to be wired otherwise than described: what it shows cannot be held
    /// against what is described.
    pub(super) fn is_miswired(&self, input: &Subject) -> bool {
        self.told_of(input).is_some()
    }

    /// Whether it is told to carry the array of another input.
    pub(super) fn has_array_of_another(&self, input: &Subject) -> bool {
        matches!(self.told_of(input), Some(Wiring::Swapped(..)))
    }

    fn told_of(&self, input: &Subject) -> Option<Wiring> {
        let inverters = &self.plant.inverters;
        let i = inverters
            .iter()
            .position(|inverter| inverter.id == input.device)?;
        let told = self.state.inverters[i].own.wiring.told?;
        let inputs = inverters[i].inputs.iter();
        let k = inputs
            .map(|input| Some(input.number))
            .position(|n| n == input.input)?;
        told.concerns(k).then_some(told)
    }
}
