//! Whether what is measured may be believed: polls before anything else sees them, sensors and clocks
//! slot by slot and day by day.
//! Never in here: sensors beside the array (`sensors`), clocks (`clocks`); rules and thresholds (`detect`), words (`diagnose`).

mod clocks;
mod sensors;

use super::Engine;
use super::roles::Device;
use super::slots::{InverterNow, When};
use crate::detect::{
    BackSensorWatch, ClockOff, ClockWatch, CounterWatch, DarkSensorWatch, Edge, FrozenWatch,
    ImpossibleValue, ImpossibleWatch, Kind, NightWatch, SensorBasis, SensorWatch, WatchedValue,
    is_sentinel,
};
use crate::diagnose::explain::Still;
use crate::diagnose::{NewFinding, Subject, explain};
use crate::expected::Light;
use crate::plant::Plant;
use crate::reading::{
    Channel, ChannelId, DeviceId, Place, Power, Quantity, Reading, SlotMeans, SolarDay, Span, Time,
    Value,
};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// Shortest stands that are told: of an inverter, of two coarse values of one input, which now and then
/// repeat themselves by chance, of a light sensor, of a sensor at a module.
const FROZEN_AFTER: Span = Span::from_min(10);
const FROZEN_INPUT_AFTER: Span = Span::from_h(1);
/// Round noon a clear sky moves a register of 10 W/m2 for three quarters of an hour by nothing.
const FROZEN_LIGHT_AFTER: Span = Span::from_h(1);
const FROZEN_BACK_AFTER: Span = Span::from_h(2);
/// Values that a frozen inverter and a frozen input of one must have, other than nothing.
const FROZEN_VALUES: usize = 3;
const FROZEN_INPUT_VALUES: usize = 2;
/// Power over rated power from which an inverter is at work [-]; light from which a sensor is [W/m2].
const AT_WORK_RATIO: f64 = 0.01;
const AT_WORK_W_M2: f64 = 50.0;

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
    /// By inverter: of the whole, and of each input.
    frozen: Vec<FrozenWatch>,
    frozen_inputs: Vec<Vec<FrozenWatch>>,
    /// Of light and back sensors.
    still: BTreeMap<ChannelId, FrozenWatch>,
    dark: BTreeMap<ChannelId, DarkSensorWatch>,
    sensors: BTreeMap<ChannelId, SensorWatch>,
    backs: BTreeMap<ChannelId, BackSensorWatch>,
    /// By device: what clear days show of its clock.
    clocks: Vec<ClockWatch>,
    /// By inverter: what nights show of it.
    nights: Vec<NightWatch>,
    /// Stamps in the slot that is being filled, by device: the first, their sum after it [ms], how many.
    stamps: Vec<Option<(Time, i64, i64)>>,
    /// Responses of today, by device.
    clock_day: Option<(SolarDay, Vec<Responses>)>,
    /// Steps of clocks that wait to be told with those of others, by inverter: since when.
    steps_found: BTreeMap<usize, Time>,
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
        Self {
            impossible: vec![BTreeMap::new(); devices],
            shown: BTreeSet::new(),
            counters: vec![CounterWatch::default(); plant.inverters.len()],
            frozen: plant
                .inverters
                .iter()
                .map(|i| FrozenWatch::new(i.every, FROZEN_AFTER))
                .collect(),
            frozen_inputs: plant
                .inverters
                .iter()
                .map(|i| vec![FrozenWatch::new(i.every, FROZEN_INPUT_AFTER); i.inputs.len()])
                .collect(),
            still: still_light.chain(still_backs).collect(),
            dark: light
                .iter()
                .map(|id| (*id, DarkSensorWatch::new()))
                .collect(),
            sensors: light
                .iter()
                .map(|id| (*id, SensorWatch::new(sensor_basis(plant, *id))))
                .collect(),
            backs: backs
                .iter()
                .map(|id| (*id, BackSensorWatch::new()))
                .collect(),
            clocks: vec![ClockWatch::new(); devices],
            nights: vec![NightWatch::new(); plant.inverters.len()],
            stamps: vec![None; devices],
            clock_day: None,
            steps_found: BTreeMap::new(),
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

    /// Whether the times of anything are known to be far off: the sun then says nothing about planes.
    pub fn has_clock_off(&self) -> bool {
        let far_off = self.nights.iter().any(NightWatch::is_far_off);
        far_off || self.clocks.iter().any(ClockWatch::is_off)
    }

    fn is_clock_off(&self, number: usize) -> bool {
        self.clocks[number].is_off() || self.step_of_clock(number).is_some()
    }

    /// By how much the clock of a device is off, and since when: by clear days, which know the sun, or
    /// by nights, which know a change.
    fn clock_off(&self, number: usize) -> Option<(Time, ClockOff)> {
        let by_days = self.clocks[number].seen();
        let by_days = by_days.filter(|_| self.clocks[number].is_off());
        by_days.or_else(|| self.step_of_clock(number))
    }

    fn step_of_clock(&self, number: usize) -> Option<(Time, ClockOff)> {
        self.nights.get(number)?.standing()
    }

    /// The day so far, where time goes back.
    pub fn forget_today(&mut self) {
        self.clock_day = None;
        self.stamps.iter_mut().for_each(|stamps| *stamps = None);
        let sensors = self.sensors.values_mut();
        sensors.for_each(SensorWatch::forget_today);
        let backs = self.backs.values_mut();
        backs.for_each(BackSensorWatch::forget_today);
    }
}

