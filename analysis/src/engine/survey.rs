//! What the inputs of each plane say about the way it faces, slot by slot and day by day.
//! Never in here: how an orientation is found.

use super::Engine;
use super::slots::InverterNow;
use crate::expected::{Learned, LearnedOf, Light, SurveySlot};
use crate::reading::{SolarDay, median};

impl Engine {
    /// Learns from a day that has ended, and turns the planes that were found to lie otherwise.
    pub(super) fn close_surveys(&mut self, day: SolarDay) {
        for p in 0..self.plant.planes.len() {
            let stated = &self.plant.planes[p];
            let survey = &mut self.state.surveys[p];
            if survey.close_day(day, stated, &mut self.ladder, &self.orientation) {
                let found = survey.taken().map(|found| found.applied_to(stated));
                self.ladder.turn(p, found.unwrap_or_else(|| stated.clone()));
                let light = self.state.calibration.forget_light(p);
                self.forgotten.extend(light);
                if self.state.surveys[p].taken().is_none() {
                    let facing = [LearnedOf::Tilt(p), LearnedOf::Azimuth(p)];
                    self.forgotten.extend(facing);
                }
            }
        }
    }

    /// Planes that are taken to lie otherwise than stated.
    pub(super) fn oriented(&self) -> Vec<Learned> {
        let surveys = self
            .state
            .surveys
            .iter()
            .zip(&self.plant.planes)
            .enumerate();
        surveys
            .flat_map(|(p, (survey, stated))| survey.learned(p, stated))
            .collect()
    }

    /// Keeps what healthy inputs that nothing holds back give in this slot.
    pub(super) fn survey(&mut self, light: &Light, now: &[InverterNow]) {
        // Times that are off would turn planes.
        if self.state.measuring.has_clock_off() {
            return;
        }
        for p in 0..self.plant.planes.len() {
            let horizon = self.plant.planes[p].horizon.as_ref();
            if horizon.is_some_and(|horizon| crate::sky::is_hidden(&light.sun, horizon)) {
                continue;
            }
            let Some((ground, other)) = self.ladder.ground(p, light) else {
                continue;
            };
            let responses = self.responses(p, now);
            let Some(response_ratio) = median(responses.iter().map(|r| r.0)) else {
                continue;
            };
            let sigma_ratio = responses.iter().map(|r| r.1).fold(f64::INFINITY, f64::min);
            let w_m2 = |c: crate::sky::Components| [c.ghi.w_m2(), c.dni.w_m2(), c.dhi.w_m2()];
            self.state.surveys[p].add(SurveySlot {
                at: light.at,
                ground_w_m2: w_m2(ground),
                other_w_m2: w_m2(other),
                clear_ghi_w_m2: light.clear_ghi_w_m2(),
                response_ratio,
                sigma_ratio,
            });
        }
    }

    /// Current over rated current of the inputs of a plane, and one standard deviation of it.
    pub(super) fn responses(&self, p: usize, now: &[InverterNow]) -> Vec<(f64, f64)> {
        let mut responses = Vec::new();
        for (i, inverter) in now.iter().enumerate() {
            for (k, input) in inverter.inputs.iter().enumerate() {
                let model = &self.chain.inputs[i][k];
                let of = &self.plant.inverters[i];
                let subject = self.subject((i, k));
                let is_free = inverter.limit.is_none() && input.slot.limit.is_none();
                let is_healthy = is_free && !self.has_window_finding(&subject);
                // Two planes on one input look like one between them.
                let lies_here = of.inputs[k].strings.iter().all(|s| s.plane == p);
                if !lies_here || !is_healthy {
                    continue;
                }
                let current = input.slot.current.zip(input.residual);
                responses.extend(current.map(|(current, residual)| {
                    (current.a() / model.rated_current_a, residual.own)
                }));
            }
        }
        responses
    }
}
