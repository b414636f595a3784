//! Whether what is measured may be believed: polls before anything else sees them, sensors and clocks
//! slot by slot and day by day.
//! Never in here: rules and thresholds (`detect`), words (`diagnose`).

use super::Engine;
use super::roles::Device;
use super::slots::{InverterNow, When};
use crate::detect::{
    BRIGHT_W_M2, BackSensorWatch, Budget, ClockOff, ClockWatch, CounterWatch, Course,
    DarkSensorWatch, Edge, FrozenWatch, Gate, ImpossibleValue, ImpossibleWatch, Kind, MIN_POA_W_M2,
    SensorSlot, SensorWatch, Shows, WatchedValue, is_sentinel, is_smooth, offset,
};
use crate::diagnose::{NewFinding, Subject, explain};
use crate::expected::Light;
use crate::plant::Plant;
use crate::reading::{
    Channel, ChannelId, DeviceId, Place, Power, Quantity, Reading, SlotMeans, SolarDay, Span, Time,
    Value, median,
};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// Shortest stands that are told: of an inverter, of a light sensor, of a sensor at a module.
const FROZEN_AFTER: Span = Span::from_min(10);
/// Round noon a clear sky moves a register of 10 W/m2 for three quarters of an hour by nothing.
const FROZEN_LIGHT_AFTER: Span = Span::from_h(1);
const FROZEN_BACK_AFTER: Span = Span::from_h(2);
/// Values that a frozen inverter must have, other than nothing.
const FROZEN_VALUES: usize = 3;
/// Power over rated power from which an inverter is at work [-]; light from which a sensor is [W/m2].
const AT_WORK_RATIO: f64 = 0.01;
const AT_WORK_W_M2: f64 = 50.0;
/// Light and incidence in which sensor and inputs are compared [W/m2], [deg].
const COMPARED_FROM_W_M2: f64 = 200.0;
const COMPARED_TO_DEG: f64 = 65.0;
/// A sensor that shows less than this share of a clear sky shows nothing [-], where that is bright
/// [W/m2]: under a low sun it may be in a shade that the array is not in.
const DARK_RATIO: f64 = 0.1;
const DARK_FROM_W_M2: f64 = 250.0;
/// Offsets that are one [min].
const SAME_OFFSET_MIN: f64 = 5.0;
/// Assumed where no wind is measured [m/s].
const ASSUMED_WIND_M_S: f64 = 1.0;

/// What a device shows of the sun over a day: the plane in which it does, none for a horizontal sensor;
/// mean stamp and response of each slot.
type Responses = (Option<usize>, Vec<(Time, f64)>);

/// What is remembered of the measuring.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct MeasuringState {
    /// By device, inverters first, then by input; 0 is the device as a whole.
    impossible: Vec<BTreeMap<u8, ImpossibleWatch>>,
    /// Channels that have shown a value: one that never has is not there, whatever its registers hold.
    shown: BTreeSet<ChannelId>,
    /// By inverter.
    counters: Vec<CounterWatch>,
    /// By inverter.
    frozen: Vec<FrozenWatch>,
    /// Of light and back sensors.
    still: BTreeMap<ChannelId, FrozenWatch>,
    dark: BTreeMap<ChannelId, DarkSensorWatch>,
    sensors: BTreeMap<ChannelId, SensorWatch>,
    backs: BTreeMap<ChannelId, BackSensorWatch>,
    /// By device.
    clocks: Vec<ClockWatch>,
    /// Stamps in the slot that is being filled, by device: the first, their sum after it [ms], how many.
    stamps: Vec<Option<(Time, i64, i64)>>,
    /// Responses of today, by device.
    clock_day: Option<(SolarDay, Vec<Responses>)>,
    /// Offsets that have been told [min], by device.
    clocks_told: BTreeMap<usize, f64>,
}

