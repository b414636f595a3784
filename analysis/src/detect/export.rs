//! What the exported current does to the supply's voltage: short means of every inverter, and the
//! steps from one to the next.
//!
//! Inverters of one site share its service cable, so a step of the current is that of all
//! three-phase inverters together; one on a single phase stands alone, because nothing says on
//! which phase the others are. A mean counts only where every inverter that takes part has
//! answered, a step only where all of them produce: what an inverter does that nobody hears moves
//! the voltage as well.
//! Current: active current of a phase, from its current less the reactive part where that is known,
//! else from AC power, voltage and phases.
//! Never in here: what a day of steps means (`export_day`), what many days mean (`supply_days`).

use super::export_day::{ExportDay, Mean};
use crate::reading::{SolarDay, Span, Time};
use serde::{Deserialize, Serialize};

/// Length of the means, where polls come at least as often.
const SHORTEST_MEAN: Span = Span::from_min(1);

/// What is fixed about an inverter's export.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exporter {
    /// 1 or 3.
    pub phases: usize,
    /// Current of a phase at rated power and nominal voltage [A].
    pub rated_a: f64,
}

/// What is fixed about a site's export: by inverter, `None` for those that do not publish it.
#[derive(Debug, Clone, PartialEq)]
pub struct ExportSite {
    exporters: Vec<Option<Exporter>>,
    mean: Span,
}

impl ExportSite {
    /// From the inverters, in the plant's order, and the longest time between two polls of one.
    pub fn new(exporters: Vec<Option<Exporter>>, every: Span) -> Self {
        Self {
            exporters,
            mean: SHORTEST_MEAN.max(every),
        }
    }

    /// Current of a phase with everything that shares it at rated power [A]; `None` for an inverter
    /// that takes no part.
    pub fn rated_a(&self, i: usize) -> Option<f64> {
        let with = |j: &usize| self.exporters[*j].filter(|_| self.shares(i, *j));
        self.exporters[i]?;
        let all = (0..self.exporters.len()).filter_map(|j| with(&j));
        Some(all.map(|of| of.rated_a).sum())
    }

    /// Phases of an inverter, 0 where it takes no part.
    pub fn phases(&self, i: usize) -> usize {
        self.exporters[i].map_or(0, |of| of.phases)
    }

    /// Length of a short mean.
    pub fn mean(&self) -> Span {
        self.mean
    }

    fn shares(&self, i: usize, j: usize) -> bool {
        i == j || (self.phases(i) == 3 && self.phases(j) == 3)
    }
}

/// The AC side of one inverter in one poll.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct ExportPoll {
    /// Whether it produces.
    pub producing: bool,
    /// Phase to neutral [V].
    pub volts: [Option<f64>; 3],
    /// Active current to the supply, by phase [A].
    pub amps: [Option<f64>; 3],
    /// Reactive current, mean of the phases [A].
    pub reactive_a: Option<f64>,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct Sum {
    polls: u32,
    is_producing: bool,
    volts: [f64; 3],
    amps: [f64; 3],
    reactive_a: f64,
    reactive_polls: u32,
}

impl Sum {
    fn add(&mut self, poll: &ExportPoll, phases: usize) {
        let pairs = poll.volts.iter().zip(&poll.amps).take(phases);
        let Some(pairs) = pairs.map(|(v, a)| v.zip(*a)).collect::<Option<Vec<_>>>() else {
            return;
        };
        for (phase, (volts, amps)) in pairs.into_iter().enumerate() {
            self.volts[phase] += volts;
            self.amps[phase] += amps;
        }
        self.is_producing = poll.producing && (self.polls == 0 || self.is_producing);
        self.polls += 1;
        if let Some(amps) = poll.reactive_a {
            self.reactive_a += amps;
            self.reactive_polls += 1;
        }
    }

    fn mean(&self, sum: f64) -> f64 {
        sum / f64::from(self.polls)
    }
}

