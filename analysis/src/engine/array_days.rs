//! The current and the voltage of every input, day by day: what is kept of a slot, and what stands in the
//! book because of it. Never in here: formulas.

use super::Engine;
use super::array_references::SMALLEST_VOLTAGE_RATIO;
use super::inputs::Whose;
use super::slots::{InputNow, When};
use crate::detect::{
    ArrayDay, ArraySample, ArrayToday, ArrayWatch, Deficit, Edge, Kind, Residual, VoltageSums,
};
use crate::diagnose::voltage_loss::{self, Facts, VoltageLoss};
use crate::diagnose::{Subject, explain};
use crate::expected::PlaneLight;
use crate::plant::PvString;
use crate::reading::{Energy, MEDIAN_OVER_MEAN, SolarDay, Time, median};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// A day on which so much current is missing teaches nothing [-].
const DISTRUSTED_CURRENT_RATIO: f64 = 0.035;
/// Days whose slots decide what takes the voltage, and days that are remembered.
const SHAPE_DAYS: usize = 10;
const KEPT_DAYS: usize = 30;
/// Probability at which another cause takes the place of the one that was said.
const ANOTHER: f64 = 0.9;
/// Probability that it is neither sections nor a resistance above which nothing is said yet: voltage is
/// missing, but as by warm cells, a shadow or a meter; and above which nothing is said any more.
const NEITHER: f64 = 0.5;
const TAKEN_BACK: f64 = 0.95;
/// Bright light that decides what takes the voltage [h].
const SHAPE_H: f64 = 3.0;
/// What is said where voltage is missing.
const VOLTAGE_KINDS: [Kind; 2] = [Kind::SectionLost, Kind::ResistanceHigh];
/// What findings over days say of an input.
pub(super) const DAY_KINDS: [Kind; 3] = [Kind::CurrentLow, Kind::SectionLost, Kind::ResistanceHigh];

/// What is remembered of one input's days.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct ArrayState {
    today: ArrayToday,
    current: ArrayWatch,
    voltage: ArrayWatch,
    /// The latest days, oldest first.
    days: VecDeque<KeptDay>,
    /// Since when voltage is missing, and beside what.
    missing_voltage: Option<(Time, f64)>,
}

/// What is remembered of a day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct KeptDay {
    began: Time,
    /// How the missing voltage went with the current.
    sums: VoltageSums,
    missing_wh: f64,
}

impl ArrayState {
    /// The slots of today will come again, or count for nothing.
    pub fn forget_today(&mut self) {
        self.today = ArrayToday::default();
    }

    fn remember(&mut self, day: &ArrayDay) {
        if self.days.len() == KEPT_DAYS {
            self.days.pop_front();
        }
        self.days.push_back(KeptDay {
            began: day.began,
            sums: day.sums,
            missing_wh: day.missing_wh,
        });
    }

    /// What was missing from a day on, as far as remembered.
    fn missing_since(&self, began: Time) -> Energy {
        let since = self.days.iter().filter(|day| day.began >= began);
        Energy::from_wh(since.map(|day| day.missing_wh).sum())
    }
}