impl MeasuringState {
    pub fn new(plant: &Plant) -> Self {
        let devices = plant.inverters.len() + plant.weather.len();
        let of = |quantities: &[Quantity]| {
            let wanted = |c: &Channel| c.place == Place::Device && quantities.contains(&c.quantity);
            let channels = plant.channels.iter().filter(|(_, c)| wanted(c));
            channels.map(|(id, _)| id).collect::<Vec<ChannelId>>()
        };
        let (light, backs) = (
            of(&[Quantity::Poa, Quantity::Ghi]),
            of(&[Quantity::ModuleTemperature]),
        );
        let still = |id: &ChannelId, shortest| {
            let every = every(plant, &plant.channels.channel(*id).device);
            (*id, FrozenWatch::new(every, shortest))
        };
        let still_light = light.iter().map(|id| still(id, FROZEN_LIGHT_AFTER));
        let still_backs = backs.iter().map(|id| still(id, FROZEN_BACK_AFTER));
        let frozen = |every| FrozenWatch::new(every, FROZEN_AFTER);
        Self {
            impossible: vec![BTreeMap::new(); devices],
            shown: BTreeSet::new(),
            counters: vec![CounterWatch::default(); plant.inverters.len()],
            frozen: plant.inverters.iter().map(|i| frozen(i.every)).collect(),
            still: still_light.chain(still_backs).collect(),
            dark: light
                .iter()
                .map(|id| (*id, DarkSensorWatch::new()))
                .collect(),
            sensors: of(&[Quantity::Poa])
                .into_iter()
                .map(|id| (id, SensorWatch::new()))
                .collect(),
            backs: backs
                .iter()
                .map(|id| (*id, BackSensorWatch::new()))
                .collect(),
            clocks: vec![ClockWatch::new(); devices],
            stamps: vec![None; devices],
            clock_day: None,
            clocks_told: BTreeMap::new(),
        }
    }

    /// Sensors that days have shown to be wrong, or doubtful.
    pub fn distrusted(&self) -> BTreeSet<ChannelId> {
        let sensors = self.sensors.iter().filter(|(_, s)| s.is_doubtful());
        let backs = self.backs.iter().filter(|(_, b)| b.is_wrong());
        sensors
            .map(|(id, _)| *id)
            .chain(backs.map(|(id, _)| *id))
            .collect()
    }

    /// Whether the times of anything are known to be off: the sun then says nothing about planes.
    pub fn has_clock_off(&self) -> bool {
        self.clocks.iter().any(ClockWatch::is_off)
    }

    /// Clear-sky index of the sensors, by channel, on the latest clear days, as logarithms.
    #[expect(
        dead_code,
        reason = "a common loss of all inputs is told from the sensor's by it"
    )]
    pub fn clear_indices(&self, sensor: ChannelId) -> Option<Vec<(SolarDay, f64)>> {
        Some(self.sensors.get(&sensor)?.clear_indices().collect())
    }

    /// The day so far, where time goes back.
    pub fn forget_today(&mut self) {
        self.clock_day = None;
    }
}

fn every(plant: &Plant, device: &DeviceId) -> Span {
    let inverter = plant.inverters.iter().find(|i| i.id == *device);
    let weather = plant.weather.iter().find(|w| w.id == *device);
    inverter
        .map(|i| i.every)
        .or(weather.map(|w| w.every))
        .unwrap_or(plant.timing.slot)
}

impl Engine {
    /// The readings of a poll as far as they may be believed; others lose their value.
    pub(super) fn believed(&mut self, poll: &[Reading]) -> Vec<Reading> {
        let mut poll = poll.to_vec();
        if let Some(device) = self.roles.device(poll[0].channel) {
            let (at, number) = (poll[0].at, self.device_number(device));
            let stamps = &mut self.state.measuring.stamps[number];
            let (first, sum, count) = stamps.unwrap_or((at, 0, 0));
            *stamps = Some((first, sum + (at - first).ms(), count + 1));
            self.drop_impossible(device, &mut poll);
            if let Device::Inverter(i) = device {
                self.drop_frozen(i, &mut poll);
            }
            self.drop_still(&mut poll);
        }
        poll
    }

    fn device_number(&self, device: Device) -> usize {
        match device {
            Device::Inverter(i) => i,
            Device::Weather(w) => self.plant.inverters.len() + w,
        }
    }

    fn device_id(&self, number: usize) -> DeviceId {
        let inverters = &self.plant.inverters;
        match inverters.get(number) {
            Some(inverter) => inverter.id.clone(),
            None => self.plant.weather[number - inverters.len()].id.clone(),
        }
    }

