//! The inverter's own days: how it is wired, where its trackers work, what it makes of DC power, what
//! limits take.
//! A day is decided at its sunset, or when the next has begun.
//! Never in here: rules and thresholds (`detect`), words (`diagnose`).

use super::Engine;
use super::slots::{InverterNow, When};
use crate::array::Limit;
use crate::detect::{
    Budget, Edge, EfficiencySlot, EfficiencyWatch, Gate, Kind, LimitedDays, LimitedEdge,
    LimitedSlot, OffPeakSlot, OffPeakWatch, WiringWatch,
};
use crate::diagnose::{Subject, explain};
use crate::expected::Light;
use crate::plant::Inverter;
use crate::reading::{Energy, Power, SlotMeans, SolarDay, Time};
use serde::{Deserialize, Serialize};

/// Days of a year that tell an inverter's efficiency, of two streams on each.
const EFFICIENCY_DAYS: f64 = 365.0;
const EFFICIENCY_STREAMS: usize = 2;
/// Hour of the mean sun from which a sun that is down has set.
const NOON_H: f64 = 12.0;

/// What is remembered of one inverter's own days.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct OwnDays {
    /// The day that the watchers are in, until it is decided.
    day: Option<SolarDay>,
    efficiency: EfficiencyWatch,
    limited: LimitedDays,
    /// By input.
    pub(super) off_peak: Vec<OffPeakWatch>,
    pub(super) wiring: WiringWatch,
}

impl OwnDays {
    pub fn new(inverter: &Inverter) -> Self {
        Self {
            off_peak: vec![OffPeakWatch::new(); inverter.inputs.len()],
            ..Self::default()
        }
    }

    /// The slots of today will come again.
    pub fn forget_today(&mut self) {
        self.day = None;
        self.efficiency.forget_today();
        self.limited.forget_today();
        self.wiring.forget_today();
        for watch in &mut self.off_peak {
            watch.forget_today();
        }
    }
}

impl Engine {
    /// Decides on days that are over, before anything is learned from them.
    pub(super) fn close_own_days_before(&mut self, when: When) {
        for i in 0..self.plant.inverters.len() {
            let day = self.state.inverters[i].own.day;
            if day.is_some_and(|day| day != when.day) {
                self.close_own_day(i, when.start);
            }
        }
    }

    /// Takes the slot, or decides on the day if the sun has set.
    pub(super) fn watch_own_days(
        &mut self,
        when: When,
        now: &[InverterNow],
        (light, by_sky): (&Light, &Light),
        means: &SlotMeans,
    ) {
        let is_up = light.sun.is_up();
        let hour = when.start.solar_hour(self.plant.site.longitude.deg());
        for i in 0..now.len() {
            if is_up {
                self.add_to_own_day(i, when, now, (light, by_sky), means);
            } else if hour >= NOON_H && self.state.inverters[i].own.day.is_some() {
                self.close_own_day(i, when.start);
            }
        }
    }

    fn add_to_own_day(
        &mut self,
        i: usize,
        when: When,
        now: &[InverterNow],
        (light, by_sky): (&Light, &Light),
        means: &SlotMeans,
    ) {
        let limited = self.limited_slot(i, when, &now[i]);
        let efficiency = self.efficiency_slot(i, when, &now[i], means);
        let off_peak: Vec<Option<OffPeakSlot>> = (0..now[i].inputs.len())
            .map(|k| self.off_peak_slot((i, k), when, now, light))
            .collect();
        let wiring = self.wiring_slot(i, when, &now[i], (by_sky, means));
        let own = &mut self.state.inverters[i].own;
        own.day = Some(when.day);
        if let Some(slot) = wiring {
            let span = self.plant.timing.slot;
            own.wiring.add(&slot, span, &self.plant.inverters[i]);
        }
        if let Some(slot) = limited {
            own.limited.add(&slot);
        }
        if let Some(slot) = efficiency {
            own.efficiency.add(&slot);
        }
        for (watch, slot) in own.off_peak.iter_mut().zip(off_peak) {
            slot.into_iter().for_each(|slot| watch.add(slot));
        }
    }