/// All inverters in one short mean.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Means {
    start: Time,
    inverters: Vec<Sum>,
}

impl Means {
    /// Of one inverter's phase, with the current of all that share it.
    fn of(&self, site: &ExportSite, i: usize, phase: usize) -> Option<Mean> {
        let own = &self.inverters[i];
        let mut all = Mean {
            start: self.start,
            volts: own.mean(own.volts[phase]),
            amps: 0.0,
            reactive_a: Some(0.0),
            is_producing: true,
        };
        for (j, other) in self.inverters.iter().enumerate() {
            if site.exporters[j].is_none() || !site.shares(i, j) {
                continue;
            }
            if other.polls == 0 {
                return None;
            }
            all.amps += other.mean(other.amps[phase]);
            all.is_producing &= other.is_producing;
            let reactive =
                (other.reactive_polls == other.polls).then(|| other.mean(other.reactive_a));
            all.reactive_a = all.reactive_a.zip(reactive).map(|(a, b)| a + b);
        }
        Some(all)
    }
}

/// Watches the export of a site.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ExportWatch {
    filling: Option<Means>,
    before: Option<Means>,
    day: Option<SolarDay>,
    /// By inverter.
    days: Vec<ExportDay>,
}

impl ExportWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// One poll of inverter `i`, in order of time. `known_ohm`: what is known of the resistance of
    /// a phase of an inverter. When a new day has begun: the one before, and what it has shown, by
    /// inverter.
    pub fn poll(
        &mut self,
        site: &ExportSite,
        (i, at): (usize, Time),
        day: SolarDay,
        poll: &ExportPoll,
        known_ohm: impl Fn(usize, usize) -> Option<f64>,
    ) -> Option<(SolarDay, Vec<ExportDay>)> {
        let start = at.slot_start(site.mean);
        let is_new = self.filling.as_ref().is_none_or(|f| f.start != start);
        let mut over = None;
        if is_new {
            self.close_mean(site, start, known_ohm);
            let before = self.day.replace(day).filter(|before| *before != day);
            over = before.map(|before| (before, std::mem::take(&mut self.days)));
            self.filling = Some(Means {
                start,
                inverters: vec![Sum::default(); site.exporters.len()],
            });
        }
        if let Some(filling) = &mut self.filling {
            filling.inverters[i].add(poll, site.phases(i));
        }
        over
    }

    fn close_mean(
        &mut self,
        site: &ExportSite,
        next: Time,
        known_ohm: impl Fn(usize, usize) -> Option<f64>,
    ) {
        let Some(means) = self.filling.take() else {
            return;
        };
        self.days
            .resize_with(site.exporters.len(), ExportDay::default);
        let is_next = |b: &&Means| means.start - b.start == site.mean;
        let before = self.before.as_ref().filter(is_next);
        for (i, day) in self.days.iter_mut().enumerate() {
            let Some(rated_a) = site.rated_a(i) else {
                continue;
            };
            for phase in 0..site.phases(i) {
                let Some(now) = means.of(site, i, phase) else {
                    continue;
                };
                day.add(phase, &now, rated_a, || known_ohm(i, phase), site.mean);
                if let Some(before) = before.and_then(|b| b.of(site, i, phase)) {
                    day.step(phase, &before, &now, rated_a);
                }
            }
        }
        // A clock that was set back breaks the row.
        self.before = (next > means.start).then_some(means);
    }
}

#[cfg(test)]
mod tests {
    use super::super::slope::SupplySlope;
    use super::*;

    const OHM: f64 = 0.1;

    fn exporter(phases: usize) -> Option<Exporter> {
        Some(Exporter {
            phases,
            rated_a: 20.0,
        })
    }

    /// Currents of two inverters under clouds of their own [A].
    fn amps(n: i64) -> [f64; 2] {
        let n = n as f64;
        [12.0 + 8.0 * (n * 0.9).sin(), 9.0 + 6.0 * (n * 1.7).cos()]
    }

