//! What whole planes lose over weeks and years: dirt and age.
//! Never in here: when that is told (`detect`).

use super::Engine;
use super::slots::When;
use crate::detect::{DirtBeside, Edge, Kind, PlaneDay, SoilingWatch, YearWatch};
use crate::diagnose::{Subject, explain};
use crate::expected::{Light, PlaneLight, WeatherRung};
use crate::reading::{DeviceId, SolarDay, Span, Time, median};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Sun and light in which a sensor, or the inputs of a plane, are compared with a clear sky.
const LEAST_ELEVATION_DEG: f64 = 20.0;
const MOST_INCIDENCE_DEG: f64 = 60.0;
const LEAST_BEAM_SHARE: f64 = 0.6;
/// The clearest part of a day stands for its clear sky [-], of at least so many slots' light [h].
const CLEAREST: f64 = 0.8;
const LEAST_CLEAR_H: f64 = 1.0;
/// Of what inputs show of it by themselves, so much light must lie this near to it [h], [-].
const LEAST_STEADY_H: f64 = 2.5;
const STEADY_RATIO: f64 = 0.04;

/// What is remembered of one plane.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct PlaneState {
    /// By where its light comes from: no two sensors say the same of it.
    soiling: BTreeMap<WeatherRung, SoilingWatch>,
    pub years: YearWatch,
    /// The light over a clear sky's, today.
    clear_today: Vec<(WeatherRung, f32)>,
    /// The share of a clear sky that its own inputs have shown last, and when.
    pub shown: Option<(Time, f64)>,
}

impl PlaneState {
    /// Whether it stands as dirty.
    pub fn is_soiled(&self) -> bool {
        self.soiling.values().any(SoilingWatch::stands)
    }

    /// Takes the rain of a day, and forgets what was seen in light that has long been gone: it would stand
    /// for ever.
    fn pass_day(&mut self, day: SolarDay, rain_mm: Option<f64>) {
        self.soiling.retain(|_, watch| !watch.is_stale(day));
        for watch in self.soiling.values_mut() {
            watch.rained(day, rain_mm);
        }
    }
}

impl Engine {
    /// Takes the share of the clear sky that this slot shows.
    pub(super) fn see_planes(&mut self, light: &Light) {
        let elevation_deg = light.sun.apparent_elevation_deg();
        for (plane, state) in light.planes.iter().zip(&mut self.state.planes) {
            let fits = |p: &&PlaneLight| {
                (p.rung.is_measured() || p.own_inputs.is_some())
                    && elevation_deg >= LEAST_ELEVATION_DEG
                    && p.incidence.deg() <= MOST_INCIDENCE_DEG
                    && p.beam_share >= LEAST_BEAM_SHARE
            };
            let share = |p: &PlaneLight| (p.rung, (p.poa.w_m2() / p.clear_poa.w_m2()) as f32);
            state
                .clear_today
                .extend(plane.as_ref().filter(fits).map(share));
        }
    }

    /// Takes the day that has ended, of every plane.
    pub(super) fn close_plane_days(&mut self, day: SolarDay, when: When) {
        let rain_mm = self.state.moisture.now(when.start).rain_mm;
        let began = day.start(self.plant.site.longitude.deg());
        for p in 0..self.state.planes.len() {
            let clear = std::mem::take(&mut self.state.planes[p].clear_today);
            self.pass_plane_day(p, (day, began), rain_mm);
            let Some(level) = self.state.calibration.level(p) else {
                continue;
            };
            if let Some(watch) = self.state.planes[p].soiling.get_mut(&level.rung) {
                watch.lit(day);
            }
            let in_its_light = clear.into_iter().filter(|(rung, _)| *rung == level.rung);
            let shares: Vec<f64> = in_its_light.map(|(_, share)| f64::from(share)).collect();
            let slot = self.plant.timing.slot;
            let clearest = clearest(&shares, slot);
            let shown = match dirt_beside(level.rung) {
                DirtBeside::PlaneSensor => Some((level.ratio, clearest)),
                // Only days with clear hours are alike: under clouds what light a sensor sees, and how it
                // is brought into a plane, differ by more than dirt.
                DirtBeside::HorizontalSensor => clearest.map(|_| (level.ratio, clearest)),
                // A sensor that is silent for a while is no reason to judge without one.
                DirtBeside::ClearSky => clearest
                    .filter(|_| !self.state.planes[p].soiling.keys().any(|r| r.is_measured()))
                    .and_then(|clear| Some((steady_near(clear, &shares, slot)?, None))),
            };
            if let Some((level_ratio, clear_ratio)) = shown {
                let of_day = PlaneDay {
                    day,
                    began,
                    level_ratio,
                    clear_ratio,
                };
                self.judge_soiling((p, level.rung), of_day, when);
            }
            let is_healthy = level.may_calibrate && !self.state.planes[p].is_soiled();
            let aged = self.chain.left_by_age(p, when.start).unwrap_or(1.0);
            if is_healthy && level.rung.is_measured() {
                let loss = self.state.planes[p]
                    .years
                    .take(day, began, level.ratio * aged);
                let stated = 1.0 - aged;
                for device in self.devices_on(p) {
                    if let Some(loss) = &loss {
                        let new = explain::degradation(&device, when.start, loss, stated);
                        self.state.book.keep(new, true);
                    }
                }
            }
        }
    }

