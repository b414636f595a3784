//! Judging one input: its slot into the window, the window to a verdict, the verdict into the book;
//! its slots into calibration and into its days (`array_days`). Never in here: formulas.

use super::Engine;
use super::slots::{InputNow, InverterNow, When};
use super::strings::COSTLY_ON_STRING;
use crate::array::Limit;
use crate::detect::{Kind, Residual, Sample, common_factor, common_voltage};
use crate::diagnose::hypotheses::{self, Context, Hypothesis};
use crate::diagnose::{Subject, explain};
use crate::expected::{CalibrationSample, Light};
use crate::reading::{Span, Time};

/// Irradiance above which a slot may calibrate [W/m2].
const CALIBRATING_POA_W_M2: f64 = 250.0;
/// Light and samples that a verdict on a dead input and on any other cause need.
const DEAD_AFTER: (Span, usize) = (Span::from_min(15), 2);
const OTHER_AFTER: (Span, usize) = (Span::from_min(30), 4);
/// Probability at which a verdict is said, and at which a finding ends (engineering judgement).
const SAY: f64 = 0.95;
const END: f64 = 0.9;
/// A first ratio of the day under this is a loss that was there when the light came [-].
const LOST_AT_FIRST_LIGHT: f64 = 0.9;
/// Ratios of an evening and of the morning after it that are the same [-]: snow seldom leaves as much
/// uncovered (engineering judgement).
const SAME_RATIO: f64 = 0.04;
/// An input that carries no more than this carries nothing; siblings beside it that differ by no more than the
/// second may all be clear from the third on, for no light is more wrong (engineering judgement) [-].
const NOTHING_RATIO: f64 = 0.05;
const ALIKE_RATIO: f64 = 0.04;
const CLEAR_FROM: f64 = 0.6;

/// No light is less than this over what a sensor says, where inputs can be judged at all [-].
const LEAST_LIGHT_RATIO: f64 = 0.05;

/// The findings that a window of samples can make; one of them stands at a time.
const WINDOW_KINDS: [Kind; 3] = [Kind::InputDead, Kind::StringOpen, Kind::Snow];

/// Which input, and how it is called.
pub(super) struct Whose {
    pub i: usize,
    pub k: usize,
    pub subject: Subject,
    strings: u8,
}

/// What a window means, and when it begins.
struct Verdict {
    since: Time,
    ranked: Vec<(Hypothesis, f64)>,
}

impl Engine {
    /// What a finding on an input is on.
    pub(super) fn subject(&self, (i, k): (usize, usize)) -> Subject {
        let inverter = &self.plant.inverters[i];
        Subject::input(&inverter.id, inverter.inputs[k].number)
    }

