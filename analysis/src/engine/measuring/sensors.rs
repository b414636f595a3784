//! Sensors beside the inputs of their planes, slot by slot and day by day.
//! Never in here: rules and thresholds (`detect`), words (`diagnose`).

use crate::detect::{BRIGHT_W_M2, Budget, Kind, MIN_POA_W_M2, SensorBasis, SensorSlot, Shows};
use crate::diagnose::explain;
use crate::engine::Engine;
use crate::engine::roles::Device;
use crate::engine::slots::{InverterNow, When};
use crate::expected::{Light, PlaneLight};
use crate::reading::{ChannelId, Quantity, SlotMeans, median};
use std::collections::BTreeSet;

/// Light and incidence in which sensor and inputs are compared [W/m2], [deg].
const COMPARED_FROM_W_M2: f64 = 200.0;
const COMPARED_TO_DEG: f64 = 65.0;
/// A sensor that shows less than this share of a clear sky shows nothing [-], where that is bright
/// [W/m2]: under a low sun it may be in a shade that the array is not in.
const DARK_RATIO: f64 = 0.1;
const DARK_FROM_W_M2: f64 = 250.0;
/// Assumed where no wind is measured [m/s].
const ASSUMED_WIND_M_S: f64 = 1.0;

impl Engine {
    pub(super) fn watch_dark(
        &mut self,
        when: When,
        light: &Light,
        means: &SlotMeans,
        contradicted: &BTreeSet<ChannelId>,
    ) {
        let (plant, slot) = (self.plant.clone(), self.plant.timing.slot);
        let ids: Vec<ChannelId> = self.state.measuring.dark.keys().copied().collect();
        for id in ids {
            let Some(shown) = means.get(id).map(|stat| stat.mean) else {
                continue;
            };
            let clear = match self.roles.quantity(id).1 {
                Quantity::Ghi => light.clear_ghi_w_m2(),
                _ => self.plane_of(id).map_or(0.0, |p| light.clear_poa[p].w_m2()),
            };
            let is_nothing = clear >= DARK_FROM_W_M2 && shown < DARK_RATIO * clear;
            let shows = if contradicted.contains(&id) && is_nothing {
                Shows::Nothing
            } else if !contradicted.contains(&id) && shown >= MIN_POA_W_M2 {
                Shows::Light
            } else {
                continue;
            };
            let watch = self.state.measuring.dark.get_mut(&id);
            let edge = watch.and_then(|watch| watch.slot(when.start, slot, shows));
            let channel = plant.channels.channel(id);
            if let Some(edge) = edge {
                let new = |began, found, (): &()| explain::sensor_dark(channel, (began, found));
                self.book_measuring(&channel.device, Kind::SensorWrong, edge, new);
            }
        }
    }

    pub(super) fn compare_sensors(
        &mut self,
        when: When,
        light: &Light,
        now: &[InverterNow],
        means: &SlotMeans,
    ) {
        let ids: Vec<ChannelId> = self.state.measuring.sensors.keys().copied().collect();
        for id in ids {
            let Some(slot) = self.sensor_slot(id, when, light, now, means) else {
                continue;
            };
            if let Some(watch) = self.state.measuring.sensors.get_mut(&id) {
                watch.add(when.day, slot);
            }
        }
    }

    fn sensor_slot(
        &self,
        id: ChannelId,
        when: When,
        light: &Light,
        now: &[InverterNow],
        means: &SlotMeans,
    ) -> Option<SensorSlot> {
        if self.state.measuring.sensors[&id].basis() == SensorBasis::OtherPlanes {
            return self.horizontal_slot(id, when, light, now, means);
        }
        let p = self.plane_of(id)?;
        let plane = light.planes[p]?;
        let shown = means.get(id)?.mean;
        let clear = light.clear_poa[p].w_m2();
        let is_bright = shown >= COMPARED_FROM_W_M2 && clear >= COMPARED_FROM_W_M2;
        if !is_bright || light.lit_ratio < 1.0 || plane.incidence.deg() > COMPARED_TO_DEG {
            return None;
        }
        let through = plane.effective.w_m2() / plane.poa.w_m2();
        let gets = |response: f64| response * 1000.0 / (shown * through);
        let ratios: Vec<f64> = self.responses(p, now).iter().map(|r| gets(r.0)).collect();
        let (ratio, spread) = middle_and_spread(&ratios)?;
        Some(SensorSlot {
            start: when.start,
            hour: self.solar_hour(when),
            ratio,
            spread,
            clear_index: shown / clear,
        })
    }

