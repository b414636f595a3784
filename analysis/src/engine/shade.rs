//! What every input shows of shade, slot by slot, and what clear days make of it.
//! Never in here: how shade is learned (`expected::shade`), when it is told (`detect::ShadeWatch`).

use super::Engine;
use super::slots::{InverterNow, When};
use crate::detect::{Edge, Gate, Kind, Residual, common_factor, residual};
use crate::diagnose::{Subject, explain};
use crate::expected::shade::{Shade, ShadeSample, SkyCell};
use crate::expected::{Light, PlaneLight, WeatherRung};
use crate::reading::median;

/// While one of these stands on an input, what it loses teaches nothing about shade. A dead input and
/// open strings are not among them: all day long they are what the day is measured by, and what
/// comes and goes with the sun has only been taken for one of them.
const OTHER_LOSSES: [Kind; 5] = [
    Kind::Snow,
    Kind::SectionLost,
    Kind::ResistanceHigh,
    Kind::CurrentLow,
    Kind::TrackerOffPeak,
];

/// How far the normal of a plane lies from where the site file says, towards the sun or away from it,
/// one standard deviation [rad]: tilt by one degree, azimuth by a few, and as much again with the other
/// sign in the part of the day that it is measured by (engineering judgement). Of oblique beam it takes
/// the tangent of the incidence, up to this [deg]. So it does of a plane that shows the sky, whose error
/// comes out here by as much as this plane has more of the beam.
const FACING_RAD: f64 = 0.05;
const MOST_SLANT_DEG: f64 = 85.0;
/// How far light that is brought into a plane strays from hour to hour of a clear day, the same on days
/// that follow each other, where no other input of the plane shows it (engineering judgement) [-].
const BROUGHT_RATIO: f64 = 0.06;

impl Engine {
    /// What is known to shade an input now.
    pub(super) fn shade(&self, (i, k): (usize, usize), light: &Light) -> Shade {
        self.state.inverters[i].inputs[k].shade.at(&light.sun)
    }

    /// Whether the sun stands where shade is known, or was seen the last time.
    pub(super) fn is_near_shade(&self, (i, k): (usize, usize), light: &Light) -> bool {
        self.state.inverters[i].inputs[k].shade.is_near(&light.sun)
    }

    /// Takes a valid slot of an input beside what it would give without shade.
    pub(super) fn see_shade(
        &mut self,
        (i, k): (usize, usize),
        subject: &Subject,
        when: When,
        now: &InverterNow,
        siblings: &[Residual],
        light: &Light,
    ) {
        let stands = |kind: &Kind| self.state.book.stands(subject, *kind);
        // Of the sun's place nothing is learned by a clock that is off, of shade nothing by another array.
        let something_else = OTHER_LOSSES.iter().any(stands)
            || self.is_miswired(subject)
            || self.state.measuring.has_clock_off();
        let sample = self.shade_sample((i, k), when, now, siblings, light);
        let map = &mut self.state.inverters[i].inputs[k].shade;
        if something_else {
            map.distrust_today(when.day);
        }
        if let Some(sample) = sample {
            map.add(when.day, sample);
        }
    }

    fn shade_sample(
        &self,
        (i, k): (usize, usize),
        when: When,
        now: &InverterNow,
        siblings: &[Residual],
        light: &Light,
    ) -> Option<ShadeSample> {
        let input = &now.inputs[k];
        let open = input.without_shade()?;
        let (volts, amps) = (input.slot.voltage?.v(), input.slot.current?.a());
        if input.slot.gate != Gate::Valid {
            return None;
        }
        let plane = light.planes[self.chain.inputs[i][k].plane].as_ref()?;
        let own = residual(open, volts, amps);
        let (factor, sigma) = common_factor(own.common, siblings);
        // Light that is brought into a plane may face the wrong way: only what siblings do not share
        // is shade then, however much they share.
        let shared = median(siblings.iter().map(|s| s.ratio));
        let is_brought = plane.rung != WeatherRung::PlaneSensor;
        let factor = shared.filter(|s| is_brought && *s > 0.0).unwrap_or(factor);
        // Nothing takes out that a plane without a sensor or a sibling faces a little otherwise.
        let is_alone = shared.is_none() && is_brought;
        let slant = |plane: &PlaneLight| {
            let incidence_deg = plane.incidence.deg().min(MOST_SLANT_DEG);
            incidence_deg.to_radians().tan()
        };
        let showing = plane.sky_from.and_then(|q| light.planes[q].as_ref());
        let slants = slant(plane).hypot(showing.map_or(0.0, slant));
        let brought_sigma = if is_alone {
            BROUGHT_RATIO.hypot(plane.beam_share * FACING_RAD * slants)
        } else {
            0.0
        };
        // Left of the peak it is the peak that is passed by, not the curve.
        let curve_a = open.current_at(volts);
        let most_a = curve_a.min(open.expected.current.a());
        let expected_dc = |n: &super::slots::InputNow| n.prediction.as_ref().map(|p| p.power().w());
        let all_dc_w: f64 = now.inputs.iter().filter_map(expected_dc).sum();
        let through = now.expected_ac.map_or(1.0, |ac| ac.w() / all_dc_w.max(1.0));
        let hours = self.plant.timing.slot.hours();
        (most_a > 0.0).then_some(ShadeSample {
            start: when.start,
            cell: SkyCell::of(&light.sun)?,
            beam_share: plane.beam_share as f32,
            current_ratio: (amps / most_a / factor) as f32,
            voltage_ratio: (volts / open.expected.voltage.v()) as f32,
            sigma: sigma.hypot(own.own).hypot(brought_sigma) as f32,
            expected_wh: (open.power().w() * through * hours) as f32,
        })
    }

    /// Learns from the day before, if a new one has begun, and tells what is new.
    pub(super) fn close_shade_day(
        &mut self,
        (i, k): (usize, usize),
        subject: &Subject,
        when: When,
    ) {
        let slot = self.plant.timing.slot;
        let state = &mut self.state.inverters[i].inputs[k];
        let Some(day) = state.shade.close_day(when.day, slot) else {
            return;
        };
        match state.shade_watch.take(&day, when.start) {
            Some(Edge::Found { began, found, seen }) => {
                let new = explain::shade(subject.clone(), began, found, &seen);
                self.state.book.open(new);
            }
            Some(Edge::Ended { at }) => self.state.book.end(subject, Kind::Shade, at),
            None => {}
        }
    }

    /// Throws away what was seen of today: time has gone back.
    pub(super) fn forget_shade_today(&mut self) {
        let inverters = self.state.inverters.iter_mut();
        for input in inverters.flat_map(|inverter| &mut inverter.inputs) {
            input.shade.forget_today();
        }
    }
}
