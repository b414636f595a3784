//! What one day shows of the supply at an inverter: steps for its resistance, and how high the
//! voltage came, as measured and without the export.
//!
//! Model:   V0 = V - R I, over ten minutes                                          eq. (1)
//! Symbols: V [V]   I [A]   R [ohm] as known so far; without it only where I is next to nothing
//! Range:   ten-minute means of which at least half was seen.
//! Source:  own-export rise, REFERENCE E.4: V(P -> 0) = V - I R.
//! Check:   tests/acceptance/engine/export.rs
//! Never in here: what the days before have shown.

use super::slope::{Step, SupplySlope, supply_slope};
use crate::reading::{Span, Time};
use serde::{Deserialize, Serialize};

/// Length of the means that limits of sustained over-voltage look at.
const TEN_MIN: Span = Span::from_min(10);
/// A day's highest voltage is one that was exceeded for so many of them [ten minutes].
const EXCEEDED: usize = 3;
/// Least step of the current over rated current that says anything of the supply [-], and the most
/// steps that are kept, those with the largest steps of the current (engineering judgement).
const LEAST_STEP_RATIO: f64 = 0.04;
const MOST_STEPS: usize = 240;
/// Current over rated current that is next to nothing [-].
const NO_EXPORT_RATIO: f64 = 0.01;

/// A short mean of one phase.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Mean {
    pub(super) start: Time,
    pub(super) volts: f64,
    /// Of everything that shares the phase.
    pub(super) amps: f64,
    pub(super) reactive_a: Option<f64>,
    pub(super) is_producing: bool,
}

/// One day of one inverter.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ExportDay {
    pub(super) phases: [PhaseDay; 3],
}

/// One day of one phase.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct PhaseDay {
    /// Start of the first mean.
    pub(super) first: Option<Time>,
    steps: Vec<Step>,
    /// Over the steps with known reactive current: sum of dQ dI and of dI^2 [A2], and how many.
    reactive: (f64, f64, u32),
    filling: Option<TenMin>,
    /// Highest ten-minute means, highest first [V]: without export, and as measured.
    without_export: Vec<f64>,
    measured: Vec<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct TenMin {
    start: Time,
    volts: f64,
    amps: f64,
    means: u32,
}

impl ExportDay {
    pub(super) fn add(
        &mut self,
        phase: usize,
        now: &Mean,
        rated_a: f64,
        known_ohm: impl FnOnce() -> Option<f64>,
        length: Span,
    ) {
        let day = &mut self.phases[phase];
        day.first.get_or_insert(now.start);
        let start = now.start.slot_start(TEN_MIN);
        if let Some(over) = day.filling.take_if(|f| f.start != start) {
            day.close(&over, rated_a, known_ohm(), length);
        }
        let filling = day.filling.get_or_insert(TenMin {
            start,
            volts: 0.0,
            amps: 0.0,
            means: 0,
        });
        filling.volts += now.volts;
        filling.amps += now.amps;
        filling.means += 1;
    }

    pub(super) fn step(&mut self, phase: usize, before: &Mean, now: &Mean, rated_a: f64) {
        let current = now.amps - before.amps;
        let both_produce = before.is_producing && now.is_producing;
        if !both_produce || current.abs() < LEAST_STEP_RATIO * rated_a {
            return;
        }
        let day = &mut self.phases[phase];
        if let Some((now, before)) = now.reactive_a.zip(before.reactive_a) {
            day.reactive.0 += (now - before) * current;
            day.reactive.1 += current * current;
            day.reactive.2 += 1;
        }
        let half_hour = now.start.unix_ms().rem_euclid(86_400_000) / 1_800_000;
        day.steps.push(Step {
            half_hour: half_hour as u8,
            current_a: current as f32,
            voltage_v: (now.volts - before.volts) as f32,
        });
        if day.steps.len() > MOST_STEPS {
            let smallest = (0..day.steps.len()).min_by(|a, b| {
                let size = |n: &usize| day.steps[*n].current_a.abs();
                size(a).total_cmp(&size(b))
            });
            day.steps.remove(smallest.unwrap_or_default());
        }
    }
}

impl PhaseDay {
    fn close(&mut self, over: &TenMin, rated_a: f64, known_ohm: Option<f64>, length: Span) {
        if length * i64::from(over.means) * 2 < TEN_MIN.min(length * 2) {
            return;
        }
        let n = f64::from(over.means);
        let (volts, amps) = (over.volts / n, over.amps / n);
        keep_highest(&mut self.measured, volts);
        let none = amps.abs() <= NO_EXPORT_RATIO * rated_a;
        let rise = known_ohm.map(|ohm| ohm * amps); // eq. (1)
        if let Some(rise) = rise.or(none.then_some(0.0)) {
            keep_highest(&mut self.without_export, volts - rise);
        }
    }

    /// The resistance that the day's steps show.
    pub(super) fn slope(&self) -> Option<SupplySlope> {
        supply_slope(&self.steps)
    }

    #[cfg(test)]
    pub(super) fn steps_seen(&self) -> usize {
        self.steps.len()
    }

    /// Reactive over active current in the steps [-]; `None` where it is not measured.
    pub(super) fn reactive_per_active(&self) -> Option<f64> {
        let (with, all, count) = self.reactive;
        (count as usize >= self.steps.len() && all > 0.0).then(|| with / all)
    }

    /// Exceeded for half an hour of the day: without export and as measured [V].
    pub(super) fn high_without_export_v(&self) -> Option<f64> {
        self.without_export.get(EXCEEDED - 1).copied()
    }

    pub(super) fn high_measured_v(&self) -> Option<f64> {
        self.measured.get(EXCEEDED - 1).copied()
    }
}

fn keep_highest(highest: &mut Vec<f64>, volts: f64) {
    let place = highest.partition_point(|v| *v >= volts);
    highest.insert(place, volts);
    highest.truncate(EXCEEDED);
}