    fn drop_impossible(&mut self, device: Device, poll: &mut [Reading]) {
        // By input: whether anything was good, and the first that cannot be.
        let mut places: BTreeMap<u8, Option<ImpossibleValue>> = BTreeMap::new();
        for reading in poll.iter_mut() {
            let value = match reading.value {
                Value::Good(value) | Value::OutOfRange(value) => value,
                Value::Missing => continue,
            };
            let possible = self.roles.possible(reading.channel);
            let holds = possible.holds(value);
            let shown = &mut self.state.measuring.shown;
            if holds {
                shown.insert(reading.channel);
            } else if is_sentinel(value) && !shown.contains(&reading.channel) {
                reading.value = Value::Missing;
                continue;
            }
            let (place, quantity) = self.roles.quantity(reading.channel);
            let input = match place {
                Place::Device => 0,
                Place::Input(n) | Place::String(n, _) => n,
            };
            let seen = places.entry(input).or_default();
            let mut limits = (!holds).then_some((possible.low, possible.high));
            if let (None, Quantity::EnergyTotal, Device::Inverter(i)) = (limits, quantity, device) {
                let most = self.plant.inverters[i].max_apparent.va();
                let rated = Power::from_w(most.max(self.plant.inverters[i].rated_ac.w()));
                limits = self.state.measuring.counters[i].poll(reading.at, value, rated);
            }
            let Some(possible) = limits else { continue };
            reading.value = Value::OutOfRange(value);
            seen.get_or_insert(ImpossibleValue {
                channel: reading.channel,
                value,
                possible,
            });
        }
        let (at, number) = (poll[0].at, self.device_number(device));
        for (input, seen) in places {
            let watches = &mut self.state.measuring.impossible[number];
            let edge = watches.entry(input).or_default().poll(at, seen);
            let device = self.device_id(number);
            let subject = match input {
                0 => Subject::device(&device),
                n => Subject::input(&device, n),
            };
            match edge {
                Some(Edge::Found { began, found, seen }) => {
                    let channel = self.plant.channels.channel(seen.channel);
                    let when = (began, found);
                    let new = explain::value_impossible(subject, when, channel, &seen);
                    self.state.book.open(new);
                }
                Some(Edge::Ended { at }) => {
                    self.state.book.end(&subject, Kind::ValueImpossible, at);
                }
                None => {}
            }
        }
    }

    fn drop_frozen(&mut self, i: usize, poll: &mut [Reading]) {
        let moves = |reading: &Reading| {
            let (_, quantity) = self.roles.quantity(reading.channel);
            let value = reading.value.good().filter(|v| *v != 0.0)?;
            is_lively(quantity).then_some(WatchedValue {
                channel: reading.channel,
                value,
                always_moves: always_moves(quantity),
            })
        };
        let values: Vec<WatchedValue> = poll.iter().filter_map(moves).collect();
        let has_power = values.iter().any(|v| {
            let (_, quantity) = self.roles.quantity(v.channel);
            let rated_w = self.plant.inverters[i].rated_ac.w();
            match quantity {
                Quantity::AcPower | Quantity::DcPower => v.value > AT_WORK_RATIO * rated_w,
                // Where no power is published.
                Quantity::DcCurrent => v.value > 0.1,
                _ => false,
            }
        });
        let lit = self.state.inverters[i].lit_since.is_some();
        let at_work = lit && has_power && values.len() >= FROZEN_VALUES;
        let watch = &mut self.state.measuring.frozen[i];
        let (believed, edge) = watch.poll(poll[0].at, &values, at_work);
        if !believed {
            poll.iter_mut().for_each(|r| r.value = Value::Missing);
        }
        let device = self.plant.inverters[i].id.clone();
        if let Some(edge) = edge {
            let new =
                |began, found, seen: &_| explain::value_frozen(&device, None, (began, found), seen);
            self.book_measuring(&device, Kind::ValueFrozen, edge, new);
        }
    }

    fn drop_still(&mut self, poll: &mut [Reading]) {
        let plant = self.plant.clone();
        for reading in poll {
            let Some(watch) = self.state.measuring.still.get_mut(&reading.channel) else {
                continue;
            };
            let Some(value) = reading.value.good() else {
                continue;
            };
            let at_work = match self.roles.quantity(reading.channel).1 {
                Quantity::ModuleTemperature => {
                    self.state.inverters.iter().any(|i| i.lit_since.is_some())
                }
                _ => value > AT_WORK_W_M2,
            };
            let watched = WatchedValue {
                channel: reading.channel,
                value,
                always_moves: true,
            };
            let (believed, edge) = watch.poll(reading.at, &[watched], at_work);
            if !believed {
                reading.value = Value::Missing;
            }
            let channel = plant.channels.channel(reading.channel);
            if let Some(edge) = edge {
                let new = |began, found, seen: &_| {
                    explain::value_frozen(&channel.device, Some(channel), (began, found), seen)
                };
                self.book_measuring(&channel.device, Kind::ValueFrozen, edge, new);
            }
        }
    }

