//! What the devices of a drawn plant publish: gains, offsets, noise, steps of registers, polls that
//! nobody answers, and faults of the measuring itself.
//! Never in here: what is true.

use super::inject::{Act, Standing};
use super::plant_draw::DrawnPlant;
use super::truth::Sensing;
use super::twin::{Now, Twin};
use crate::plant::{normal, uniform};
use analysis::plant::State;
use analysis::reading::{
    Channel, ChannelId, DeviceId, Place, Quantity, Reading, Span, Time, Value,
};
use std::collections::BTreeMap;

/// The devices.
#[derive(Debug, Clone)]
pub struct Publisher {
    ids: BTreeMap<(bool, u8, Quantity), ChannelId>,
    /// Registers that stand still.
    held: BTreeMap<ChannelId, Value>,
    sensing: Sensing,
    start: Time,
    every: Span,
}

/// Noise of the meters, one standard deviation: current, voltage, power [-]; irradiance [W/m2].
const NOISE: [f64; 4] = [0.003, 0.0015, 0.002, 1.0];

impl Publisher {
    /// The devices of a plant.
    pub fn new(drawn: &DrawnPlant) -> Self {
        let mast = DeviceId::new("mast");
        let key = |channel: &Channel| {
            let input = match channel.place {
                Place::Input(n) => n,
                _ => 0,
            };
            (channel.device == mast, input, channel.quantity)
        };
        let ids = drawn
            .plant
            .channels
            .iter()
            .map(|(id, channel)| (key(channel), id));
        Self {
            ids: ids.collect(),
            held: BTreeMap::new(),
            sensing: drawn.sensing,
            start: drawn.start,
            every: drawn.plant.inverters[0].every,
        }
    }

    /// What everyone publishes of now, stamped so.
    pub fn publish(&mut self, now: &Now, twin: &Twin, stamp: Time) -> Vec<Reading> {
        let standing = Standing::at(twin.fault(), now.at);
        let truth = twin.truth();
        let every = self.every;
        // Three in a row would be a lost link by the contract: no more than two are missed.
        let misses = |who: u64| {
            let missed = |back: i64| {
                let at = now.at.unix_ms() - back * every.ms();
                uniform(truth.seed ^ (0x3155 + who), at as u64) < truth.missing
            };
            missed(0) && !(missed(1) && missed(2))
        };
        let asleep = !truth.habits[0] && now.elevation_deg < -2.0;
        let silent = matches!(standing.published(), Some((Act::Silent, _)));
        let mut readings = Vec::new();
        if !asleep && !silent && !misses(0) {
            self.inverter(now, twin, stamp, &standing, &mut readings);
            self.freeze(&standing, &mut readings);
        }
        if self.sensing != Sensing::Nothing && !misses(1) {
            self.mast(now, twin, stamp, &standing, &mut readings);
        }
        readings
    }

    fn push(&self, of: (bool, u8, Quantity), value: f64, at: Time, into: &mut Vec<Reading>) {
        into.extend(self.ids.get(&of).map(|channel| Reading {
            channel: *channel,
            at,
            value: Value::judge(of.2, value),
        }));
    }

