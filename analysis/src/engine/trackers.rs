//! Where the trackers of the inputs work on their curves: each slot for the day's watcher, and what a
//! day tells into the book.
//! Never in here: rules and thresholds (`detect`), words (`diagnose`).

use super::Engine;
use super::slots::{InverterNow, When};
use crate::detect::{
    Budget, Kind, OffPeakDay, OffPeakSlot, Shared, common_of_alike, common_voltage, is_allowed,
    off_peak_guard, off_peak_slot,
};
use crate::diagnose::explain;
use crate::expected::Light;
use crate::reading::{MEDIAN_OVER_MEAN, Time, median};

impl Engine {
    pub(super) fn off_peak_slot(
        &self,
        (i, k): (usize, usize),
        when: When,
        now: &[InverterNow],
        light: &Light,
    ) -> Option<OffPeakSlot> {
        let inverter = &self.plant.inverters[i];
        let input = &inverter.inputs[k];
        let it = &now[i].inputs[k];
        let others = now[i].inputs.iter().enumerate().filter(|(j, _)| *j != k);
        let others: Vec<f64> = others
            .filter_map(|(_, other)| other.residual.map(|r| r.voltage_ratio))
            .collect();
        let subject = self.subject((i, k));
        let is_settled = now[i].facts.is_settled() && !now[i].facts.throttled;
        if !is_settled
            || self.has_window_finding(&subject)
            || is_allowed(inverter, input, &it.slot, now[i].limit, &others)
            || self.is_near_shade((i, k), light)
        {
            return None;
        }
        // A gate that holds the input back says nothing of the light.
        let plane = light.planes[self.chain.inputs[i][k].plane]?;
        if plane.unsteady_ratio > crate::detect::MAX_UNSTEADY_RATIO {
            return None;
        }
        let point = (it.slot.voltage?.v(), it.slot.current?.a());
        let prediction = it.prediction.as_ref()?;
        let shared = self.shared((i, k), now)?;
        off_peak_slot(when.start, prediction, point, &shared, it.missing_wh)
    }

    /// What the other inputs of the plane show of the voltage and the current that all share, and
    /// those of the plant of the voltage.
    fn shared(&self, (i, k): (usize, usize), now: &[InverterNow]) -> Option<Shared> {
        let plane = self.chain.inputs[i][k].plane;
        let mut siblings = Vec::new();
        let mut others = Vec::new();
        for (j, inverter) in now.iter().enumerate() {
            for (l, input) in inverter.inputs.iter().enumerate() {
                let subject = self.subject((j, l));
                let is_other = (j, l) != (i, k)
                    && !self.has_window_finding(&subject)
                    && !self.is_off_peak(&subject);
                let seen = input.residual.zip(input.prediction.as_ref());
                let Some((residual, prediction)) = seen.filter(|_| is_other) else {
                    continue;
                };
                others.push((
                    residual.voltage_ratio,
                    prediction.voltage_uncertainty.own_ratio,
                ));
                if self.chain.inputs[j][l].plane == plane {
                    siblings.push(residual);
                }
            }
        }
        let prediction = now[i].inputs[k].prediction.as_ref()?;
        Some(Shared {
            voltage: common_voltage(prediction.voltage_uncertainty, &siblings),
            current: common_of_alike(prediction.current_uncertainty.common_ratio, &siblings),
            others_voltage: median(others.iter().map(|(ratio, _)| *ratio)).map(|ratio| {
                let n = others.len() as f64;
                let own = others.iter().map(|(_, own)| own).sum::<f64>() / n;
                (ratio, MEDIAN_OVER_MEAN * own / n.sqrt())
            }),
        })
    }

    pub(super) fn close_off_peak(&mut self, (i, k): (usize, usize), found: Time) {
        let inverter = &self.plant.inverters[i];
        let budget = Budget::new(self.plant.false_alarms_per_inverter_year);
        let guard = off_peak_guard(budget, inverter.inputs.len());
        let slot = self.plant.timing.slot;
        let Some(day) = self.state.inverters[i].own.off_peak[k].close(slot, guard) else {
            return;
        };
        let subject = self.subject((i, k));
        match day {
            OffPeakDay::Off(off) => {
                // Where the peak is, it does not show.
                self.state.calibration.distrust_today((i, k));
                let new = explain::tracker_off_peak(subject, found, &off);
                self.state.book.keep(new, false);
            }
            OffPeakDay::Back(at) => self.state.book.end(&subject, Kind::TrackerOffPeak, at),
        }
    }
}