    pub(super) fn judge_input(
        &mut self,
        (i, k): (usize, usize),
        when: When,
        now: &[InverterNow],
        light: &Light,
        frost: Option<bool>,
    ) {
        let inverter = &self.plant.inverters[i];
        let whose = Whose {
            i,
            k,
            subject: self.subject((i, k)),
            strings: inverter.inputs[k].strings.len() as u8,
        };
        self.close_array_day(&whose, when);
        self.close_shade_day((i, k), &whose.subject, when);
        let Some(own) = now[i].inputs[k].residual else {
            return;
        };
        let siblings = self.siblings(&whose, now);
        self.see_shade((i, k), &whose.subject, when, &now[i], &siblings, light);
        let near_shade = self.is_near_shade((i, k), light);
        let fellows = self.best_in_its_light((i, k), now, light);
        let beside = self.day_siblings(&whose, now);
        let sample = sample(
            when,
            own,
            (&siblings, &beside),
            fellows,
            now[i].inputs[k].missing_wh,
        );
        let state = &mut self.state.inverters[i].inputs[k];
        state.window.push(when.day, sample);
        let across_the_night = state.window.across_the_night();
        // What lay there yesterday may lie there today.
        let lies_there = self.state.book.stands(&whose.subject, Kind::Snow);
        let context = Context {
            strings: whose.strings,
            frost,
            loss_came_at_night: lies_there || across_the_night.is_some_and(came_at_night),
            siblings_clear: is_any_clear(sample.ratio, &siblings),
            siblings_share_loss: !siblings.is_empty()
                && siblings.iter().all(|s| s.ratio < LOST_AT_FIRST_LIGHT),
            near_shade,
        };
        if let Some(verdict) = self.verdict(&whose, context) {
            self.act_on(&whose, when, &verdict);
        }
        if self.has_window_finding(&whose.subject) {
            self.state.calibration.distrust_today((i, k));
            return;
        }
        // What shade takes is neither steady nor the input's own.
        if near_shade {
            return;
        }
        let plane = light.planes[self.chain.inputs[i][k].plane];
        if !now[i].inputs[k].slot.is_held_back(now[i].limit) {
            self.keep_array_sample(&whose, when, &now[i].inputs[k], &beside, plane);
        }
        if self.has_day_finding(&whose.subject) {
            self.state.calibration.distrust_today((i, k));
            return;
        }
        let prediction = now[i].inputs[k].prediction.as_ref();
        let is_limited = now[i].limit.is_some() || now[i].inputs[k].slot.limit.is_some();
        let plane = plane.filter(|p| p.poa.w_m2() >= CALIBRATING_POA_W_M2 && !is_limited);
        // A lone input in the light that it shows itself would only learn that it is as it is.
        let plane = plane.filter(|p| p.own_inputs.is_none() || !siblings.is_empty());
        if let Some((plane, prediction)) = plane.zip(prediction) {
            let seen = CalibrationSample {
                rung: plane.rung,
                poa_w_m2: plane.poa.w_m2(),
                current_ratio: own.over_peak(),
                voltage_ratio: own.voltage_ratio,
                voltage_per_offset_k: prediction.voltage_per_k * plane.heat.offset_weight(),
                beside_siblings: self.beside_peaks(&whose, own, now),
            };
            self.state.calibration.add((i, k), seen);
        }
    }

    /// Residuals of the other inputs on the same plane, of whatever inverter, on which nothing
    /// stands.
    fn siblings(&self, whose: &Whose, now: &[InverterNow]) -> Vec<Residual> {
        let on_plane = self.on_same_plane(whose, now).into_iter();
        on_plane
            .filter(|(of, ..)| !self.has_window_finding(of))
            .filter_map(|(_, input, _)| input.residual)
            .collect()
    }

    /// The largest ratio of the other inputs whose light comes from the same horizontal sensor, on
    /// whatever plane: what all of them have lost is more likely the sensor's. A sensor in the plane
    /// is held against the inputs of its own plane, which are siblings.
    fn best_in_its_light(
        &self,
        own: (usize, usize),
        now: &[InverterNow],
        light: &Light,
    ) -> Option<f64> {
        let sensor = |(i, k): (usize, usize)| {
            let plane = light.planes[self.chain.inputs[i][k].plane]?;
            plane.rung.is_horizontal().then_some(plane.sensor?)
        };
        let of = sensor(own)?;
        let mut best: Option<f64> = None;
        for (i, inverter) in now.iter().enumerate() {
            for (k, input) in inverter.inputs.iter().enumerate() {
                let is_fellow = (i, k) != own
                    && sensor((i, k)) == Some(of)
                    && !self.has_window_finding(&self.subject((i, k)));
                if let Some(residual) = input.residual.filter(|_| is_fellow) {
                    best = Some(best.map_or(residual.ratio, |best| best.max(residual.ratio)));
                }
            }
        }
        best
    }

    /// The current over the expected one, freed from what those siblings share that are not off their
    /// peak for days; `None` where there are none.
    fn beside_peaks(&self, whose: &Whose, own: Residual, now: &[InverterNow]) -> Option<f64> {
        let on_plane = self.on_same_plane(whose, now).into_iter();
        let siblings: Vec<Residual> = on_plane
            .filter(|(of, ..)| !self.has_window_finding(of) && !self.is_off_peak(of))
            .filter_map(|(_, input, _)| input.residual)
            .collect();
        let (factor, _) = common_factor(own.common, &siblings);
        (!siblings.is_empty()).then_some(own.ratio / factor)
    }