/// What a light sensor is compared with, by what the plant has.
fn sensor_basis(plant: &Plant, id: ChannelId) -> SensorBasis {
    let channel = plant.channels.channel(id);
    if channel.quantity == Quantity::Ghi {
        return SensorBasis::OtherPlanes;
    }
    let mast = plant.weather.iter().find(|w| w.id == channel.device);
    let at_inverter = plant.inverters.iter().find(|i| i.id == channel.device);
    let own = at_inverter.and_then(|i| i.inputs.first());
    let plane = mast
        .and_then(|mast| mast.plane)
        .or(own.map(|input| input.plane()));
    let inputs = plant.inverters.iter().flat_map(|i| &i.inputs);
    let in_plane = inputs.filter(|i| i.strings.iter().all(|s| Some(s.plane) == plane));
    match in_plane.count() {
        0 | 1 => SensorBasis::OneInput,
        _ => SensorBasis::Inputs,
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
                self.watch_nights(i, &poll);
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
                Value::Missing | Value::Faulty(_) => continue,
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
            let Some(edge) = watches.entry(input).or_default().poll(at, seen) else {
                continue;
            };
            let device = self.device_id(number);
            let subject = match input {
                0 => Subject::device(&device),
                n => Subject::input(&device, n),
            };
            match edge {
                // Another array on the input than the one described, which is told, may give more than that can.
                Edge::Found { .. } if self.is_miswired(&subject) => {}
                Edge::Found { began, found, seen } => {
                    let channel = self.plant.channels.channel(seen.channel);
                    let when = (began, found);
                    let new = explain::value_impossible(subject, when, channel, &seen);
                    self.state.book.open(new);
                }
                Edge::Ended { at } => {
                    self.state.book.end(&subject, Kind::ValueImpossible, at);
                }
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
        let is_lit = self.state.inverters[i].lit_since.is_some();
        let at_work = is_lit && has_power && values.len() >= FROZEN_VALUES;
        let watch = &mut self.state.measuring.frozen[i];
        let (believed, edge) = watch.poll(poll[0].at, &values, at_work);
        let goes_on = at_work && watch.moved_at(poll[0].at);
        let device = self.plant.inverters[i].id.clone();
        if let Some(edge) = edge {
            let new = |began, found, seen: &_| {
                explain::value_frozen(&device, Still::Device, (began, found), seen)
            };
            self.book_measuring(&device, Kind::ValueFrozen, edge, new);
        }
        if believed {
            self.drop_frozen_inputs(i, poll, &values, goes_on);
        } else {
            poll.iter_mut().for_each(|r| r.value = Value::Missing);
        }
    }

    /// Inputs that stand still while the rest of their inverter goes on; `values`: all that moves at work.
    fn drop_frozen_inputs(
        &mut self,
        i: usize,
        poll: &mut [Reading],
        values: &[WatchedValue],
        goes_on: bool,
    ) {
        let device = self.plant.inverters[i].id.clone();
        for k in 0..self.plant.inverters[i].inputs.len() {
            let number = self.plant.inverters[i].inputs[k].number;
            let is_of_input =
                |channel: ChannelId| self.roles.quantity(channel).0 == Place::Input(number);
            let own = values.iter().filter(|v| is_of_input(v.channel));
            let own: Vec<WatchedValue> = own.copied().collect();
            let at_work = goes_on && own.len() >= FROZEN_INPUT_VALUES;
            let watch = &mut self.state.measuring.frozen_inputs[i][k];
            let (believed, edge) = watch.poll(poll[0].at, &own, at_work);
            if !believed {
                let own = poll.iter_mut().filter(|r| is_of_input(r.channel));
                own.for_each(|r| r.value = Value::Missing);
            }
            match edge {
                Some(Edge::Found { began, found, seen }) => {
                    let what = Still::Input(number);
                    let new = explain::value_frozen(&device, what, (began, found), &seen);
                    self.state.book.open(new);
                }
                Some(Edge::Ended { at }) => {
                    let subject = Subject::input(&device, number);
                    self.state.book.end(&subject, Kind::ValueFrozen, at);
                }
                None => {}
            }
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
                    let what = Still::Sensor(channel);
                    explain::value_frozen(&channel.device, what, (began, found), seen)
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
        self.tell_steps(when);
        // Snow on a sensor clears by itself.
        if self.frost(when.start, light.air) != Some(true) {
            self.watch_dark(when, light, means, contradicted);
        }
        self.compare_sensors(when, light, now, means);
        self.compare_backs(when, light, means);
        self.keep_clock_slot(when, now, means);
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