    fn inverter(
        &self,
        now: &Now,
        twin: &Twin,
        stamp: Time,
        standing: &Standing,
        into: &mut Vec<Reading>,
    ) {
        let truth = twin.truth();
        let noise = |what: u64| normal(truth.seed ^ (0x9000 + what), now.at.unix_ms() as u64);
        let [volt_step, amp_step, watt_step] = truth.steps;
        let swapped = |k: usize| match standing.published() {
            Some((Act::Swapped(b), Some(a))) if k == a => *b,
            Some((Act::Swapped(b), Some(a))) if k == *b => a,
            _ => k,
        };
        for k in 0..now.work.points.len() {
            let (volts, amps) = now.work.points[swapped(k)];
            let [volt_gain, amp_gain] = truth.inputs[k].gains;
            let volts = volts * volt_gain * (1.0 + NOISE[1] * noise(2 * k as u64));
            let amps = amps * amp_gain * (1.0 + NOISE[0] * noise(2 * k as u64 + 1));
            let shown = match standing.published() {
                Some((Act::Shows(number), Some(input))) if input == k => *number,
                _ => step(amps, amp_step),
            };
            let n = k as u8 + 1;
            self.push(
                (false, n, Quantity::DcVoltage),
                step(volts, volt_step),
                stamp,
                into,
            );
            self.push((false, n, Quantity::DcCurrent), shown, stamp, into);
        }
        let ac_w = now.work.ac_w * truth.ac_gain * (1.0 + NOISE[2] * noise(200));
        let state = match now.work.state {
            State::Throttled if !truth.habits[1] => State::Tracking,
            state => state,
        };
        let ([l1, l2, l3], hz) = now.supply;
        let values = [
            (Quantity::AcPower, step(ac_w, watt_step)),
            (Quantity::AcVoltageL1, step(l1, 0.1)),
            (Quantity::AcVoltageL2, step(l2, 0.1)),
            (Quantity::AcVoltageL3, step(l3, 0.1)),
            (Quantity::Frequency, step(hz, 0.01)),
            (Quantity::State, f64::from(state as u8)),
            (Quantity::EventBits, f64::from(now.work.bits)),
            (
                Quantity::IsolationResistance,
                step(now.insulation_ohm, 1000.0),
            ),
            (Quantity::ResidualCurrent, step(now.leak_a, 0.001)),
            (Quantity::PowerLimit, step(now.limit_register, 0.01)),
        ];
        for (quantity, value) in values {
            self.push((false, 0, quantity), value, stamp, into);
        }
    }

    /// Registers that stand still show what they showed first.
    fn freeze(&mut self, standing: &Standing, readings: &mut [Reading]) {
        let Some((Act::Frozen(all), input)) = standing.published() else {
            self.held.clear();
            return;
        };
        let of_input = |channel: ChannelId| {
            let number = input.map(|k| k as u8 + 1);
            let of = self.ids.iter().find(|(_, id)| **id == channel);
            of.is_some_and(|(key, _)| Some(key.1) == number)
        };
        for reading in readings.iter_mut() {
            if *all || of_input(reading.channel) {
                reading.value = *self.held.entry(reading.channel).or_insert(reading.value);
            }
        }
    }

    fn mast(
        &self,
        now: &Now,
        twin: &Twin,
        stamp: Time,
        standing: &Standing,
        into: &mut Vec<Reading>,
    ) {
        let truth = twin.truth();
        let noise = |what: u64| normal(truth.seed ^ (0xA000 + what), now.at.unix_ms() as u64);
        let [gain, offset, drift, air_k] = truth.sensor;
        let days = (now.at - self.start).hours() / 24.0;
        let wrong = match standing.published() {
            Some((Act::Sensor(ratio), _)) => *ratio,
            _ => 1.0,
        };
        let shown = |w_m2: f64, what: u64| {
            w_m2 * gain * (1.0 + drift * days) * wrong + offset + NOISE[3] * noise(what)
        };
        // A photovoltaic sensor sees what cells see, and is calibrated for light at right angles.
        let poa = if truth.sensor_is_cell {
            now.used_w_m2[0]
        } else {
            now.poa_w_m2[0]
        };
        let values = [
            (Quantity::Poa, step(shown(poa, 0), 0.1)),
            (Quantity::Ghi, step(shown(now.ghi_w_m2, 1), 0.1)),
            (
                Quantity::AirTemperature,
                step(now.air_degc + air_k + 0.1 * noise(2), 0.1),
            ),
            (Quantity::WindSpeed, step(now.wind_m_s, 0.1)),
            (Quantity::Rain, now.rain_mm),
        ];
        for (quantity, value) in values {
            self.push((true, 0, quantity), value, stamp, into);
        }
    }
}

/// How late or early a poll is stamped, with what a fault does to the clock.
pub fn stamp(at: Time, twin: &Twin) -> Time {
    let late = match Standing::at(twin.fault(), at).published() {
        Some((Act::Clock(ms), _)) => Span::from_ms(*ms),
        _ => Span::ZERO,
    };
    at + Span::from_s(twin.truth().clock_s as i64) + late
}

/// A register counts in whole steps.
fn step(value: f64, step: f64) -> f64 {
    (value / step).round() * step
}
