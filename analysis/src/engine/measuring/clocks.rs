//! The times of all devices beside the sun, day by day.
//! Never in here: how an offset is found (`detect::clock`).

use super::Responses;
use crate::detect::{ClockOff, Course, Edge, Gate, Kind, Offset, is_smooth, offset};
use crate::diagnose::{Subject, explain};
use crate::engine::Engine;
use crate::engine::slots::{InverterNow, When};
use crate::reading::{ChannelId, SlotMeans, Span, Time};
use std::collections::BTreeMap;

/// Offsets that are one [min].
const SAME_OFFSET_MIN: f64 = 5.0;

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
            if let Some(Edge::Ended { at }) = watch.add(day[0].0, offset, when.start) {
                self.state.measuring.clocks_told.remove(&number);
                let subject = Subject::device(&self.device_id(number));
                self.state.book.end(&subject, Kind::ClockOff, at);
            }
        }
        self.tell_clocks(when, &seen_today);
    }

    /// Tells every clock that is off, once for all that are off by as much; one that was told together
    /// with another is told by itself once that one has been put right.
    fn tell_clocks(&mut self, when: When, seen_today: &[usize]) {
        let off: BTreeMap<usize, (Time, ClockOff)> = self
            .state
            .measuring
            .clocks
            .iter()
            .enumerate()
            .filter(|(_, watch)| watch.is_off())
            .filter_map(|(number, watch)| Some((number, watch.seen()?)))
            .collect();
        for number in seen_today {
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
            let when = (*began, when.start);
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
