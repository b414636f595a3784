//! Insulation and leakage to earth of each inverter, poll by poll and morning by morning.
//! Never in here: limits and formulas (`detect`), words (`diagnose`).

use super::Engine;
use super::polls::DeviceValues;
use crate::detect::{
    Dampness, Edge, FaultPosition, IsolationPoll, IsolationWatch, Kind, Morning, MorningPoll,
    MorningWatch, Mornings, NearWatch, Poll, PositionWatch, Published, ResidualCurrentWatch,
    fault_position, residual_current_limit_a,
};
use crate::diagnose::{Subject, explain};
use crate::plant::{EventBit, Inverter};
use crate::reading::{Place, Quantity, Reading, Span, Time};
use serde::{Deserialize, Serialize};

/// What is remembered of one inverter's insulation.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct EarthState {
    low: IsolationWatch,
    position: PositionWatch,
    morning: MorningWatch,
    mornings: Mornings,
    near: NearWatch,
    residual_current: ResidualCurrentWatch,
}

impl EarthState {
    /// Takes over a morning that an earlier run has kept.
    pub(super) fn recall(&mut self, morning: Morning) {
        self.mornings.recall(morning);
    }
}

/// What is known at one poll.
struct Now<'a> {
    i: usize,
    at: Time,
    values: &'a DeviceValues,
    resistance: Published,
    producing: Option<bool>,
    dampness: Dampness,
    /// Voltages of the inputs in the poll [V], by number.
    inputs_v: Vec<(u8, f64)>,
}

impl Engine {
    /// Weather may come from a mast or from sensors that are wired to an inverter.
    pub(super) fn take_moisture(&mut self, poll: &[Reading]) {
        for reading in poll {
            if let Some(value) = reading.value.good() {
                let (_, quantity) = self.roles.quantity(reading.channel);
                self.state.moisture.take(reading.at, quantity, value);
            }
        }
    }

    /// Looks at one poll of an inverter, of which `values` are those of the device as a whole.
    pub(super) fn watch_earth(
        &mut self,
        i: usize,
        at: Time,
        poll: &[Reading],
        values: &DeviceValues,
        facts: &Poll,
    ) {
        let input_v = |reading: &Reading| match self.roles.quantity(reading.channel) {
            (Place::Input(number), Quantity::DcVoltage) => Some((number, reading.value.good()?)),
            _ => None,
        };
        let now = Now {
            i,
            at,
            values,
            resistance: Published::new(values.get(Quantity::IsolationResistance)),
            producing: facts.is_producing(),
            dampness: self.state.moisture.now(at),
            inputs_v: poll.iter().filter_map(input_v).collect(),
        };
        let ground_fault = facts.event_bits.map(|b| EventBit::GroundFault.is_set(b));
        self.watch_isolation(&now, ground_fault);
        self.watch_position(&now);
        self.watch_morning(&now);
        self.watch_residual_current(&now);
    }

    fn watch_isolation(&mut self, now: &Now, ground_fault: Option<bool>) {
        let plant = self.plant.clone();
        let inverter = &plant.inverters[now.i];
        let limit_ohm = inverter.isolation_limit.ohm();
        let poll = IsolationPoll {
            resistance: now.resistance,
            ground_fault,
            producing: now.producing,
        };
        let earth = &mut self.state.inverters[now.i].earth;
        let Some(edge) = earth.low.poll(now.at, poll, limit_ohm) else {
            return;
        };
        // Another fault may lie elsewhere.
        earth.position = PositionWatch::new();
        let earlier = earth.mornings.low();
        let explain = |began, found, resistance_ohm| {
            let leak = explain::Leak {
                resistance_ohm,
                limit_ohm,
                dampness: now.dampness,
                place: None,
                earlier,
            };
            explain::isolation_low(&inverter.id, began, found, &leak)
        };
        self.book_edge(&inverter.id, Kind::IsolationLow, edge, explain);
    }

    /// The place of a fault, once it can be told: idle poles show it, working ones do not.
    fn watch_position(&mut self, now: &Now) {
        let plant = self.plant.clone();
        let inverter = &plant.inverters[now.i];
        let earth = &mut self.state.inverters[now.i].earth;
        if !earth.low.is_low() || now.producing != Some(false) {
            return;
        }
        let Some(place) = place(now, inverter) else {
            return;
        };
        if earth.position.poll(place.position).is_none() {
            return;
        }
        let limit_ohm = inverter.isolation_limit.ohm();
        let leak = explain::Leak {
            // At rest the register may show nothing; what began it is known all the same.
            resistance_ohm: earth.low.low_ohm(),
            limit_ohm,
            dampness: now.dampness,
            place: Some(place),
            earlier: earth.mornings.low(),
        };
        // What is known of the place replaces what was known without it, also what was known of the
        // place of a fault an hour ago; the rest stays.
        let mut new = explain::isolation_low(&inverter.id, now.at, now.at, &leak);
        if let Some(standing) = self.state.book.evidence(&new.subject, Kind::IsolationLow) {
            let mut numbers = standing.clone();
            explain::forget_place(&mut numbers);
            numbers.append(&mut new.evidence);
            new.evidence = numbers;
            self.state.book.keep(new, true);
        }
    }