    /// Opens a finding on a device, or ends it where none of its watchers still says so.
    fn book_measuring<T>(
        &mut self,
        device: &DeviceId,
        kind: Kind,
        edge: Edge<T>,
        explain: impl FnOnce(Time, Time, &T) -> NewFinding,
    ) {
        match edge {
            Edge::Found { began, found, seen } => {
                self.state.book.open(explain(began, found, &seen));
            }
            Edge::Ended { at } if !self.is_still_seen(device, kind) => {
                self.state.book.end(&Subject::device(device), kind, at);
            }
            Edge::Ended { .. } => {}
        }
    }

    fn is_still_seen(&self, device: &DeviceId, kind: Kind) -> bool {
        let state = &self.state.measuring;
        let of = |id: &ChannelId| self.plant.channels.channel(*id).device == *device;
        if kind == Kind::ValueFrozen {
            let mut still = state.still.iter().filter(|(id, _)| of(id));
            let inverter = self.plant.inverters.iter().position(|i| i.id == *device);
            return still.any(|(_, watch)| watch.is_frozen())
                || inverter.is_some_and(|i| state.frozen[i].is_frozen());
        }
        let dark = state.dark.iter().any(|(id, w)| of(id) && w.is_dark());
        let wrong = state.sensors.iter().any(|(id, w)| of(id) && w.is_wrong());
        dark || wrong || state.backs.iter().any(|(id, w)| of(id) && w.is_wrong())
    }

    /// What a slot says about sensors and clocks.
    pub(super) fn watch_measuring(
        &mut self,
        when: When,
        light: &Light,
        now: &[InverterNow],
        means: &SlotMeans,
        contradicted: &BTreeSet<ChannelId>,
    ) {
        self.close_sensor_days(when);
        self.close_clock_day(when);
        // Snow on a sensor clears by itself.
        if self.frost(when.start, light.air) != Some(true) {
            self.watch_dark(when, light, means, contradicted);
        }
        self.compare_sensors(when, light, now, means);
        self.compare_backs(when, light, means);
        self.keep_clock_slot(when, now, means);
    }

