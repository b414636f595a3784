//! One number of a day: the insulation resistance at the first start, wet or dry, and how long a
//! low one kept the inverter from starting.
//!
//! An inverter measures before each start and may publish the number of yesterday until then, and
//! that of its last start all day. So a number counts once it differs from yesterday's, or once the
//! inverter has started; the lowest of those before and at the start is the morning's.
//! Wet or dry comes from the weather at the first sign of the day. Where nothing measures it, a
//! morning whose number rises by half a decade until eleven was wet, and one whose number is
//! measured on and does not was dry; where the number stays as it is, it remains open.
//! Lost time runs from the moment at which it could have started (light, and voltage enough) to the
//! start, on mornings on which the insulation was low: a start that the inverter itself puts off for
//! a minute is in it.
//! Never in here: a drift (`falling`).

use super::Published;
use crate::detect::Dampness;
use crate::reading::{SolarDay, Span, Time};
use serde::{Deserialize, Serialize};

/// Solar time until which a wet array is expected to have dried [h] (engineering judgement).
const MORNING_ENDS_H: f64 = 11.0;
/// After a start the register is up to date by then (engineering judgement).
const SETTLED_AFTER: Span = Span::from_min(10);
/// Rise of a number during the morning from which it was wet [-]: half a decade (engineering
/// judgement).
const DRIED_RATIO: f64 = 3.162;
/// After a longer silence than this a start may have been missed.
const LONGEST_NIGHT: Span = Span::from_h(18);

/// What one poll says about a morning.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MorningPoll {
    /// When.
    pub at: Time,
    /// The day.
    pub day: SolarDay,
    /// Solar time [h].
    pub hour: f64,
    /// Insulation resistance.
    pub resistance: Published,
    /// Whether the insulation counts as low.
    pub is_low: bool,
    /// Whether the inverter produces.
    pub producing: Option<bool>,
    /// Whether there are light and voltage enough to start.
    pub could_start: bool,
    /// What is known of water.
    pub dampness: Dampness,
}

/// One morning of one inverter; small, because hundreds are kept.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Morning {
    /// First sign of the day.
    pub at: Time,
    /// Decimal logarithm of the resistance in ohm; `None` where only the bit was seen.
    pub log10_ohm: Option<f32>,
    /// Wet or dry; `None` where nothing told.
    pub is_wet: Option<bool>,
    /// Of the modules, or of the air [degC].
    pub temperature_degc: Option<f32>,
    /// Whether the insulation was low.
    pub is_low: bool,
    /// Time in light until it started, while the insulation was low [min].
    pub lost_min: u16,
}

/// A start on a morning on which the insulation was low.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Start {
    /// Time in light that it lost.
    pub lost: Span,
}

/// Follows the mornings of one inverter.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct MorningWatch {
    last: Option<Time>,
    last_ohm: Option<f64>,
    today: Option<Today>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Today {
    day: SolarDay,
    /// Number at the end of the day before.
    before_ohm: Option<f64>,
    /// Whether a start can still be seen: nobody joined while it was producing.
    start_is_seen: bool,
    first_sign: Option<(Time, Dampness)>,
    /// Lowest number before the start, and number at it.
    lowest_ohm: Option<f64>,
    start_ohm: Option<f64>,
    started: Option<Time>,
    /// From when to when it could have started and had not.
    blocked: Option<(Time, Time)>,
    is_low: bool,
    /// Highest number after the start, and whether it moved.
    highest_ohm: Option<f64>,
    moved: bool,
    closed: bool,
}

impl MorningWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes one poll. Gives the start of a morning on which the insulation was low, and a morning
    /// that is over.
    pub fn poll(&mut self, poll: &MorningPoll) -> (Option<Start>, Option<Morning>) {
        let is_new_day = self
            .today
            .as_ref()
            .is_none_or(|today| today.day != poll.day);
        let yesterday = if is_new_day { self.begin(poll) } else { None };
        let today = self.today.as_mut().expect("begun above if it was missing");
        let start = today.take(poll);
        let closed = today.close_if_over(poll, self.last_ohm);
        self.last = Some(poll.at);
        self.last_ohm = poll.resistance.ohm().or(self.last_ohm);
        (start, yesterday.or(closed))
    }

    fn begin(&mut self, poll: &MorningPoll) -> Option<Morning> {
        let yesterday = self.today.take().filter(|today| !today.closed);
        let night_was_short = self
            .last
            .is_some_and(|last| poll.at - last <= LONGEST_NIGHT);
        self.today = Some(Today {
            day: poll.day,
            before_ohm: self.last_ohm,
            start_is_seen: night_was_short || poll.producing == Some(false),
            first_sign: None,
            lowest_ohm: None,
            start_ohm: None,
            started: None,
            blocked: None,
            is_low: false,
            highest_ohm: None,
            moved: false,
            closed: false,
        });
        yesterday?.morning(self.last_ohm)
    }
}

