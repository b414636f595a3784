//! Readings of one device at one time, handed to the detectors that look at single polls.
//! Never in here: slots.

use super::Engine;
use super::roles::Device;
use super::supply::export_poll;
use crate::detect::{Edge, Kind, Poll, TripReport};
use crate::diagnose::{NewFinding, Subject, explain};
use crate::plant::{Inverter, State};
use crate::reading::{DeviceId, Place, Quantity, Reading, SlotMeans, Span, Time};

/// AC power over rated power above which an inverter does not fall asleep before the next poll [-].
const WORKING_RATIO: f64 = 0.2;
/// Silence of the whole plant from the start that is no slow start any more.
const NOBODY_ANSWERS_AFTER: Span = Span::from_min(15);

/// What a poll shows of a device as a whole, by quantity.
pub(super) struct DeviceValues([Option<f64>; Quantity::ALL.len()]);

impl DeviceValues {
    pub(super) fn get(&self, quantity: Quantity) -> Option<f64> {
        self.0[quantity as usize]
    }
}

impl FromIterator<(Quantity, f64)> for DeviceValues {
    fn from_iter<I: IntoIterator<Item = (Quantity, f64)>>(good: I) -> Self {
        let mut values = [None; Quantity::ALL.len()];
        for (quantity, value) in good {
            values[quantity as usize] = Some(value);
        }
        Self(values)
    }
}

impl Engine {
    /// Takes the readings of one device at one time.
    pub(super) fn take_poll(&mut self, poll: &[Reading]) {
        let at = poll[0].at;
        if !std::mem::replace(&mut self.state.has_readings, true) {
            self.begin_links(at);
        }
        self.state.last_reading = Some(at);
        let poll = &self.believed(poll)[..];
        let slot = self.plant.timing.slot;
        let filling = self
            .state
            .filling
            .get_or_insert_with(|| SlotMeans::new(at.slot_start(slot)));
        for reading in poll {
            filling.add(reading);
        }
        self.take_moisture(poll);
        match self.roles.device(poll[0].channel) {
            Some(Device::Inverter(i)) => self.take_inverter_poll(i, at, poll),
            Some(Device::Weather(w)) => {
                let link = &mut self.state.weather_links[w];
                // A gap that nobody looked at is seen now.
                let edges = [link.silence(at), link.contact(at)];
                let device = self.plant.weather[w].id.clone();
                self.book_link(&device, edges.into_iter().flatten());
            }
            None => {}
        }
    }

    fn take_inverter_poll(&mut self, i: usize, at: Time, poll: &[Reading]) {
        let plant = self.plant.clone();
        let inverter = &plant.inverters[i];
        let watched = &mut self.state.inverters[i];
        // A gap that nobody looked at is seen now.
        let gap = watched
            .was_working
            .then(|| watched.link.silence(at))
            .flatten();
        let links = [gap, watched.link.contact(at)].into_iter().flatten();
        let values: DeviceValues = poll
            .iter()
            .filter(|r| self.roles.quantity(r.channel).0 == Place::Device)
            .filter_map(|r| Some((self.roles.quantity(r.channel).1, r.value.good()?)))
            .collect();
        let facts = poll_facts(&values, inverter);
        watched.was_working = facts.load_ratio.is_some_and(|load| load > WORKING_RATIO);
        let lit = watched.lit_since.is_some();
        let neighbours = self.neighbours(i, at);
        let watched = &mut self.state.inverters[i];
        let limits = &self.limits[i];
        let trips = watched.supply.poll(at, &facts, lit, neighbours, limits);
        watched.last_v = facts.highest_v.map(|v| (at, v)).or(watched.last_v);
        self.book_link(&inverter.id, links);
        self.watch_trips(i, at, lit, &trips);
        self.watch_export(i, at, &export_poll(&values, &facts, inverter));
        for trip in trips {
            self.book_trip(&inverter.id, trip);
        }
        if let Some(back) = self.state.inverters[i].supply.came_back() {
            let numbers = explain::reconnection(&back);
            let device = Subject::device(&inverter.id);
            self.state
                .book
                .add_evidence(&device, Kind::GridTrip, numbers);
        }
        self.watch_protection(i, at, &facts);
        self.watch_earth(i, at, poll, &values, &facts);
    }