    fn watch_dark(
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

    fn compare_sensors(
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
        let ratio = median(ratios.iter().copied()).filter(|r| ratios.len() > 1 && *r > 0.0)?;
        let highest = ratios.iter().copied().fold(f64::MIN, f64::max);
        let lowest = ratios.iter().copied().fold(f64::MAX, f64::min);
        let middle = when.start + self.plant.timing.slot.half();
        Some(SensorSlot {
            start: when.start,
            hour: middle.solar_hour(self.plant.site.longitude.deg()),
            ratio,
            spread: (highest - lowest) / ratio,
            clear_index: shown / clear,
        })
    }

    /// The plane in which a sensor on a mast or at an inverter lies.
    fn plane_of(&self, id: ChannelId) -> Option<usize> {
        match self.roles.device(id)? {
            Device::Weather(w) => self.plant.weather[w].plane,
            Device::Inverter(i) => Some(self.plant.inverters[i].inputs.first()?.plane()),
        }
    }

    fn compare_backs(&mut self, when: When, light: &Light, means: &SlotMeans) {
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

    fn close_sensor_days(&mut self, when: When) {
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

    /// What each device shows of the sun in a slot.
    fn keep_clock_slot(&mut self, when: When, now: &[InverterNow], means: &SlotMeans) {
        let inverters = now
            .iter()
            .enumerate()
            .map(|(i, n)| self.clock_response(i, n));
        let first = |sensors: &Vec<(ChannelId, Option<usize>)>| {
            let shown = |(id, plane): &(ChannelId, Option<usize>)| {
                Some((*plane, means.get(*id)?.mean.max(0.0)))
            };
            sensors.iter().find_map(shown)
        };
        let weather = self.roles.light_of_weather.iter().map(first);
        let seen: Vec<Option<(Option<usize>, f64)>> = inverters.chain(weather).collect();
        let fresh = || (when.day, vec![Responses::default(); seen.len()]);
        let (_, today) = self.state.measuring.clock_day.get_or_insert_with(fresh);
        let stamps = self.state.measuring.stamps.iter_mut().map(Option::take);
        for ((day, seen), stamps) in today.iter_mut().zip(seen).zip(stamps) {
            let Some(((plane, value), (first, sum, count))) = seen.zip(stamps) else {
                continue;
            };
            if day.0 != plane {
                *day = (plane, Vec::new());
            }
            // Few polls in a slot need not lie about its middle.
            day.1.push((first + Span::from_ms(sum / count), value));
        }
    }

    /// Mean response of the inputs on the first plane of an inverter, where nothing holds them back.
    fn clock_response(&self, i: usize, now: &InverterNow) -> Option<(Option<usize>, f64)> {
        let inverter = &self.plant.inverters[i];
        let p = inverter.inputs.first()?.plane();
        let mut responses = Vec::new();
        for (k, input) in now.inputs.iter().enumerate() {
            if inverter.inputs[k].strings.iter().any(|s| s.plane != p) {
                continue;
            }
            if now.limit.is_some() || input.slot.limit.is_some() || input.slot.gate == Gate::Limited
            {
                return None;
            }
            let current = input.slot.current?;
            responses.push(current.a() / self.chain.inputs[i][k].rated_current_a);
        }
        let n = responses.len() as f64;
        (n > 0.0).then(|| (Some(p), responses.iter().sum::<f64>() / n))
    }

    fn close_clock_day(&mut self, when: When) {
        let closing = &mut self.state.measuring.clock_day;
        let Some((_, days)) = closing.take_if(|(day, _)| *day < when.day) else {
            return;
        };
        let mut found: Vec<(usize, Time, ClockOff)> = Vec::new();
        for (number, (plane, day)) in days.iter().enumerate() {
            let Some(offset) = self.offset_of(*plane, day) else {
                continue;
            };
            match self.state.measuring.clocks[number].add(day[0].0, offset, when.start) {
                Some(Edge::Found { began, seen, .. }) => found.push((number, began, seen)),
                Some(Edge::Ended { at }) => {
                    self.state.measuring.clocks_told.remove(&number);
                    let subject = Subject::device(&self.device_id(number));
                    self.state.book.end(&subject, Kind::ClockOff, at);
                }
                None => {}
            }
        }
        for (number, began, seen) in found.clone() {
            let same = |minutes: f64| (minutes - seen.offset.minutes).abs() <= SAME_OFFSET_MIN;
            // One wrong time for all is told once.
            let told = &mut self.state.measuring.clocks_told;
            if told.values().any(|minutes| same(*minutes)) {
                continue;
            }
            told.insert(number, seen.offset.minutes);
            let others = found
                .iter()
                .filter(|f| f.0 != number && same(f.2.offset.minutes));
            let (others, device) = (others.count(), self.device_id(number));
            let longitude_deg = self.plant.site.longitude.deg();
            let when = (began, when.start);
            let new = explain::clock_off(&device, others, when, longitude_deg, &seen);
            self.state.book.open(new);
        }
    }

    fn offset_of(
        &mut self,
        plane: Option<usize>,
        day: &[(Time, f64)],
    ) -> Option<crate::detect::Offset> {
        let step = self.plant.timing.slot;
        if !is_smooth(day, step) {
            return None;
        }
        let course = Course {
            start: day[0].0,
            step,
            normal: plane.map(|p| self.ladder.normal(p)),
            columns: self.ladder.clear_course(plane.is_some(), day[0].0, step),
        };
        offset(day, &course)
    }
}

/// Quantities that do not stand still on an inverter at work.
fn is_lively(quantity: Quantity) -> bool {
    matches!(
        quantity,
        Quantity::DcVoltage
            | Quantity::DcCurrent
            | Quantity::DcPower
            | Quantity::AcPower
            | Quantity::AcVoltageL1
            | Quantity::AcVoltageL2
            | Quantity::AcVoltageL3
            | Quantity::AcCurrentL1
            | Quantity::AcCurrentL2
            | Quantity::AcCurrentL3
            | Quantity::Frequency
            | Quantity::HeatsinkTemperature
    )
}

/// Those that move whatever holds the power.
fn always_moves(quantity: Quantity) -> bool {
    matches!(
        quantity,
        Quantity::DcVoltage
            | Quantity::AcVoltageL1
            | Quantity::AcVoltageL2
            | Quantity::AcVoltageL3
            | Quantity::Frequency
    )
}
