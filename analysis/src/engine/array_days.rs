//! The current and the voltage of every input, day by day: what is kept of a slot, what a day is held
//! against, and what stands in the book because of it. Never in here: formulas.

use super::Engine;
use super::inputs::Whose;
use super::slots::{InputNow, When};
use crate::detect::{
    ArrayDay, ArraySample, ArrayToday, ArrayWatch, Budget, Deficit, Edge, Kind, Reference,
    References, Residual, Sought, VoltageSums,
};
use crate::diagnose::voltage_loss::{self, Facts, VoltageLoss};
use crate::diagnose::{Subject, explain};
use crate::expected::{Known, Own, PlaneLight};
use crate::plant::PvString;
use crate::reading::{Energy, MEDIAN_OVER_MEAN, SolarDay, Span, Time, median};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Smallest steady losses of current and of voltage beyond the edge of health that are looked for [-]:
/// with the edge beside the last month, 4 % of current, and one section of sixty, or half an ohm, of
/// voltage.
const SMALLEST_CURRENT_RATIO: f64 = 0.025;
const SMALLEST_VOLTAGE_RATIO: f64 = 0.003;
/// A day on which so much current is missing teaches nothing [-].
const DISTRUSTED_CURRENT_RATIO: f64 = 0.035;
/// The edge of health lies this many standard deviations off.
const EDGE_SIGMAS: f64 = 2.0;
/// What lasts beside the last month, the handover and the datasheet (one standard deviation,
/// engineering judgement: weather, seasons, mismatch and meters; the seasons move the voltage of healthy
/// inputs of the campaign by up to 0.6 %) [-].
const CURRENT_LASTS: [f64; 3] = [0.003, 0.006, 0.016];
const VOLTAGE_LASTS: [f64; 3] = [0.0007, 0.004, 0.0065];
/// How far an input beside two others strays over what it would beside many: for such the numbers above
/// were set [-].
const BESIDE_TWO: f64 = 1.33;
/// The same in one fortnight, in which a cause is looked for [-].
const VOLTAGE_LASTS_LATELY: f64 = 0.0018;
/// Of an input that is alone in its plane, beside what its plane was lately: nothing tells its dirt,
/// the sensor's and the sky's error and the cells' heat from its own.
const LONE_CURRENT_LASTS: f64 = 0.035;
const LONE_VOLTAGE_LASTS: f64 = 0.005;
/// The same of its voltage where nothing measures the air either: weeks are 4 K warmer than the season's,
/// and a cell's voltage falls by 0.39 % a kelvin [-].
const LONE_UNHEATED_LASTS: f64 = 0.015;
/// An input that is alone in its plane has lost something at once, or it is told nothing: what gathers for
/// longer is a season's, the sensor's or the plane's dirt.
const LONE_ONSET: Span = Span::from_h(24 * 30);
/// Days that must have taught the last month before it says anything.
const LAST_MONTH_DAYS: usize = 5;
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
/// Days in a year that give a value, at most.
const DAYS_PER_YEAR: f64 = 365.0;
/// Streams on one input: current and voltage, each beside three references.
const REFERENCES: usize = 3;

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
    /// The slots of today will come again.
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
        let is_step = |edge: &Edge<Deficit>| self.is_step((i, k), edge);
        let (current, voltage) = (current.filter(is_step), voltage.filter(is_step));
        if let Some(edge) = current {
            self.book_current(whose, edge);
        }
        self.book_voltage(whose, voltage, when.start);
    }

    /// Whether something came or went fast enough to be an input's own.
    fn is_step(&self, input: (usize, usize), edge: &Edge<Deficit>) -> bool {
        let is_alone = self.state.calibration.own(input).is_none();
        let is_slow =
            matches!(edge, Edge::Found { began, found, .. } if *found - *began > LONE_ONSET);
        !(is_alone && is_slow)
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
            lasting_ratio: if self.state.calibration.own((whose.i, whose.k)).is_some() {
                VOLTAGE_LASTS_LATELY
            } else {
                self.lone_voltage_lasts()
            },
        };
        let ranked = voltage_loss::compare(&sums, &facts);
        let stands = |kind: &Kind| self.state.book.stands(&whose.subject, *kind);
        let stood = VOLTAGE_KINDS.iter().any(stands);
        // What was missing for long and no longer is, is not said any more.
        let is_large = sums.loss_ratio() >= SMALLEST_VOLTAGE_RATIO;
        let is_bright = sums.n * self.plant.timing.slot.hours() >= SHAPE_H;
        if !stood && !(is_large && is_bright && voltage_loss::is_named(&ranked, NEITHER)) {
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

    /// What the current and the voltage of an input are held against.
    fn references(&self, (i, k): (usize, usize)) -> [References; 2] {
        let edge = |sigma: f64, lasts: f64| EDGE_SIGMAS * sigma.hypot(lasts);
        let Some([current, voltage]) = self.state.calibration.own((i, k)) else {
            let plane = |lasts: f64| {
                let ln = 0.0;
                [
                    Some(Reference {
                        ln,
                        edge: edge(0.0, lasts),
                    }),
                    None,
                    None,
                ]
            };
            return [LONE_CURRENT_LASTS, self.lone_voltage_lasts()].map(plane);
        };
        let of = |own: Own, lasts: [f64; REFERENCES]| {
            let beside = |known: Known, lasts| Reference {
                ln: known.value.ln(),
                edge: edge(known.sigma, lasts),
            };
            let now = own.now.filter(|now| now.days >= LAST_MONTH_DAYS);
            let datasheet = Reference {
                ln: 0.0,
                edge: edge(0.0, lasts[2]),
            };
            [
                now.map(|known| beside(known, lasts[0])),
                own.baseline.map(|known| beside(known, lasts[1])),
                Some(datasheet),
            ]
        };
        // What it is held against strays as it does itself, the less the more inputs make it.
        let siblings = self.siblings_on_plane((i, k)).max(1) as f64;
        let beside = (1.0 + MEDIAN_OVER_MEAN.powi(2) / siblings).sqrt() / BESIDE_TWO;
        let mut voltage_lasts = VOLTAGE_LASTS;
        voltage_lasts[0] *= beside.max(1.0);
        [of(current, CURRENT_LASTS), of(voltage, voltage_lasts)]
    }

    fn lone_voltage_lasts(&self) -> f64 {
        if self.roles.has_heat {
            LONE_VOLTAGE_LASTS
        } else {
            LONE_UNHEATED_LASTS
        }
    }

    /// How many other inputs have all their strings on the plane of an input.
    fn siblings_on_plane(&self, (i, k): (usize, usize)) -> usize {
        let plane = self.chain.inputs[i][k].plane;
        let models = self.chain.inputs.iter().flatten();
        models.filter(|model| model.plane == plane).count() - 1
    }

    /// What is looked for in the current and in the voltage of an inverter's inputs.
    fn sought(&self, i: usize) -> (Sought, Sought) {
        let budget = Budget::new(self.plant.false_alarms_per_inverter_year);
        let streams = REFERENCES * self.plant.inverters[i].inputs.len();
        let of = |kind, smallest| Sought {
            smallest,
            days_between: budget.observations_between(kind, streams, DAYS_PER_YEAR),
        };
        (
            of(Kind::CurrentLow, SMALLEST_CURRENT_RATIO),
            of(Kind::SectionLost, SMALLEST_VOLTAGE_RATIO),
        )
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
