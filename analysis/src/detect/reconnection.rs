//! How an inverter came back to the supply: how long it waited with a good supply, beside what the
//! rules or its own settings ask for.
//!
//! Model:   the wait runs from the first poll of the last unbroken row in which every phase and the
//!          frequency were inside the ranges of connection, to the first poll with output. Between
//!          two polls nobody looks: it is at most as long as from the last poll outside (or the last
//!          with output) to the first with output, and at least as long as the row itself.
//! Range:   voltage or frequency measured while it is off.
//! Source:  delay and ranges: the supply rules or the inverter; that it is sluggish after five minutes
//!          of idling beside a good supply: REFERENCE E.4, engineering judgement there.
//! Check:   tests/acceptance/engine/supply.rs
//! Never in here: why it let go.

use super::supply::Poll;
use crate::plant::GridLimits;
use crate::reading::{Span, Time};
use serde::{Deserialize, Serialize};

/// Beside a good supply for longer than this over the delay: something else holds it.
const SLUGGISH: Span = Span::from_min(5);

/// How it came back.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Reconnection {
    /// From the good supply to the first output; `None` where the supply was not seen to be good.
    pub waited: Option<Span>,
    /// The longest that this can have been.
    pub at_most: Span,
    /// The shortest.
    pub at_least: Span,
    /// Off while the supply was outside the ranges.
    pub supply_bad: Span,
    /// Wait that the rules or the inverter's settings ask for, where they are known.
    pub wanted: Option<Span>,
    /// Up to so much longer by chance.
    pub random: Span,
    /// From there to full power.
    pub ramp: Option<Span>,
    /// Longest wait that the inverter itself published.
    pub announced: Option<Span>,
}

/// How a wait compares with what is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Compared {
    /// Even the longest that it can have been is too short.
    TooSoon,
    /// As asked for, or nothing that polls can tell from it.
    AsWanted,
    /// Longer by more than any rule asks for.
    Sluggish,
}

impl Reconnection {
    /// Beside the rule; `None` where there is none or the supply was not seen.
    pub fn compared(&self) -> Option<Compared> {
        let (wanted, _) = self.wanted.zip(self.waited)?;
        let announced = self.announced.unwrap_or(Span::ZERO);
        Some(if self.at_most < wanted {
            Compared::TooSoon
        } else if self.at_least > (wanted + self.random).max(announced) + SLUGGISH {
            Compared::Sluggish
        } else {
            Compared::AsWanted
        })
    }
}

/// Watches an inverter that is off.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Reconnecting {
    /// Last poll at which it could not have been waiting.
    before: Time,
    good: Option<(Time, Time)>,
    last: Time,
    supply_bad: Span,
}

impl Reconnecting {
    /// Let go after a last poll with output.
    pub(super) fn new(last_output: Time) -> Self {
        Self {
            before: last_output,
            good: None,
            last: last_output,
            supply_bad: Span::ZERO,
        }
    }

    /// One poll without output.
    pub(super) fn see(&mut self, at: Time, poll: &Poll, limits: &GridLimits) {
        let gap = at - self.last;
        self.last = at;
        let phases = poll.highest_v.zip(poll.lowest_v);
        let entry = limits.enter_service;
        match entry.and_then(|entry| entry.is_good(phases, poll.frequency_hz)) {
            Some(true) => {
                let first = self.good.map_or(at, |(first, _)| first);
                self.good = Some((first, at));
            }
            Some(false) => {
                self.good = None;
                self.before = at;
                self.supply_bad = self.supply_bad + gap;
            }
            None => {}
        }
    }

    /// Output again.
    pub(super) fn back(
        &self,
        at: Time,
        announced_s: Option<f64>,
        limits: &GridLimits,
    ) -> Reconnection {
        let announced = announced_s.map(|s| Span::from_ms((1000.0 * s).round() as i64));
        Reconnection {
            waited: self.good.map(|(first, _)| at - first),
            at_most: at - self.before,
            at_least: self.good.map_or(Span::ZERO, |(first, last)| last - first),
            supply_bad: self.supply_bad,
            wanted: limits.enter_service.map(|entry| entry.delay),
            random: limits
                .enter_service
                .map_or(Span::ZERO, |entry| entry.random),
            ramp: limits.enter_service.map(|entry| entry.ramp),
            announced,
        }
    }
}
