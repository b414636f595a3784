//! Trips of one class day by day, and whether they repeat.
//! Never in here: when a trip began or ended (`trip_pattern`).

use super::trip::TripCause;
use super::trip_pattern::{PatternPoll, Repeated, Together};
use crate::reading::{SolarDay, Span, Time};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, VecDeque};

/// Trips in a day, days of a week with trips, daylight lost in a day to more than one trip.
const IN_A_DAY: u32 = 3;
const DAYS_OF_WEEK: usize = 2;
const DAYLIGHT_LOST: Span = Span::from_min(15);

/// Trips of one class on one day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct TripDay {
    pub(super) day: SolarDay,
    pub(super) first: Time,
    pub(super) trips: u32,
    pub(super) daylight_lost: Span,
    pub(super) by_hour: BTreeMap<u8, u32>,
    pub(super) whole_site: u32,
    pub(super) alone: u32,
}

/// Trips of one class.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Class {
    pub(super) days: VecDeque<TripDay>,
    /// Since when it stands.
    pub(super) stands: Option<Time>,
    pub(super) last_end: Time,
    pub(super) quiet_days: u32,
}

impl Class {
    pub(super) fn new(last_end: Time) -> Self {
        Self {
            days: VecDeque::new(),
            stands: None,
            last_end,
            quiet_days: 0,
        }
    }

    pub(super) fn of_today(&mut self, day: SolarDay) -> Option<&mut TripDay> {
        self.days.back_mut().filter(|d| d.day == day)
    }

    pub(super) fn lose(&mut self, daylight: Span) {
        if let Some(day) = self.days.back_mut() {
            day.daylight_lost = day.daylight_lost + daylight;
        }
    }

    pub(super) fn add(
        &mut self,
        began: Time,
        poll: &PatternPoll,
        daylight: Span,
        together: Together,
    ) {
        if self.of_today(poll.day).is_none() {
            self.days.push_back(TripDay {
                day: poll.day,
                first: began,
                trips: 0,
                daylight_lost: Span::ZERO,
                by_hour: BTreeMap::new(),
                whole_site: 0,
                alone: 0,
            });
        }
        let Some(day) = self.days.back_mut() else {
            return;
        };
        day.trips += 1;
        day.daylight_lost = day.daylight_lost + daylight;
        *day.by_hour.entry(poll.hour).or_default() += 1;
        let whole = together.is_whole_site();
        day.whole_site += u32::from(whole == Some(true));
        day.alone += u32::from(whole == Some(false));
    }

    pub(super) fn repeats(&self, today: SolarDay) -> bool {
        let Some(last) = self.days.back().filter(|d| d.day == today) else {
            return false;
        };
        let costly = last.trips > 1 && last.daylight_lost > DAYLIGHT_LOST;
        last.trips >= IN_A_DAY || costly || self.days.len() >= DAYS_OF_WEEK
    }

    pub(super) fn repeated(&self, cause: TripCause) -> Repeated {
        let mut by_hour = BTreeMap::new();
        for (hour, trips) in self.days.iter().flat_map(|d| &d.by_hour) {
            *by_hour.entry(*hour).or_default() += trips;
        }
        let sum = |of: fn(&TripDay) -> u32| self.days.iter().map(of).sum();
        Repeated {
            cause,
            trips: sum(|d| d.trips),
            days: self.days.len(),
            most_in_a_day: self.days.iter().map(|d| d.trips).max().unwrap_or(0),
            daylight_lost: self
                .days
                .iter()
                .fold(Span::ZERO, |all, d| all + d.daylight_lost),
            by_hour,
            whole_site: sum(|d| d.whole_site),
            alone: sum(|d| d.alone),
        }
    }
}