    /// What a day shows of both inverters, on a supply that lifts each by what `lifts` makes of both
    /// currents; `answers`: whether an inverter does.
    fn day(
        site: &ExportSite,
        lifts: impl Fn(usize, [f64; 2]) -> f64,
        answers: impl Fn(usize, i64) -> bool,
    ) -> Vec<Option<SupplySlope>> {
        let mut watch = ExportWatch::new();
        let day = |n: i64| SolarDay::from_number(n / 1440);
        for n in 0..=1440 {
            let at = Time::from_unix_ms(n * 60_000);
            for i in (0..2).filter(|i| answers(*i, n)) {
                let poll = ExportPoll {
                    producing: true,
                    volts: [Some(230.0 + lifts(i, amps(n))); 3],
                    amps: [Some(amps(n)[i]); 3],
                    reactive_a: None,
                };
                let over = watch.poll(site, (i, at), day(n), &poll, |_, _| None);
                if let Some((over, days)) = over {
                    assert_eq!(over.number(), 0);
                    return days.iter().map(|d| d.phases[0].slope()).collect();
                }
            }
        }
        panic!("the day has ended");
    }

    fn assert_ohm(slope: Option<SupplySlope>, wanted: f64) {
        let ohm = slope.expect("enough steps").ohm;
        // Steps are kept in single precision.
        assert!((ohm - wanted).abs() < 1e-5, "{ohm}");
    }

    #[test]
    fn three_phase_inverters_of_a_site_share_its_cable() {
        let site = ExportSite::new(vec![exporter(3), exporter(3)], Span::from_s(10));
        assert_eq!(site.rated_a(0), Some(40.0));
        let all = |_, amps: [f64; 2]| OHM * (amps[0] + amps[1]);
        let slopes = day(&site, all, |_, _| true);
        assert_ohm(slopes[0], OHM);
        assert_ohm(slopes[1], OHM);
    }

    /// It exports all the same, so that the steps of the other would count for too much.
    #[test]
    fn while_one_is_silent_the_other_shows_nothing() {
        let site = ExportSite::new(vec![exporter(3), exporter(3)], Span::from_s(10));
        let all = |_, amps: [f64; 2]| OHM * (amps[0] + amps[1]);
        let slopes = day(&site, all, |i, n| i == 0 || n % 400 < 200);
        assert_ohm(slopes[0], OHM);
        let silent = day(&site, all, |i, n| i == 0 || n == 0);
        assert_eq!(silent, [None, None]);
    }

    #[test]
    fn an_inverter_on_one_phase_and_one_that_publishes_nothing_stand_alone() {
        let own = |i: usize, amps: [f64; 2]| OHM * amps[i];
        for exporters in [[exporter(1), exporter(3)], [exporter(3), None]] {
            let site = ExportSite::new(exporters.to_vec(), Span::from_s(10));
            assert_eq!(site.rated_a(0), Some(20.0));
            assert_ohm(day(&site, own, |_, _| true)[0], OHM);
        }
    }

    #[test]
    fn a_clock_that_goes_back_makes_no_step() {
        let site = ExportSite::new(vec![exporter(3)], Span::from_s(10));
        let mut watch = ExportWatch::new();
        let poll = |n: i64| ExportPoll {
            producing: true,
            volts: [Some(230.0 + n as f64); 3],
            amps: [Some(n as f64); 3],
            reactive_a: None,
        };
        for n in [10, 11, 5, 12, 13, 12] {
            let at = Time::from_unix_ms(n * 60_000);
            watch.poll(
                &site,
                (0, at),
                SolarDay::from_number(0),
                &poll(n),
                |_, _| None,
            );
        }
        let day = SolarDay::from_number(1);
        let over = watch.poll(&site, (0, Time::from_unix_ms(0)), day, &poll(0), |_, _| {
            None
        });
        let (_, days) = over.expect("another day");
        // From 10 to 11 and from 12 to 13.
        assert_eq!(days[0].phases[0].steps_seen(), 2);
    }
}