impl Engine {
    /// Keeps a valid slot of an input on which no outage stands.
    pub(super) fn keep_array_sample(
        &mut self,
        whose: &Whose,
        when: When,
        now: &InputNow,
        siblings: &[Residual],
        plane: Option<PlaneLight>,
    ) {
        let whole = now.residual.zip(now.prediction.as_ref()).zip(plane);
        let Some(((own, prediction), plane)) = whole else {
            return;
        };
        let is_alone = self.state.calibration.own((whose.i, whose.k)).is_none();
        // What is known of an input that has siblings is known beside them.
        if siblings.is_empty() && !is_alone {
            return;
        }
        // Dirt of a plane with one input is all on that input.
        let plane_state = &self.state.planes[self.chain.inputs[whose.i][whose.k].plane];
        if is_alone && plane_state.is_soiled() {
            return;
        }
        let factors = self
            .state
            .calibration
            .factors((whose.i, whose.k), plane.rung);
        // Nobody vouches for light or heat of which nothing is known yet.
        let knows_light = factors.light.sigma.is_some() && plane.own_inputs.is_none();
        let knows_heat = factors.offset_k.sigma.is_some();
        let shared_voltage = shared(siblings, |s| s.voltage_ratio);
        // Whatever the light is, and whatever all of them have lost, is in the middle of the siblings
        // and in no input: dirt, haze, an array that is scaled by a sky that it shows itself.
        let shared_current = shared(siblings, Residual::over_peak);
        // Siblings are measured as this input is: what they share is as sure as their middle.
        let beside = |own: f64, common: f64| {
            if is_alone {
                return (own, common);
            }
            (
                own.hypot(own * MEDIAN_OVER_MEAN / (siblings.len() as f64).sqrt()),
                0.0,
            )
        };
        let is_bright = !is_alone || knows_heat;
        let gains = (factors.current.value, factors.voltage.value);
        let kept = ArraySample {
            start: when.start,
            poa_w_m2: if is_bright { plane.poa.w_m2() } else { 0.0 },
            current_over_peak: own.over_peak() / shared_current,
            curve_over_peak: own.curve_over_peak,
            current_sigma: beside(own.own, own.common),
            shows_current: !is_alone || knows_light,
            voltage_ratio: own.voltage_ratio / shared_voltage,
            voltage_sigma: beside(own.voltage_sigma.own_ratio, own.voltage_sigma.common_ratio),
            gains,
            expected_voltage_v: prediction.expected.voltage.v(),
            expected_current_a: prediction.expected.current.a(),
            // What is charged to something else is not charged again to what is found later.
            missing_wh: if self.is_charged((whose.i, whose.k), &whose.subject) {
                0.0
            } else {
                now.missing_wh
            },
        };
        let state = &mut self.state.inverters[whose.i].inputs[whose.k].array;
        state.today.add(when.day, &kept);
    }

    /// A day on which an input has lost enough to count teaches nothing, before it is said as after.
    pub(super) fn distrust_low_days(&mut self, today: SolarDay) {
        if !self.state.calibration.is_new_day(today) {
            return;
        }
        let slot = self.plant.timing.slot;
        for i in 0..self.state.inverters.len() {
            for k in 0..self.state.inverters[i].inputs.len() {
                let [of_current, _] = self.references((i, k));
                let (current, voltage) = self.sought(i);
                let array = &self.state.inverters[i].inputs[k].array;
                let is_low = |day: ArrayDay| {
                    let missing = of_current[0].zip(day.current);
                    missing.is_some_and(|(r, day)| r.ln - day.ln > DISTRUSTED_CURRENT_RATIO)
                };
                let today_is_low = array.today.so_far(slot).is_some_and(is_low);
                if today_is_low
                    || array.current.is_suspicious(&current)
                    || array.voltage.is_suspicious(&voltage)
                {
                    self.state.calibration.distrust_today((i, k));
                }
            }
        }
    }

    /// Decides on the day before, if a new one has begun.
    pub(super) fn close_array_day(&mut self, whose: &Whose, when: When) {
        let (i, k) = (whose.i, whose.k);
        let slot = self.plant.timing.slot;
        let Some(day) = self.state.inverters[i].inputs[k]
            .array
            .today
            .close(when.day, slot)
        else {
            return;
        };
        let [of_current, of_voltage] = self.references((i, k));
        let (current_sought, voltage_sought) = self.sought(i);
        let array = &mut self.state.inverters[i].inputs[k].array;
        array.remember(&day);
        let current = day.current.and_then(|value| {
            let value = (day.began, &value);
            array
                .current
                .add(value, when.start, &of_current, &current_sought)
        });
        let voltage = day.voltage.and_then(|value| {
            let value = (day.began, &value);
            array
                .voltage
                .add(value, when.start, &of_voltage, &voltage_sought)
        });
        if let Some(edge) = current {
            self.book_current(whose, edge);
        }
        self.book_voltage(whose, voltage, when.start);
    }

    fn book_current(&mut self, whose: &Whose, edge: Edge<Deficit>) {
        let subject = &whose.subject;
        match edge {
            Edge::Found { began, found, seen } => {
                let array = &self.state.inverters[whose.i].inputs[whose.k].array;
                let lost = array.missing_since(began);
                let when = (began, found);
                let new = explain::current_low(subject.clone(), when, &seen, lost);
                self.state.book.open(new);
            }
            Edge::Ended { at } => self.state.book.end(subject, Kind::CurrentLow, at),
        }
    }

