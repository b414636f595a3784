//! Disconnections by the supply: from state, power, AC voltages and frequency, poll by poll.
//!
//! Fast trips last less than a poll, so they are seen by their aftermath: the inverter was
//! producing in good light, then is not for more than one poll. What acted is judged from the event
//! bits, the last values before, the worst values meanwhile, the ten-minute mean and the neighbours,
//! against the protection limits in force: those that the inverter publishes, else the site's rules
//! (AS/NZS 4777.2 and the like, as data in config/grid).
//! Never in here: stops that the supply did not cause; bits for those silence this detector.

use super::Edge;
use super::reconnection::{Reconnecting, Reconnection};
use super::trip::{Extremes, Neighbours, Pending, TripCause, TripReport};
use super::trip_pattern::Together;
use crate::plant::{GridLimits, State};
use crate::reading::{Span, Time};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Polls without production that make a disconnection.
const POLLS_OFF: u32 = 2;
/// A trip is reported at reconnection, or after this long.
const REPORT_AFTER: Span = Span::from_min(10);
/// Length of the sustained over-voltage mean.
const MEAN_OVER: Span = Span::from_min(10);
/// Width of a bin of that mean.
const BIN: Span = Span::from_s(30);
/// AC power over rated power before a stop below which it may as well be for want of light [-].
const FAINT_LOAD_RATIO: f64 = 0.05;

/// What one poll of an inverter says about it and its supply.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Poll {
    /// Operating state.
    pub state: Option<State>,
    /// Event bits, as on the channel.
    pub event_bits: Option<f64>,
    /// Highest phase voltage [V].
    pub highest_v: Option<f64>,
    /// Lowest phase voltage [V].
    pub lowest_v: Option<f64>,
    /// Frequency [Hz].
    pub frequency_hz: Option<f64>,
    /// AC power over rated power [-].
    pub load_ratio: Option<f64>,
    /// Power limit in force over rated power [-].
    pub power_limit_ratio: Option<f64>,
    /// How long it still waits before it connects [s].
    pub reconnect_wait_s: Option<f64>,
}

impl Poll {
    /// Whether the inverter produces: by its state, or by its power where it publishes no state.
    pub fn is_producing(&self) -> Option<bool> {
        /// AC power over rated power below which nothing is produced [-].
        const IDLE_RATIO: f64 = 0.003;
        self.state
            .map(State::is_producing)
            .or(self.load_ratio.map(|load| load > IDLE_RATIO))
    }
}

/// Watches the supply of one inverter.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct SupplyWatch {
    was_producing: bool,
    before_v: Option<(f64, f64)>,
    before_hz: Option<f64>,
    before_load: Option<f64>,
    last_poll: Option<Time>,
    last_output: Option<Time>,
    bins: VecDeque<(Time, f64, u32)>,
    pending: Option<Pending>,
    /// Of the trip that ended at the last poll.
    came_back: Option<Reconnection>,
}