    fn judge_soiling(&mut self, (p, rung): (usize, WeatherRung), of_day: PlaneDay, when: When) {
        let new = || SoilingWatch::new(dirt_beside(rung), of_day.day);
        let watch = self.state.planes[p].soiling.entry(rung).or_insert_with(new);
        let edge = watch.take(of_day, when.start);
        match edge {
            Some(Edge::Found { began, found, seen }) => {
                for device in self.devices_on(p) {
                    let new = explain::soiling(&device, began, found, &seen);
                    self.state.book.open(new);
                }
            }
            Some(Edge::Ended { at }) => self.end_soiling(p, at),
            None => {}
        }
        let held = self.state.planes[p].is_soiled();
        self.state.calibration.hold_light(p, held);
    }

    fn pass_plane_day(&mut self, p: usize, (day, began): (SolarDay, Time), rain_mm: Option<f64>) {
        let plane = &mut self.state.planes[p];
        let was_soiled = plane.is_soiled();
        plane.pass_day(day, rain_mm);
        if was_soiled && !plane.is_soiled() {
            self.state.calibration.hold_light(p, false);
            self.end_soiling(p, began);
        }
    }

    /// Ends what was told of a plane, but not of inverters with another plane that is still dirty: they
    /// are told as one.
    fn end_soiling(&mut self, p: usize, at: Time) {
        for device in self.devices_on(p) {
            if !self.is_soiled(&device) {
                let subject = Subject::device(&device);
                self.state.book.end(&subject, Kind::Soiling, at);
            }
        }
    }

    /// Whether any plane with inputs of an inverter stands as dirty.
    fn is_soiled(&self, device: &DeviceId) -> bool {
        let planes = self.state.planes.iter().enumerate();
        let mut dirty = planes.filter(|(_, plane)| plane.is_soiled());
        dirty.any(|(p, _)| self.devices_on(p).contains(device))
    }

    /// Inverters with inputs on a plane.
    fn devices_on(&self, p: usize) -> Vec<DeviceId> {
        let inverters = self.plant.inverters.iter().zip(&self.chain.inputs);
        let on = inverters.filter(|(_, inputs)| inputs.iter().any(|input| input.plane == p));
        on.map(|(inverter, _)| inverter.id.clone()).collect()
    }

    /// Throws away what was seen of today: time has gone back.
    pub(super) fn forget_planes_today(&mut self) {
        for plane in &mut self.state.planes {
            plane.clear_today.clear();
        }
        for inverter in &mut self.state.inverters {
            inverter.typical.forget_today();
        }
    }
}

/// The share of a clear sky that stands for its clearest part, of a day with enough slots.
fn clearest(shares: &[f64], slot: Span) -> Option<f64> {
    let mut sorted = shares.to_vec();
    sorted.sort_by(f64::total_cmp);
    let is_enough = sorted.len() as f64 * slot.hours() >= LEAST_CLEAR_H;
    let rank = (CLEAREST * sorted.len() as f64) as usize;
    sorted.get(rank).filter(|_| is_enough).copied()
}

/// The middle of the shares of a clear sky near to the clearest of a day, if these last.
fn steady_near(clearest: f64, shares: &[f64], slot: Span) -> Option<f64> {
    let near = |share: &&f64| (*share / clearest - 1.0).abs() <= STEADY_RATIO;
    let steady = || shares.iter().filter(near);
    let lasts = steady().count() as f64 * slot.hours() >= LEAST_STEADY_H;
    median(steady().copied()).filter(|_| lasts)
}

/// What dirt is judged beside, in light from there.
fn dirt_beside(rung: WeatherRung) -> DirtBeside {
    if rung.is_horizontal() {
        DirtBeside::HorizontalSensor
    } else if rung.is_measured() {
        DirtBeside::PlaneSensor
    } else {
        DirtBeside::ClearSky
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clear_sky_stands_where_it_lasts() {
        let slot = Span::from_min(15);
        // Four hours of clear sky, with clouds and their bright edges.
        let day: Vec<f64> = (0..24)
            .map(|n| match n % 6 {
                0 => 0.4,
                1 => 1.1,
                _ => 0.93 + 0.002 * (n % 3) as f64,
            })
            .collect();
        let clear = clearest(&day, slot).expect("enough");
        assert!((0.93..0.94).contains(&clear), "{clear}");
        let steady = steady_near(clear, &day, slot).expect("16 slots");
        assert!((0.93..0.94).contains(&steady), "{steady}");
        assert_eq!(clearest(&day[..3], slot), None);
        assert_eq!(steady_near(clear, &day[..12], slot), None, "two hours");
    }

    #[test]
    fn rain_reaches_the_watch_of_every_light_and_light_that_is_gone_is_forgotten() {
        let first = SolarDay::from_number(0);
        let mut plane = PlaneState::default();
        for rung in [WeatherRung::PlaneSensor, WeatherRung::HorizontalOnly] {
            let watch = SoilingWatch::new(dirt_beside(rung), first);
            plane.soiling.insert(rung, watch);
        }
        let before = plane.soiling.clone();
        plane.pass_day(SolarDay::from_number(1), Some(8.0));
        for (rung, watch) in &plane.soiling {
            assert_ne!(*watch, before[rung], "{rung:?}");
        }
        let lit = plane.soiling.get_mut(&WeatherRung::PlaneSensor);
        lit.expect("it is there").lit(SolarDay::from_number(50));
        plane.pass_day(SolarDay::from_number(90), None);
        let left: Vec<_> = plane.soiling.keys().copied().collect();
        assert_eq!(left, [WeatherRung::PlaneSensor]);
    }
}