    /// The same for whole days: at their peak, none of them off it for days, and those on which nothing
    /// stands that days say rather than all.
    fn day_siblings(&self, whose: &Whose, now: &[InverterNow]) -> Vec<Residual> {
        let mut siblings = self.on_same_plane(whose, now);
        siblings.retain(|(of, input, limit)| {
            !self.has_window_finding(of)
                && !input.slot.is_held_back(*limit)
                && !self.is_off_peak(of)
        });
        let is_sound = |of: &Subject| !self.has_day_finding(of);
        if siblings.iter().any(|(of, ..)| is_sound(of)) {
            siblings.retain(|(of, ..)| is_sound(of));
        }
        let residuals = siblings
            .into_iter()
            .filter_map(|(_, input, _)| input.residual);
        residuals.collect()
    }

    /// The other inputs on the same plane, of whatever inverter, that can be judged, and the limit of
    /// their inverter.
    fn on_same_plane<'a>(
        &self,
        whose: &Whose,
        now: &'a [InverterNow],
    ) -> Vec<(Subject, &'a InputNow, Option<Limit>)> {
        let plane = self.chain.inputs[whose.i][whose.k].plane;
        let mut others = Vec::new();
        for (i, inverter) in now.iter().enumerate() {
            for (k, input) in inverter.inputs.iter().enumerate() {
                let is_other = (i, k) != (whose.i, whose.k)
                    && self.chain.inputs[i][k].plane == plane
                    && input.residual.is_some();
                if is_other {
                    others.push((self.subject((i, k)), input, inverter.limit));
                }
            }
        }
        others
    }

    /// Whether the tracker of an input is known to be away from its peak: its current and its voltage
    /// are not those of its neighbours.
    pub(super) fn is_off_peak(&self, input: &Subject) -> bool {
        self.state.book.stands(input, Kind::TrackerOffPeak)
    }

    pub(super) fn has_window_finding(&self, subject: &Subject) -> bool {
        let on_string = |kind: &Kind| self.state.book.stands_on_string(subject, *kind);
        self.has_outage(subject)
            || self.is_miswired(subject)
            || COSTLY_ON_STRING.iter().any(on_string)
    }

    /// The same of the input as a whole, whatever stands on one of its strings.
    pub(super) fn has_outage(&self, input: &Subject) -> bool {
        let stands = |kind: &Kind| self.state.book.stands(input, *kind);
        WINDOW_KINDS.iter().any(stands)
    }

    /// What the latest samples mean: first whether the input is dead, which takes less light.
    fn verdict(&self, whose: &Whose, context: Context) -> Option<Verdict> {
        let window = &self.state.inverters[whose.i].inputs[whose.k].window;
        let slot = self.plant.timing.slot;
        let compare = |(light, least)| {
            let samples = window.latest(light, slot, least)?;
            Some(Verdict {
                since: samples.first()?.start,
                ranked: hypotheses::compare(&samples, context),
            })
        };
        let is_dead = |verdict: &Verdict| {
            let (what, probability) = verdict.ranked[0];
            what == Hypothesis::Dead && probability >= SAY
        };
        compare(DEAD_AFTER)
            .filter(is_dead)
            .or_else(|| compare(OTHER_AFTER))
    }

    fn act_on(&mut self, whose: &Whose, when: When, verdict: &Verdict) {
        let ranked = &verdict.ranked;
        let Whose {
            i,
            k,
            subject,
            strings,
        } = whose;
        let (what, probability) = ranked[0];
        if what == Hypothesis::Healthy && probability >= END {
            for kind in WINDOW_KINDS {
                self.state.book.end(subject, kind, verdict.since);
            }
        }
        // The ratio that parts this cause from health.
        let boundary = match what {
            Hypothesis::Healthy | Hypothesis::Other | Hypothesis::Shaded => return,
            Hypothesis::Dead => 0.1,
            Hypothesis::StringsOpen(open) => 1.0 - f64::from(open) / (2.0 * f64::from(*strings)),
            Hypothesis::Covered => LOST_AT_FIRST_LIGHT,
        };
        if probability < SAY {
            return;
        }
        // It began with the first of the latest samples that lie on its side.
        let window = &self.state.inverters[*i].inputs[*k].window;
        let on_its_side = window.samples().rev().take_while(|s| s.ratio < boundary);
        let mut since: Vec<Sample> = on_its_side.copied().collect();
        since.reverse();
        let new = explain::input_window(subject.clone(), *strings, when.end, &since, ranked);
        let Some(new) = new else { return };
        // It stands under its own label, or will.
        let by_strings = || {
            let is_named = self.state.book.stands_on_string(subject, Kind::StringOpen);
            let watch = &self.state.inverters[*i].inputs[*k].strings;
            let slot = self.plant.timing.slot;
            is_named || watch.speak(usize::from(*strings), when.start, slot)
        };
        if new.kind == Kind::StringOpen && (by_strings() || self.has_array_of_another(subject)) {
            return;
        }
        for other in WINDOW_KINDS.into_iter().filter(|other| *other != new.kind) {
            self.state.book.end(subject, other, new.began);
        }
        // What of today was seen before it was believed is no day of an array.
        self.state.inverters[*i].inputs[*k].array.forget_today();
        self.state.book.open(new);
    }
}

