//! Disconnections by the supply that return: the same class on several days or many times a day.
//!
//! A class repeats with three trips in a day, with trips on two days of seven, or with more than one
//! trip in a day that cost a quarter of an hour of daylight. It has ended after seven days of
//! production without one.
//! Source: the rules of REFERENCE E.4, engineering judgement there; a single long outage is no
//! repetition here, however much daylight it costs. Hours of the day are by the mean sun.
//! Never in here: what a single trip was (`supply`, `trip`).

use super::Edge;
use super::trip::{TripCause, TripReport};
use super::trip_days::Class;
use crate::reading::{SolarDay, Span, Time};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Days that trips are counted over.
const WEEK: i64 = 7;
/// Days of production without a trip that end it.
const QUIET_DAYS: u32 = 7;
/// Trips in a day that are told again.
const MANY_IN_A_DAY: u32 = 10;
/// Off again so soon after it came back is the same trip.
const SAME_TRIP: Span = Span::from_s(10);
/// Between two polls longer than this nobody knows.
const LONGEST_GAP: Span = Span::from_min(10);

/// How many of a site's inverters let go together.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Together {
    /// That let go at this time, this one included.
    pub off: u32,
    /// That were at work until then.
    pub of: u32,
}

impl Together {
    /// Share of the inverters from which it is the network and no branch [-].
    const SITE_RATIO: f64 = 0.8;

    /// Whether the whole site let go; of one inverter alone nothing can be said.
    pub fn is_whole_site(self) -> Option<bool> {
        (self.of > 1).then(|| f64::from(self.off) >= Self::SITE_RATIO * f64::from(self.of))
    }
}

/// Trips of one class, counted over the last seven days.
#[derive(Debug, Clone, PartialEq)]
pub struct Repeated {
    /// Which limit acts.
    pub cause: TripCause,
    /// Trips.
    pub trips: u32,
    /// Days with trips.
    pub days: usize,
    /// Most trips in one day.
    pub most_in_a_day: u32,
    /// Daylight without production.
    pub daylight_lost: Span,
    /// Trips by the hour of the day, by the mean sun.
    pub by_hour: BTreeMap<u8, u32>,
    /// Trips of the whole site, and of this inverter or some only.
    pub whole_site: u32,
    /// Trips that some inverters sat out.
    pub alone: u32,
}

/// What became of a class.
#[derive(Debug, Clone, PartialEq)]
pub enum PatternEdge {
    /// It repeats; `again`: so much that it is told once more.
    Repeats {
        /// First trip of it.
        began: Time,
        /// Now.
        found: Time,
        /// What was seen.
        seen: Repeated,
        /// Whether it has come to many trips in a day.
        again: bool,
    },
    /// Not for a while: it ended with its last trip.
    Ended {
        /// End of the last trip.
        at: Time,
        /// Which class.
        cause: TripCause,
    },
}

/// A trip that lasts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Lasting {
    cause: Option<TripCause>,
    daylight: Span,
}

/// Watches the trips of one inverter.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct TripPattern {
    last_poll: Option<(Time, SolarDay)>,
    has_produced_today: bool,
    lasting: Option<Lasting>,
    classes: BTreeMap<TripCause, Class>,
}

/// What a poll says besides its trips.
#[derive(Debug, Clone, Copy)]
pub struct PatternPoll {
    /// When.
    pub at: Time,
    /// Which day.
    pub day: SolarDay,
    /// Hour of the day by the mean sun.
    pub hour: u8,
    /// Whether it produces, off the supply in the light, or neither.
    pub producing: bool,
    /// Off the supply, in the light.
    pub lit_off: bool,
}

impl TripPattern {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// One poll and what it made begin or end; `together` of the trip that is found with it.
    pub fn poll(
        &mut self,
        poll: &PatternPoll,
        trips: &[Edge<TripReport>],
        together: Together,
    ) -> Vec<PatternEdge> {
        let mut edges = self.close_day(poll);
        let since = self.last_poll.replace((poll.at, poll.day));
        let gap = since.map_or(Span::ZERO, |(last, _)| poll.at - last);
        self.has_produced_today |= poll.producing;
        if poll.lit_off && gap <= LONGEST_GAP {
            let lasting = self.lasting.get_or_insert(Lasting {
                cause: None,
                daylight: Span::ZERO,
            });
            lasting.daylight = lasting.daylight + gap;
            if let Some(class) = lasting.cause.and_then(|c| self.classes.get_mut(&c)) {
                class.lose(gap);
            }
        }
        for trip in trips {
            match trip {
                Edge::Found { began, seen, .. } => {
                    edges.extend(self.found(*began, poll, seen, together));
                }
                Edge::Ended { at } => {
                    let lasting = self.lasting.take().and_then(|l| l.cause);
                    if let Some(class) = lasting.and_then(|c| self.classes.get_mut(&c)) {
                        class.last_end = *at;
                    }
                }
            }
        }
        if poll.producing {
            self.lasting = None;
        }
        edges
    }

    fn found(
        &mut self,
        began: Time,
        poll: &PatternPoll,
        seen: &TripReport,
        together: Together,
    ) -> Option<PatternEdge> {
        let cause = seen.causes.first()?.0;
        let daylight = self.lasting.map_or(Span::ZERO, |l| l.daylight);
        self.lasting = Some(Lasting {
            cause: Some(cause),
            daylight,
        });
        let new = || Class::new(began - SAME_TRIP);
        let class = self.classes.entry(cause).or_insert_with(new);
        if began - class.last_end < SAME_TRIP {
            class.lose(daylight);
            return None;
        }
        class.last_end = poll.at;
        class.quiet_days = 0;
        let before = class.of_today(poll.day).map_or(0, |d| d.trips);
        class.add(began, poll, daylight, together);
        let repeated = class.repeated(cause);
        let stood = class.stands;
        if stood.is_none() && !class.repeats(poll.day) {
            return None;
        }
        let first = class.days.front().map_or(began, |d| d.first);
        let began = *class.stands.get_or_insert(first);
        Some(PatternEdge::Repeats {
            began,
            found: poll.at,
            seen: repeated,
            again: stood.is_some() && before + 1 == MANY_IN_A_DAY,
        })
    }

    fn close_day(&mut self, poll: &PatternPoll) -> Vec<PatternEdge> {
        if self.last_poll.is_none_or(|(_, day)| day == poll.day) {
            return Vec::new();
        }
        let produced = std::mem::take(&mut self.has_produced_today);
        let yesterday = self.last_poll.map(|(_, day)| day);
        let mut edges = Vec::new();
        for (cause, class) in &mut self.classes {
            let is_quiet = class.days.back().map(|d| d.day) != yesterday;
            class.quiet_days += u32::from(is_quiet && produced);
            while class
                .days
                .front()
                .is_some_and(|d| poll.day.days_since(d.day) >= WEEK)
            {
                class.days.pop_front();
            }
            if class.quiet_days >= QUIET_DAYS && class.stands.take().is_some() {
                edges.push(PatternEdge::Ended {
                    at: class.last_end,
                    cause: *cause,
                });
            }
        }
        edges
    }
}