impl SupplyWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// One poll. `lit`: whether the array had light enough to produce.
    pub fn poll(
        &mut self,
        at: Time,
        poll: &Poll,
        lit: bool,
        neighbours: Neighbours,
        limits: &GridLimits,
    ) -> Vec<Edge<TripReport>> {
        self.came_back = None;
        let Some(producing) = poll.is_producing() else {
            return Vec::new();
        };
        let last = self.last_poll.replace(at);
        let silent = last.map_or(Span::ZERO, |last| at - last);
        if silent > REPORT_AFTER {
            // Whatever it did meanwhile was not seen.
            *self = Self {
                last_poll: Some(at),
                ..Self::default()
            };
        }
        if producing {
            let edges = self.reconnected(at, limits);
            self.remember(at, poll);
            self.was_producing = true;
            return edges;
        }
        if self.was_producing && lit && self.pending.is_none() {
            self.pending = Some(self.start(at, limits));
        }
        self.was_producing = false;
        self.off(at, poll, (lit, neighbours), limits)
            .into_iter()
            .collect()
    }

    /// Since when it has been off, until that is known to be no trip or over.
    pub fn off_since(&self) -> Option<Time> {
        self.pending.as_ref().map(|pending| pending.began)
    }

    /// Whether it produced at the last poll.
    pub fn is_producing(&self) -> bool {
        self.was_producing
    }

    /// How it came back, of a trip that ended at the last poll.
    pub fn came_back(&self) -> Option<Reconnection> {
        self.came_back
    }

    fn remember(&mut self, at: Time, poll: &Poll) {
        self.before_v = poll.highest_v.zip(poll.lowest_v);
        self.before_hz = poll.frequency_hz;
        self.before_load = poll.load_ratio;
        self.last_output = Some(at);
        let Some(v) = poll.highest_v else { return };
        let bin = at.slot_start(BIN);
        match self.bins.back_mut() {
            Some((start, sum, count)) if *start == bin => {
                *sum += v;
                *count += 1;
            }
            _ => self.bins.push_back((bin, v, 1)),
        }
        while self
            .bins
            .front()
            .is_some_and(|(start, ..)| at - *start > MEAN_OVER)
        {
            self.bins.pop_front();
        }
    }

    fn start(&self, at: Time, limits: &GridLimits) -> Pending {
        let (sum, count) = self
            .bins
            .iter()
            .fold((0.0, 0), |(s, n), (_, sum, c)| (s + sum, n + c));
        let mut seen = Extremes {
            highest_v: self.before_v.map_or(f64::MIN, |(high, _)| high),
            lowest_v: self.before_v.map_or(f64::MAX, |(_, low)| low),
            lowest_of_highest_v: f64::MAX,
            highest_hz: self.before_hz.unwrap_or(f64::MIN),
            lowest_hz: self.before_hz.unwrap_or(f64::MAX),
            bits: 0,
            phase_gone: false,
            displaced: false,
            only_here: false,
            waits_s: None,
            commanded_off: false,
        };
        seen.look_at_phases(self.before_v, limits.nominal_voltage.v());
        Pending {
            began: at,
            polls: 0,
            reported: false,
            seen,
            mean_v: (count > 0).then(|| sum / f64::from(count)),
            before_v: self.before_v,
            before_hz: self.before_hz,
            wants_light: self.before_load.is_some_and(|load| load < FAINT_LOAD_RATIO),
            together: Together::default(),
            reconnecting: Reconnecting::new(self.last_output.unwrap_or(at)),
        }
    }

    fn off(
        &mut self,
        at: Time,
        poll: &Poll,
        (lit, neighbours): (bool, Neighbours),
        limits: &GridLimits,
    ) -> Option<Edge<TripReport>> {
        let pending = self.pending.as_mut()?;
        pending.polls += 1;
        pending.see(at, poll, neighbours, limits);
        if !lit && !pending.reported {
            // Dusk, not the supply.
            self.pending = None;
            return None;
        }
        if pending.reported || at - pending.began < REPORT_AFTER || pending.polls < POLLS_OFF {
            return None;
        }
        if pending.is_without_cause_in_supply(limits) {
            self.pending = None;
            return None;
        }
        let report = pending.report(limits, None);
        // Still off with a good supply and nothing that points to it: the inverter's own matter, or
        // that of whoever stopped all of them. One that counts down waits for the supply.
        let unseen = [TripCause::NotVisible, TripCause::NetworkNotVisible];
        let is_unseen = |(cause, _): &(TripCause, f64)| unseen.contains(cause);
        let waits = poll.reconnect_wait_s.is_some_and(|s| s > 0.0);
        if report.causes.first().is_none_or(is_unseen) && !waits {
            self.pending = None;
            return None;
        }
        pending.reported = true;
        Some(Edge::Found {
            began: pending.began,
            found: at,
            seen: report,
        })
    }

    fn reconnected(&mut self, at: Time, limits: &GridLimits) -> Vec<Edge<TripReport>> {
        let Some(pending) = self.pending.take() else {
            return Vec::new();
        };
        let ended = Edge::Ended { at };
        let waits_s = pending.seen.waits_s;
        let back = pending.reconnecting.back(at, waits_s, limits);
        if pending.reported {
            self.came_back = Some(back);
            return vec![ended];
        }
        let is_no_trip = pending.is_own_stop() || pending.is_without_cause_in_supply(limits);
        if pending.polls < POLLS_OFF || is_no_trip {
            return Vec::new();
        }
        self.came_back = Some(back);
        let seen = pending.report(limits, Some(back));
        vec![
            Edge::Found {
                began: pending.began,
                found: at,
                seen,
            },
            ended,
        ]
    }
}