    /// A horizontal sensor beside all inputs that the sun shines on, each over what a clear sky gives it.
    fn horizontal_slot(
        &self,
        id: ChannelId,
        when: When,
        light: &Light,
        now: &[InverterNow],
        means: &SlotMeans,
    ) -> Option<SensorSlot> {
        let shown = means.get(id)?.mean;
        let clear = light.clear_ghi_w_m2();
        let is_bright = shown >= MIN_POA_W_M2 && clear >= COMPARED_FROM_W_M2;
        if !is_bright || light.lit_ratio < 1.0 || self.state.measuring.has_clock_off() {
            return None;
        }
        let mut shares = Vec::new();
        for (p, plane) in light.planes.iter().enumerate() {
            let is_lit = |p: &PlaneLight| {
                p.clear_poa.w_m2() >= COMPARED_FROM_W_M2 && p.incidence.deg() <= COMPARED_TO_DEG
            };
            if plane.as_ref().is_some_and(is_lit) {
                let gets = self.ladder.clear_effective(p, light)?.w_m2();
                let responses = self.responses(p, now).into_iter();
                shares.extend(responses.map(|(response, _)| response * 1000.0 / gets));
            }
        }
        let (array, spread) = middle_and_spread(&shares)?;
        let clear_index = shown / clear;
        Some(SensorSlot {
            start: when.start,
            hour: self.solar_hour(when),
            ratio: array / clear_index,
            spread,
            clear_index,
        })
    }

    fn solar_hour(&self, when: When) -> f64 {
        let middle = when.start + self.plant.timing.slot.half();
        middle.solar_hour(self.plant.site.longitude.deg())
    }

    /// The plane in which a sensor on a mast or at an inverter lies.
    fn plane_of(&self, id: ChannelId) -> Option<usize> {
        match self.roles.device(id)? {
            Device::Weather(w) => self.plant.weather[w].plane,
            Device::Inverter(i) => Some(self.plant.inverters[i].inputs.first()?.plane()),
        }
    }

    pub(super) fn compare_backs(&mut self, when: When, light: &Light, means: &SlotMeans) {
        let ids: Vec<ChannelId> = self.state.measuring.backs.keys().copied().collect();
        let wind = self.roles.wind.iter().find_map(|id| means.get(*id));
        let wind_m_s = wind.map_or(ASSUMED_WIND_M_S, |s| s.mean);
        for id in ids {
            let plane = self.plane_of(id).and_then(|p| Some((p, light.planes[p]?)));
            let (Some((p, plane)), Some(air), Some(back)) = (plane, light.air, means.get(id))
            else {
                continue;
            };
            let mounting = &self.plant.planes[p].mounting;
            let rise = plane.poa.w_m2() / (mounting.u0 + mounting.u1 * wind_m_s);
            if plane.poa.w_m2() < BRIGHT_W_M2 {
                continue;
            }
            if let Some(watch) = self.state.measuring.backs.get_mut(&id) {
                watch.add(when.day, when.start, (back.mean - air.degc()) / rise);
            }
        }
    }

    pub(super) fn close_sensor_days(&mut self, when: When) {
        let (plant, slot) = (self.plant.clone(), self.plant.timing.slot);
        let budget = Budget::new(plant.false_alarms_per_inverter_year);
        let ids: Vec<ChannelId> = self.state.measuring.sensors.keys().copied().collect();
        for id in ids {
            let watch = self.state.measuring.sensors.get_mut(&id);
            let edges = watch.map(|w| w.close_day(when.day, slot, when.start, budget));
            let channel = plant.channels.channel(id);
            for (fault, edge) in edges.into_iter().flatten() {
                let new = |began, found, seen: &_| {
                    explain::sensor_wrong(channel, fault, (began, found), seen)
                };
                self.book_measuring(&channel.device, Kind::SensorWrong, edge, new);
            }
        }
        let ids: Vec<ChannelId> = self.state.measuring.backs.keys().copied().collect();
        for id in ids {
            let watch = self.state.measuring.backs.get_mut(&id);
            let edge = watch.and_then(|w| w.close_day(when.day, slot, when.start));
            let channel = plant.channels.channel(id);
            if let Some(edge) = edge {
                let new = |began, found, ratio: &f64| {
                    explain::back_sensor_wrong(channel, (began, found), *ratio)
                };
                self.book_measuring(&channel.device, Kind::SensorWrong, edge, new);
            }
        }
    }
}

/// The middle of what inputs show, and over it how far they lie apart; none where it is not above zero.
fn middle_and_spread(shown: &[f64]) -> Option<(f64, f64)> {
    let middle = median(shown.iter().copied()).filter(|middle| *middle > 0.0)?;
    let highest = shown.iter().copied().fold(f64::MIN, f64::max);
    let lowest = shown.iter().copied().fold(f64::MAX, f64::min);
    Some((middle, (highest - lowest) / middle))
}