/// Whether no snow lies on a sibling: one carries what it should, or, beside an input that carries nothing, all
/// of them the same share of light that is not known well. Snow that is gone from some lies unevenly on them.
fn is_any_clear(own_ratio: f64, siblings: &[Residual]) -> bool {
    let highest = siblings.iter().map(|s| s.ratio).fold(0.0, f64::max);
    let lowest = siblings
        .iter()
        .map(|s| s.ratio)
        .fold(f64::INFINITY, f64::min);
    let are_alike = siblings.len() > 1 && highest - lowest <= ALIKE_RATIO * highest;
    let all_may_be = are_alike && lowest >= CLEAR_FROM && own_ratio < NOTHING_RATIO;
    highest >= LOST_AT_FIRST_LIGHT || all_may_be
}

/// Whether a loss was there when the light came, and not as much of it the evening before.
fn came_at_night((first, before): (f64, Option<f64>)) -> bool {
    first < LOST_AT_FIRST_LIGHT && before.is_none_or(|before| (first - before).abs() > SAME_RATIO)
}

/// The slot of an input, freed from what its siblings share with it; of the voltage those alone know anything
/// that are at their peaks.
fn sample(
    when: When,
    own: Residual,
    (siblings, at_peak): (&[Residual], &[Residual]),
    fellows: Option<f64>,
    missing_wh: f64,
) -> Sample {
    let (factor, common) = common_factor(own.common, siblings);
    let heat = common_voltage(own.voltage_sigma, at_peak);
    Sample {
        start: when.start,
        ratio: own.ratio / factor,
        light_ratio: fellows.map_or(1.0, |best| (best / factor).clamp(LEAST_LIGHT_RATIO, 1.0)),
        own: own.own,
        common,
        voltage_ratio: own.voltage_ratio / heat.0,
        voltage_sigma: own.voltage_sigma.own_ratio.hypot(heat.1),
        missing_wh,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::expected::Uncertain;

    #[test]
    fn a_sibling_is_clear_where_one_carries_all_or_beside_nothing_all_carry_the_same() {
        let beside = |own: f64, ratios: &[f64]| {
            let residual = |ratio: &f64| Residual {
                ratio: *ratio,
                own: 0.02,
                common: 0.05,
                curve_over_peak: 1.0,
                voltage_ratio: 1.0,
                voltage_sigma: Uncertain {
                    common_ratio: 0.01,
                    own_ratio: 0.005,
                },
            };
            is_any_clear(own, &ratios.iter().map(residual).collect::<Vec<_>>())
        };
        let clear = |ratios: &[f64]| beside(0.0, ratios);
        assert!(clear(&[0.3, 0.95]));
        assert!(clear(&[0.8, 0.82, 0.81]));
        assert!(!beside(0.7, &[0.8, 0.82, 0.81]), "thin snow on all");
        assert!(!clear(&[0.8]), "nobody beside it");
        assert!(!clear(&[0.8, 0.6]), "half of the snow is gone");
        assert!(!clear(&[0.3, 0.3]));
        assert!(!clear(&[]));
    }
}
