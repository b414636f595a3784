//! Whether the clock of an inverter has been set otherwise, by when its days end and begin.
//!
//! Model:   with e_s the sun's elevation by the stamp of the last poll of a day that shows light, e_r by
//!          that of the first one of the next, m their medians over earlier nights, e' = de/dt there:
//!            tau_s = (e_s - m_s) / e'_s,   tau_r = (e_r - m_r) / e'_r
//!          A clock that is set moves both the same way. Clouds, snow, fog and outages make a day longer
//!          or shorter: they move one, or both apart. So a night speaks for the smaller of both where they
//!          have one sign, and for nothing where they have not.
//!          Told where the latest `NIGHTS` speak for `SMALLEST_MIN` and `SIGMAS` s or more on the same
//!          side and agree; from `LARGE_MIN` on two of them do. s^2 = 1.57 (S^2 / `NIGHTS` + S^2 / n),
//!          as if the latest were a median too, S the robust spread of (tau_s + tau_r) / 2 of the n earlier
//!          nights, not less than `FLOOR_MIN` and what polls leave open.
//! Symbols: tau stamps now minus stamps before [min]; e [deg]; e' [deg/min].
//! Range:   nights of four to twenty hours under a sun that sinks; a change alone: a clock that was wrong
//!          from the start is left to clear days (`clock`).
//! Source:  own. 1.57 = pi / 2, variance of a median over that of a mean (textbook). Edges: engineering
//!          judgement; whole campaigns have had no false one (DEVELOPERS.md, seeds 161 and 171).
//! Check:   unit tests below; tests/acceptance/engine/clocks.rs; the campaign.

use super::{ClockOff, Edge, Offset, ShownBy};
use crate::reading::{MEDIAN_OVER_MEAN, Span, Time, median, robust_spread};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// How long a night is.
const NIGHT: std::ops::RangeInclusive<Span> = Span::from_h(4)..=Span::from_h(20);
/// Earlier nights that are kept, and that are needed.
const EARLIER_KEPT: usize = 14;
const EARLIER_LEAST: usize = 7;
/// Nights that tell, and that tell of a large step.
const NIGHTS: usize = 3;
const NIGHTS_IF_LARGE: usize = 2;
/// Smallest step that is told, a large one, and how sure it must be.
const SMALLEST_MIN: f64 = 6.0;
const LARGE_MIN: f64 = 20.0;
const SIGMAS: f64 = 4.0;
/// Uncertainty that the scatter of few nights may not show [min].
const FLOOR_MIN: f64 = 1.0;
/// How far nights may differ and still agree, over their mean [-].
const AGREE_RATIO: f64 = 0.5;
/// The slowest sun that tells the time: some 55 degrees from the equator at a solstice [deg/min].
const LEAST_RATE: f64 = 0.1;
/// Half the time over which the sun's rate is taken.
const RATE_OVER: Span = Span::from_min(5);

/// One end of a night: elevation of the sun [deg] and its rate [deg/min].
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct End {
    elevation_deg: f64,
    rate: f64,
}

/// A night between two days with light: when it began, and both ends.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Night {
    began: Time,
    ends: [End; 2],
}

/// Watches the nights of one inverter.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct NightWatch {
    lit: Option<Time>,
    earlier: VecDeque<Night>,
    latest: VecDeque<Night>,
    standing: Option<(Time, ClockOff)>,
}