    /// What limits took in a slot. What holds one input alone back and has no name is asked of its
    /// tracker.
    fn limited_slot(&self, i: usize, when: When, now: &InverterNow) -> Option<LimitedSlot> {
        let slot = self.plant.timing.slot;
        let expected_w = now.expected_ac?.w();
        let ac_w = now.facts.ac_power_w?;
        let wh = |w: f64| (Power::from_w(w.max(0.0)) * slot).wh();
        let taken = match now.limit.filter(|limit| limit.holds_back()) {
            Some(Limit::RatedPower) => {
                let inverter = &self.plant.inverters[i];
                let dc_w: f64 = now.inputs.iter().filter_map(peak_w).sum();
                let offered_w = inverter.ac_without_limit(Power::from_w(dc_w)).w();
                vec![(Limit::RatedPower, wh(offered_w - inverter.rated_ac.w()))]
            }
            Some(limit) => vec![(limit, wh(expected_w - ac_w))],
            None => {
                let inputs = now.inputs.iter();
                let named = inputs.filter_map(|input| Some((input.slot.limit?, input.missing_wh)));
                named
                    .filter(|(limit, _)| limit.holds_back() && *limit != Limit::NotTold)
                    .collect()
            }
        };
        Some(LimitedSlot {
            from: when.start,
            to: when.end,
            expected_wh: wh(expected_w),
            taken,
            power_limit_ratio: now.facts.power_limit_ratio,
        })
    }

    /// AC and DC power of a slot in which nothing limits and every input is measured.
    fn efficiency_slot(
        &self,
        i: usize,
        when: When,
        now: &InverterNow,
        means: &SlotMeans,
    ) -> Option<EfficiencySlot> {
        let is_free = now.limit.is_none()
            && !now.facts.throttled
            && now.facts.is_settled()
            && now.inputs.iter().all(|input| {
                input.slot.limit.is_none()
                    && !matches!(input.slot.gate, Gate::Limited | Gate::Unsteady)
            });
        if !is_free {
            return None;
        }
        let inverter = &self.plant.inverters[i];
        let dc_w: Option<f64> = (0..now.inputs.len())
            .map(|k| self.dc_power_w(i, k, means))
            .sum();
        let dc = Power::from_w(dc_w?);
        let by_datasheet_w = inverter.ac_without_limit(dc).w();
        let ac_w = now.facts.ac_power_w?;
        (by_datasheet_w > 0.0).then(|| EfficiencySlot {
            start: when.start,
            load_ratio: by_datasheet_w / inverter.rated_ac.w(),
            ratio: ac_w / by_datasheet_w,
            ac_wh: (Power::from_w(ac_w) * self.plant.timing.slot).wh(),
        })
    }

    /// As published, else from voltage and current.
    fn dc_power_w(&self, i: usize, k: usize, means: &SlotMeans) -> Option<f64> {
        let published = self.roles.inverters[i].inputs[k].power;
        let published = published.and_then(|id| means.get(id)).map(|s| s.mean);
        published.or_else(|| self.operating_point(i, k, means).map(|(v, a)| v * a))
    }

    fn close_own_day(&mut self, i: usize, found: Time) {
        self.state.inverters[i].own.day = None;
        self.close_limited(i, found);
        self.close_efficiency(i, found);
        self.close_wiring_day(i, found);
        for k in 0..self.plant.inverters[i].inputs.len() {
            self.close_off_peak((i, k), found);
        }
    }

    fn close_limited(&mut self, i: usize, found: Time) {
        let Some(edge) = self.state.inverters[i].own.limited.close() else {
            return;
        };
        let device = &self.plant.inverters[i].id;
        let subject = Subject::device(device);
        match edge {
            LimitedEdge::Limited(stretch, wh) => {
                let lost = Energy::from_wh(wh);
                if self.state.book.stands(&subject, Kind::Limited) {
                    self.state.book.add_lost(&subject, Kind::Limited, lost);
                }
                let new = explain::limited(device, found, &stretch, lost);
                self.state.book.keep(new, false);
            }
            LimitedEdge::Ended(stretch) => {
                self.state.book.end(&subject, Kind::Limited, stretch.ended);
            }
        }
    }

    fn close_efficiency(&mut self, i: usize, found: Time) {
        let budget = Budget::new(self.plant.false_alarms_per_inverter_year);
        let between =
            budget.observations_between(Kind::EfficiencyLow, EFFICIENCY_STREAMS, EFFICIENCY_DAYS);
        let slot_hours = self.plant.timing.slot.hours();
        let watch = &mut self.state.inverters[i].own.efficiency;
        let Some(day) = watch.close(found, slot_hours, between) else {
            return;
        };
        let device = &self.plant.inverters[i].id;
        let (subject, lost) = (Subject::device(device), Energy::from_wh(day.lost_wh));
        match day.edge {
            Some(Edge::Found { began, found, seen }) => {
                let new = explain::efficiency_low(device, began, found, &seen, lost);
                self.state.book.open(new);
            }
            Some(Edge::Ended { at }) => self.state.book.end(&subject, Kind::EfficiencyLow, at),
            None => self
                .state
                .book
                .add_lost(&subject, Kind::EfficiencyLow, lost),
        }
    }
}

fn peak_w(input: &super::slots::InputNow) -> Option<f64> {
    input.prediction.as_ref().map(|p| p.power().w())
}