    /// From here on devices that never answer are silent.
    pub(super) fn begin_links(&mut self, at: Time) {
        let inverters = self.state.inverters.iter_mut().map(|i| &mut i.link);
        for link in inverters.chain(&mut self.state.weather_links) {
            link.begin(at);
        }
    }

    /// While no device at all has answered: silent since the first watermark, which came before
    /// anything could have been let through, and in slots after a while.
    pub(super) fn watch_from(&mut self, watermark: Time, until: Time) {
        if self.state.has_readings {
            return;
        }
        if self.state.watched_from.is_none() {
            self.state.watched_from = Some(watermark);
            self.begin_links(watermark);
        }
        let from = self.state.watched_from.unwrap_or(watermark);
        if self.state.filling.is_none() && until - from >= NOBODY_ANSWERS_AFTER {
            let slot = self.plant.timing.slot;
            self.state.filling = Some(SlotMeans::new(from.slot_start(slot)));
        }
    }

    /// Looks for devices that have said nothing up to `until`. Weather devices have a supply of their
    /// own and owe answers by night too, and so does an inverter that was at work. The others are
    /// asked slot by slot, in the light.
    pub(super) fn watch_silence(&mut self, until: Time) {
        let plant = self.plant.clone();
        for (i, inverter) in plant.inverters.iter().enumerate() {
            let watched = &mut self.state.inverters[i];
            if watched.was_working {
                let edge = watched.link.silence(until);
                self.book_link(&inverter.id, edge);
            }
        }
        for (w, device) in plant.weather.iter().enumerate() {
            let edge = self.state.weather_links[w].silence(until);
            self.book_link(&device.id, edge);
        }
    }

    pub(super) fn book_link(
        &mut self,
        device: &DeviceId,
        edges: impl IntoIterator<Item = Edge<()>>,
    ) {
        for edge in edges {
            self.book_edge(device, Kind::LinkLost, edge, |began, found, ()| {
                explain::link_lost(device, began, found)
            });
        }
    }

    fn book_trip(&mut self, device: &DeviceId, edge: Edge<TripReport>) {
        self.book_edge(device, Kind::GridTrip, edge, |began, found, report| {
            explain::grid_trip(device, began, found, &report)
        });
    }

    pub(super) fn book_edge<T>(
        &mut self,
        device: &DeviceId,
        kind: Kind,
        edge: Edge<T>,
        explain: impl FnOnce(Time, Time, T) -> NewFinding,
    ) {
        match edge {
            Edge::Found { began, found, seen } => {
                let mut new = explain(began, found, seen);
                let inverter = self.plant.inverters.iter().position(|i| &i.id == device);
                if let Some(i) = inverter.filter(|_| kind != Kind::LinkLost) {
                    new.lost = self.idle_since(i, began);
                }
                self.state.book.open(new);
            }
            // The slot in which it ended still counts.
            Edge::Ended { at } => self
                .state
                .book
                .end_with_slot(&Subject::device(device), kind, at),
        }
    }
}

fn poll_facts(values: &DeviceValues, inverter: &Inverter) -> Poll {
    let phases = [
        Quantity::AcVoltageL1,
        Quantity::AcVoltageL2,
        Quantity::AcVoltageL3,
    ];
    // A single-phase inverter may publish zeros for phases that it does not have.
    let volts: Vec<f64> = phases
        .iter()
        .take(usize::from(inverter.phases))
        .filter_map(|q| values.get(*q))
        .collect();
    let get = |q| values.get(q);
    Poll {
        state: get(Quantity::State).and_then(State::from_number),
        event_bits: get(Quantity::EventBits),
        highest_v: volts.iter().copied().reduce(f64::max),
        lowest_v: volts.iter().copied().reduce(f64::min),
        frequency_hz: get(Quantity::Frequency),
        load_ratio: get(Quantity::AcPower).map(|w| w / inverter.rated_ac.w()),
        power_limit_ratio: get(Quantity::PowerLimit),
        reconnect_wait_s: get(Quantity::ReconnectWait),
    }
}