impl NightWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// The step that stands, and since when.
    pub fn standing(&self) -> Option<(Time, ClockOff)> {
        self.standing
    }

    /// Whether the clock has been set so far that the sun's place says nothing of shade and planes.
    pub fn is_far_off(&self) -> bool {
        self.standing
            .is_some_and(|(_, seen)| seen.offset.minutes.abs() >= LARGE_MIN)
    }

    /// What is now is right: a step that stands has put the clock right, or was none.
    pub fn accept(&mut self) {
        *self = Self {
            lit: self.lit,
            ..Self::default()
        };
    }

    /// Takes a poll that shows light, one of every `every`; `elevation_deg` of the sun at a time.
    pub fn lit(
        &mut self,
        at: Time,
        every: Span,
        mut elevation_deg: impl FnMut(Time) -> f64,
    ) -> Option<Edge<ClockOff>> {
        let last = self.lit.replace(at)?;
        let gap = at - last;
        if gap > *NIGHT.end() {
            self.latest.clear();
        }
        if !NIGHT.contains(&gap) || elevation_deg(last + gap.half()) >= 0.0 {
            return None;
        }
        let mut end = |at: Time| {
            let (before, after) = (elevation_deg(at - RATE_OVER), elevation_deg(at + RATE_OVER));
            End {
                elevation_deg: elevation_deg(at),
                rate: (after - before) / (2.0 * RATE_OVER.seconds() / 60.0),
            }
        };
        let night = Night {
            began: last,
            ends: [end(last), end(at)],
        };
        let [set, rise] = night.ends;
        if -set.rate < LEAST_RATE || rise.rate < LEAST_RATE {
            return None;
        }
        self.latest.push_back(night);
        let edge = self.judge(every, at);
        if let Some(Edge::Ended { at }) = edge {
            self.latest.retain(|night| night.began >= at);
        }
        if self.latest.len() >= NIGHTS {
            let oldest = self.latest.pop_front();
            if self.standing.is_none() {
                self.earlier.extend(oldest);
                let over = self.earlier.len().saturating_sub(EARLIER_KEPT);
                self.earlier.drain(..over);
            }
        }
        edge
    }

    fn judge(&mut self, every: Span, found: Time) -> Option<Edge<ClockOff>> {
        let usual = self.usual()?;
        let steps: Vec<(Time, [f64; 2])> = self
            .latest
            .iter()
            .map(|night| (night.began, night.moved(usual)))
            .collect();
        if let Some((_, standing)) = self.standing {
            // Nearer to what it was than to what it became.
            let edge = standing.offset.minutes.abs() / 2.0;
            let back = steps.iter().rev().take(NIGHTS_IF_LARGE);
            let is_back = back.clone().all(|(_, ends)| middle(*ends).abs() < edge);
            let at = back.map(|(began, _)| *began).min()?;
            return is_back.then(|| {
                self.standing = None;
                Edge::Ended { at }
            });
        }
        let sigma = self.sigma(usual, every)?;
        let of = |count: usize, smallest: f64| told(&steps, count, smallest.max(SIGMAS * sigma));
        let (began, minutes, days) =
            of(NIGHTS, SMALLEST_MIN).or_else(|| of(NIGHTS_IF_LARGE, LARGE_MIN))?;
        let seen = ClockOff {
            offset: Offset { minutes, sigma },
            days,
            by: ShownBy::Nights,
        };
        self.standing = Some((began, seen));
        Some(Edge::Found { began, found, seen })
    }

    /// The elevations at which a night begins and ends [deg], where enough of them are known.
    fn usual(&self) -> Option<[f64; 2]> {
        let of = |end: usize| median(self.earlier.iter().map(|n| n.ends[end].elevation_deg));
        (self.earlier.len() >= EARLIER_LEAST).then_some([of(0)?, of(1)?])
    }

    /// One standard deviation of a step [min].
    fn sigma(&self, usual: [f64; 2], every: Span) -> Option<f64> {
        let middles = self.earlier.iter().map(|night| middle(night.moved(usual)));
        // Two ends that fall anywhere between two polls.
        let polls_min = every.seconds() / 60.0 / 12.0_f64.sqrt() / 2.0_f64.sqrt();
        let spread = robust_spread(middles, 0.0)?.max(FLOOR_MIN).max(polls_min);
        let nights = 1.0 / NIGHTS as f64 + 1.0 / self.earlier.len() as f64;
        Some(MEDIAN_OVER_MEAN * spread * nights.sqrt())
    }
}

impl Night {
    /// How much later by the stamps its ends are than they use to be [min].
    fn moved(&self, usual: [f64; 2]) -> [f64; 2] {
        let moved = |end: usize| (self.ends[end].elevation_deg - usual[end]) / self.ends[end].rate;
        [moved(0), moved(1)]
    }
}

fn middle([set, rise]: [f64; 2]) -> f64 {
    f64::midpoint(set, rise)
}

/// What a night speaks for: the smaller where both ends have moved the same way [min].
fn spoken([set, rise]: [f64; 2]) -> f64 {
    match set * rise > 0.0 {
        true => set.signum() * set.abs().min(rise.abs()),
        false => 0.0,
    }
}

/// Since when, by how many minutes and on how many nights, where the latest `count` speak for `least`
/// on the same side and agree.
fn told(steps: &[(Time, [f64; 2])], count: usize, least: f64) -> Option<(Time, f64, usize)> {
    let of = &steps[steps.len().checked_sub(count)?..];
    let speak = |sign: f64| of.iter().all(|(_, ends)| sign * spoken(*ends) >= least);
    let mean = of.iter().map(|(_, ends)| middle(*ends)).sum::<f64>() / count as f64;
    let agree = of
        .iter()
        .all(|(_, ends)| (middle(*ends) - mean).abs() <= AGREE_RATIO * mean.abs());
    (speak(mean.signum()) && agree).then_some((of[0].0, mean, count))
}

#[cfg(test)]
#[path = "nights_tests.rs"]
mod tests;
