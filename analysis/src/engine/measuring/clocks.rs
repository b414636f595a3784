//! The times of all devices beside the sun, day by day, and those of inverters beside what they were, night
//! by night. Never in here: how an offset or a step is found (`detect`).

use super::Responses;
use crate::detect::{ClockOff, Course, Edge, Gate, Kind, Offset, is_smooth, offset};
use crate::diagnose::{Subject, explain};
use crate::engine::Engine;
use crate::engine::slots::{InverterNow, When};
use crate::reading::{ChannelId, Quantity, Reading, SlotMeans, Span, Time};
use crate::sky::{Observer, sun_position};
use std::collections::BTreeMap;

/// Inverters that are set together are heard of within so long: their mornings begin one after the other.
const TOGETHER: Span = Span::from_h(2);
/// Offsets that are one [min].
const SAME_OFFSET_MIN: f64 = 5.0;
/// Voltage of an input by which it is day [V]: the dark shows a few volts, strings pass this at a hundredth
/// of full light. A module by itself never does, and nothing is said of it.
const LIT_V: f64 = 50.0;

impl Engine {
    /// What each device shows of the sun in a slot.
    pub(super) fn keep_clock_slot(&mut self, when: When, now: &[InverterNow], means: &SlotMeans) {
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

    pub(super) fn close_clock_day(&mut self, when: When) {
        let closing = &mut self.state.measuring.clock_day;
        let Some((_, days)) = closing.take_if(|(day, _)| *day < when.day) else {
            return;
        };
        let mut seen_today = Vec::new();
        for (number, (plane, day)) in days.iter().enumerate() {
            let Some(offset) = self.offset_of(*plane, day) else {
                continue;
            };
            seen_today.push(number);
            let watch = &mut self.state.measuring.clocks[number];
            let edge = watch.add(day[0].0, offset, when.start);
            let mut ended = match edge {
                Some(Edge::Ended { at }) => Some(at),
                _ => None,
            };
            if let Some(nights) = self.state.measuring.nights.get_mut(number)
                && let Some((began, step)) = nights.standing()
                && watch.is_right_since(began, step.offset.minutes)
            {
                nights.accept();
                ended = Some(began);
            }
            self.end_clock(number, ended);
        }
        self.tell_clocks(when.start, &seen_today);
    }

    /// What a poll of an inverter shows of day and night.
    pub(super) fn watch_nights(&mut self, i: usize, poll: &[Reading]) {
        let is_lit = poll.iter().any(|reading| {
            let (_, quantity) = self.roles.quantity(reading.channel);
            quantity == Quantity::DcVoltage && reading.value.good().is_some_and(|v| v >= LIT_V)
        });
        if !is_lit {
            return;
        }
        let site = &self.plant.site;
        // Asked for at the end of a night alone, not at every poll.
        let elevation_deg = |at| {
            let observer = Observer::new(site.latitude, site.longitude, site.altitude_m);
            sun_position(at, &observer).apparent_elevation_deg()
        };
        let (at, every) = (poll[0].at, self.plant.inverters[i].every);
        let measuring = &mut self.state.measuring;
        match measuring.nights[i].lit(at, every, elevation_deg) {
            // A clock that clear days know to be off has been set: they say what came of it.
            Some(Edge::Found { .. }) if measuring.clocks[i].is_off() => {
                measuring.nights[i].accept();
            }
            Some(Edge::Found { found, .. }) => {
                measuring.steps_found.insert(i, found);
            }
            Some(Edge::Ended { at: ended }) => {
                self.end_clock(i, Some(ended));
                // Those that it was told with are told by themselves, where they stay off.
                let measuring = &mut self.state.measuring;
                let nights = measuring.nights.iter().enumerate();
                let stand = nights.filter(|(_, nights)| nights.standing().is_some());
                let waiting: Vec<(usize, Time)> = stand.map(|(other, _)| (other, at)).collect();
                measuring.steps_found.extend(waiting);
            }
            None => {}
        }
    }

    /// Tells steps of clocks once those of others that were set with them are known.
    pub(super) fn tell_steps(&mut self, when: When) {
        let found = &mut self.state.measuring.steps_found;
        if found.values().any(|at| when.start - *at >= TOGETHER) {
            let all: Vec<usize> = std::mem::take(found).into_keys().collect();
            self.tell_clocks(when.start, &all);
        }
    }

    /// Ends what is told of a clock that nothing shows to be off any more.
    fn end_clock(&mut self, number: usize, ended: Option<Time>) {
        let measuring = &mut self.state.measuring;
        if let Some(at) = ended.filter(|_| !measuring.is_clock_off(number)) {
            measuring.clocks_told.remove(&number);
            let subject = Subject::device(&self.device_id(number));
            self.state.book.end(&subject, Kind::ClockOff, at);
        }
    }

    /// Tells every clock that is off, once for all that are off by as much; one that was told together
    /// with another is told by itself once that one has been put right.
    fn tell_clocks(&mut self, found: Time, seen_now: &[usize]) {
        let measuring = &self.state.measuring;
        let off: BTreeMap<usize, (Time, ClockOff)> = (0..measuring.clocks.len())
            .filter_map(|number| Some((number, measuring.clock_off(number)?)))
            .collect();
        for number in seen_now {
            let Some((began, seen)) = off.get(number) else {
                continue;
            };
            let same = |minutes: f64| (minutes - seen.offset.minutes).abs() <= SAME_OFFSET_MIN;
            let is_told = self
                .state
                .measuring
                .clocks_told
                .iter()
                .any(|(of, minutes)| {
                    // What was told may have run on with this one since.
                    let now = off.get(of).map(|(_, seen)| seen.offset.minutes);
                    of == number || same(*minutes) || now.is_some_and(same)
                });
            if is_told {
                continue;
            }
            let minutes = seen.offset.minutes;
            self.state.measuring.clocks_told.insert(*number, minutes);
            let alike = off.values().filter(|(_, other)| same(other.offset.minutes));
            let (others, device) = (alike.count() - 1, self.device_id(*number));
            let longitude_deg = self.plant.site.longitude.deg();
            let when = (*began, found);
            let new = explain::clock_off(&device, others, when, longitude_deg, seen);
            self.state.book.open(new);
        }
    }

    fn offset_of(&mut self, plane: Option<usize>, day: &[(Time, f64)]) -> Option<Offset> {
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