impl Today {
    fn take(&mut self, poll: &MorningPoll) -> Option<Start> {
        if self.closed {
            return None;
        }
        let ohm = poll.resistance.ohm();
        match self.started {
            None if poll.producing == Some(true) => {
                self.sign(poll);
                self.started = Some(poll.at);
                self.start_ohm = ohm;
                self.is_low |= poll.is_low;
                self.is_low.then(|| Start { lost: self.lost() })
            }
            None => {
                self.before_start(poll, ohm);
                None
            }
            Some(started) => {
                self.after_start(poll, ohm, started);
                None
            }
        }
    }

    fn before_start(&mut self, poll: &MorningPoll, ohm: Option<f64>) {
        // The first number of all is of nobody knows when.
        self.before_ohm = self.before_ohm.or(ohm);
        if let Some(new) = ohm.filter(|_| ohm != self.before_ohm) {
            self.sign(poll);
            self.lowest_ohm = Some(self.lowest_ohm.map_or(new, |lowest| lowest.min(new)));
        }
        if poll.could_start && poll.producing == Some(false) {
            self.sign(poll);
            self.is_low |= poll.is_low;
            self.blocked = Some((self.blocked.map_or(poll.at, |b| b.0), poll.at));
        }
    }

    fn after_start(&mut self, poll: &MorningPoll, ohm: Option<f64>, started: Time) {
        if poll.at - started <= SETTLED_AFTER {
            self.start_ohm = ohm.or(self.start_ohm);
            self.is_low |= poll.is_low;
        } else if let Some(ohm) = ohm {
            self.moved |= self.start_ohm.is_some_and(|at_start| at_start != ohm);
            self.highest_ohm = Some(self.highest_ohm.map_or(ohm, |highest| highest.max(ohm)));
        }
    }

    fn sign(&mut self, poll: &MorningPoll) {
        self.first_sign.get_or_insert((poll.at, poll.dampness));
    }

    fn lost(&self) -> Span {
        let (from, to) = match self.blocked {
            Some((from, to)) => (from, self.started.unwrap_or(to)),
            None => return Span::ZERO,
        };
        to - from
    }

    fn close_if_over(&mut self, poll: &MorningPoll, last_ohm: Option<f64>) -> Option<Morning> {
        let settled = match self.started {
            Some(started) => poll.at - started > SETTLED_AFTER,
            None => self.blocked.is_none(),
        };
        if self.closed || !settled || poll.hour < MORNING_ENDS_H {
            return None;
        }
        self.closed = true;
        self.morning(last_ohm)
    }

    /// What is kept of it, if it has shown anything.
    fn morning(&self, last_ohm: Option<f64>) -> Option<Morning> {
        if !self.start_is_seen {
            return None;
        }
        let (at, dampness) = self.first_sign?;
        let numbers = self.lowest_ohm.into_iter().chain(self.start_ohm);
        let ohm = numbers
            .reduce(f64::min)
            .or(last_ohm.filter(|_| self.is_low));
        if ohm.is_none() && !self.is_low {
            return None;
        }
        let lost_min = (self.lost().seconds() / 60.0).round();
        Some(Morning {
            at,
            log10_ohm: ohm.map(|ohm| ohm.log10() as f32),
            is_wet: dampness
                .is_wet()
                .or(ohm.and_then(|ohm| self.has_dried(ohm))),
            temperature_degc: dampness.temperature_degc.map(|t| t as f32),
            is_low: self.is_low,
            lost_min: if self.is_low { lost_min as u16 } else { 0 },
        })
    }

    /// Whether the number rose in the course of the morning as that of a wet array does; `None`
    /// where it was not measured again.
    fn has_dried(&self, ohm: f64) -> Option<bool> {
        let later = self.start_ohm.into_iter().chain(self.highest_ohm);
        let best = later.reduce(f64::max)?;
        (best >= DRIED_RATIO * ohm)
            .then_some(true)
            .or(self.moved.then_some(false))
    }
}