    fn watch_morning(&mut self, now: &Now) {
        let longitude_deg = self.plant.site.longitude.deg();
        let inverter = &self.plant.inverters[now.i];
        let device = Subject::device(&inverter.id);
        let watched = &mut self.state.inverters[now.i];
        let start_v = inverter.start_voltage.v();
        let highest_v = now.inputs_v.iter().map(|(_, v)| *v).reduce(f64::max);
        let poll = MorningPoll {
            at: now.at,
            day: now.at.solar_day(longitude_deg),
            hour: now.at.solar_hour(longitude_deg),
            resistance: now.resistance,
            is_low: watched.earth.low.is_low(),
            producing: now.producing,
            could_start: watched.lit_since.is_some() && highest_v.is_none_or(|v| v >= start_v),
            dampness: now.dampness,
        };
        let (start, closed) = watched.earth.morning.poll(&poll);
        // With the start, or on a day without one with the day.
        let without_start = closed.filter(|morning| morning.is_low);
        let without_start = without_start.map(|m| Span::from_min(i64::from(m.lost_min)));
        if let Some(lost) = start.map(|start| start.lost).or(without_start) {
            let numbers = explain::late_start(lost);
            self.state
                .book
                .add_evidence(&device, Kind::IsolationLow, numbers);
        }
        if let Some(morning) = closed {
            self.take_morning(now, morning);
        }
    }

    fn take_morning(&mut self, now: &Now, morning: Morning) {
        let inverter = &self.plant.inverters[now.i];
        let (id, limit_ohm) = (&inverter.id, inverter.isolation_limit.ohm());
        let device = Subject::device(id);
        self.mornings.push((now.i, morning));
        let earth = &mut self.state.inverters[now.i].earth;
        let near = earth.near.push(now.at, &morning, limit_ohm);
        let falling = earth.mornings.push(now.at, morning, limit_ohm);
        let stands = earth.near.is_near() || earth.mornings.is_falling();
        let low = earth.mornings.low();
        let book = &mut self.state.book;
        // It has cost nothing yet: what the inverter missed lately is not its doing.
        if let Some(Edge::Found { began, found, seen }) = &near {
            let new = explain::isolation_near(id, (*began, *found), seen, limit_ohm, low);
            match book.stands(&device, Kind::IsolationFalling) {
                // A fall that was told says more.
                true => book.add_evidence(&device, Kind::IsolationFalling, new.evidence),
                false => book.open(new),
            }
        }
        if let Some(Edge::Found { began, found, seen }) = &falling {
            let new = explain::isolation_falling(id, *began, *found, seen, limit_ohm, low);
            // With a forecast in place of what was only near.
            book.keep(new, true);
        }
        let ends = [near.and_then(end), falling.and_then(end)];
        if let Some(at) = ends.into_iter().flatten().max()
            && !stands
        {
            book.end(&device, Kind::IsolationFalling, at);
        }
    }

    fn watch_residual_current(&mut self, now: &Now) {
        let plant = self.plant.clone();
        let inverter = &plant.inverters[now.i];
        let limit_a = residual_current_limit_a(inverter.rated_ac);
        let current_a = now.values.get(Quantity::ResidualCurrent);
        let watch = &mut self.state.inverters[now.i].earth.residual_current;
        if let Some(edge) = watch.poll(now.at, current_a, limit_a) {
            let explain = |began, found, amps| {
                let id = &inverter.id;
                explain::residual_current_high(id, began, found, amps, limit_a, &now.dampness)
            };
            self.book_edge(&inverter.id, Kind::ResidualCurrentHigh, edge, explain);
        }
    }
}

/// When it ended, if it did.
fn end<T>(edge: Edge<T>) -> Option<Time> {
    match edge {
        Edge::Ended { at } => Some(at),
        Edge::Found { .. } => None,
    }
}

/// Where a single fault lies: on one of the inputs whose open-circuit voltage the poles add up to.
fn place(now: &Now, inverter: &Inverter) -> Option<explain::LeakPlace> {
    let plus_v = now.values.get(Quantity::PvPlusToEarth)?;
    let minus_v = now.values.get(Quantity::PvMinusToEarth)?;
    let start_v = inverter.start_voltage.v();
    let fits: Vec<(u8, FaultPosition)> = now
        .inputs_v
        .iter()
        .filter(|(_, open_v)| *open_v >= start_v)
        .filter_map(|(n, open_v)| Some((*n, fault_position(plus_v, minus_v, *open_v).ok()?)))
        .collect();
    let (_, position) = *fits.first()?;
    let strings = inverter
        .inputs
        .iter()
        .filter(|input| fits.iter().any(|(n, _)| *n == input.number))
        .flat_map(|input| &input.strings);
    let mut modules = strings.map(|string| string.count);
    let first = modules.next();
    let all_alike = first.filter(|first| modules.all(|count| count == *first));
    Some(explain::LeakPlace {
        position,
        modules: all_alike,
        input: (fits.len() == 1).then_some(fits[0].0),
    })
}