    fn book_voltage(&mut self, whose: &Whose, edge: Option<Edge<Deficit>>, now: Time) {
        let array = &mut self.state.inverters[whose.i].inputs[whose.k].array;
        match edge {
            Some(Edge::Found { began, seen, .. }) => {
                array.missing_voltage = Some((began, seen.reference_ln));
            }
            Some(Edge::Ended { at }) => {
                array.missing_voltage = None;
                self.end_voltage(whose, at);
                return;
            }
            None => {}
        }
        if let Some(missing) = array.missing_voltage {
            self.diagnose_voltage(whose, missing, now);
        }
    }

    fn end_voltage(&mut self, whose: &Whose, at: Time) {
        for kind in VOLTAGE_KINDS {
            self.state.book.end(&whose.subject, kind, at);
        }
    }

    /// Compares what may take the voltage, and says it, anew where the days decide otherwise.
    fn diagnose_voltage(&mut self, whose: &Whose, (began, reference_ln): (Time, f64), now: Time) {
        let input = &self.plant.inverters[whose.i].inputs[whose.k];
        let sections = |s: &PvString| {
            u32::from(s.count) * u32::from(self.plant.modules[s.module].bypass_sections)
        };
        let array = &self.state.inverters[whose.i].inputs[whose.k].array;
        let days = array.days.iter().rev().take(SHAPE_DAYS);
        let days = days.take_while(|day| day.began >= began);
        let sums = days
            .clone()
            .fold(VoltageSums::default(), |all, day| all.and(&day.sums));
        // After days without bright light there is nothing to compare: what stands stays as it is.
        if sums.own <= 0.0 {
            return;
        }
        let sums = sums.beside(reference_ln);
        let facts = Facts {
            sections: input.strings.iter().map(sections).min().unwrap_or(1),
            strings: input.strings.len() as u32,
            lasting_ratio: self.voltage_lasts_lately((whose.i, whose.k)),
        };
        let ranked = voltage_loss::compare(&sums, &facts);
        let stands = |kind: &Kind| self.state.book.stands(&whose.subject, *kind);
        let stood = VOLTAGE_KINDS.iter().any(stands);
        // What was missing at first and hardly is any more, or was seen in little light, is not begun to
        // be said.
        let is_large = sums.loss_ratio() >= SMALLEST_VOLTAGE_RATIO;
        let is_bright = sums.n * self.plant.timing.slot.hours() >= SHAPE_H;
        let may_be_said = is_large && is_bright && voltage_loss::is_named(&ranked, NEITHER);
        if !stood && !may_be_said {
            return;
        }
        if stood && !voltage_loss::is_named(&ranked, TAKEN_BACK) {
            self.end_voltage(whose, now);
            return;
        }
        let mut new = explain::voltage_low(
            whose.subject.clone(),
            (began, now),
            (&sums, days.count()),
            &ranked,
            array.missing_since(began),
        );
        let other = match new.kind {
            Kind::SectionLost => Kind::ResistanceHigh,
            _ => Kind::SectionLost,
        };
        if self.state.book.stands(&whose.subject, other) {
            let (what, probability) = ranked[0];
            if what == VoltageLoss::Else || probability < ANOTHER {
                return;
            }
            // The same energy is missing, under another name.
            new.lost = self.state.book.give_way(&whose.subject, other, began);
        }
        let (kind, confidence) = (new.kind, new.confidence);
        let urgency = explain::hot_joint(&new.evidence);
        self.state.book.keep_steady(new, ANOTHER);
        // Somebody is sent at once when it is as good as certain, and no longer when it is not even
        // likely.
        if urgency.is_some() && confidence >= ANOTHER {
            self.state.book.urge(&whose.subject, kind, urgency);
        } else if confidence < NEITHER {
            self.state.book.urge(&whose.subject, kind, None);
        }
    }

    /// Whether something that is told by days stands on an input.
    pub(super) fn has_day_finding(&self, subject: &Subject) -> bool {
        DAY_KINDS
            .iter()
            .any(|kind| self.state.book.stands(subject, *kind))
    }
}

/// The ratio that the siblings of an input share: their middle, 1 of none.
fn shared(siblings: &[Residual], ratio: impl Fn(&Residual) -> f64) -> f64 {
    median(siblings.iter().map(ratio))
        .filter(|ratio| *ratio > 0.0)
        .unwrap_or(1.0)
}
