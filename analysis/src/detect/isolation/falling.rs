//! Insulation that falls from one dry morning to the next.
//!
//! Model:   y = log10 R on dry mornings; slope b of y over days (`robust_slope`)
//!          drift: b and the upper end of its 99 % interval are below zero, y has fallen by at least
//!          0.3 along the line, and (log10 limit - y) / b is at most 180 days                 eq. (1)
//!          step: the median of the latest 3 dry mornings lies 0.5 or more under the median of the
//!          60 days before them, and under 1 Mohm                                            eq. (2)
//! Symbols: R insulation resistance at the first start of the day [ohm]
//! Range:   15 dry mornings over 30 days for a drift; 10 in the 60 days for a step.
//! Source:  The logarithm of the morning value on dry mornings, a Theil-Sen slope and its forecast,
//!          and half a decade on three mornings against 60 days: common practice. Insulation falls
//!          to about half with each 10 K (from memory, verify). All numbers are engineering
//!          judgement. IEC 62109-2 knows the limit only.
//! Check:   tests below; tests/acceptance/engine/isolation.rs has the operating curves.
//!
//! A slope is looked for in the last 60, 150 and 400 days: a fall that begins after a quiet year is
//! not to wait until it outweighs the year. From winter to summer a sound array falls too, because
//! it is warmer at the start: where temperature is measured, the fall must stand with and without
//! the factor of two per 10 K; where it is not, it must be steeper than any season, until the window
//! is nearly a year. Mornings of which nothing tells whether they were wet count by the best of each
//! week: water only lowers the number.
//! It ends when half of what was lost (in decades) is back on three dry mornings.
//! Never in here: whether a morning was wet (`morning`).

use super::Morning;
use crate::detect::Edge;
use crate::reading::{Interval, Slope, Span, Time, median, robust_slope};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Mornings kept.
const KEPT: usize = 400;
/// Windows in which a slope is looked for [d].
const WINDOWS_D: [i64; 3] = [60, 150, 400];
/// Dry mornings and days that a slope needs.
const DRIFT_MORNINGS: usize = 15;
const DRIFT_SPAN_D: f64 = 30.0;
/// Fall along the line that is worth telling [decades]: half.
const DRIFT_LEAST: f64 = 0.3;
/// A limit that is reached later than this is not told yet [d].
const HORIZON_D: f64 = 180.0;
/// Mornings in a row on which it must show.
const AGREEING: u32 = 3;
/// Fall per day that a season can make [decades/d]: 15 K between winter and summer, steepest where
/// a sine is (pi x 15 K / 365 d), at a factor of two per 10 K.
const SEASON_PER_D: f64 = std::f64::consts::PI * 15.0 / 365.0 * DECADES_PER_K;
/// Length of a window in which seasons cancel [d].
const NEARLY_A_YEAR_D: f64 = 330.0;
/// A factor of two per 10 K [decades/K].
const DECADES_PER_K: f64 = 0.030_103;
const REFERENCE_DEGC: f64 = 25.0;

/// Dry mornings that make the present level.
const LATEST: usize = 3;
/// Days and dry mornings before them that a step is measured from.
const STEP_FROM: (Span, usize) = (Span::from_h(60 * 24), 10);
/// Step that is told [decades], and level above which it is not [ohm].
const STEP_LEAST: f64 = 0.5;
const STEP_UNDER_OHM: f64 = 1e6;
const WEEK: Span = Span::from_h(7 * 24);

/// The mornings of one inverter.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Mornings {
    kept: VecDeque<Morning>,
    /// Repaired or dried out: older mornings say nothing of a fall any more.
    afresh: Option<Time>,
    agreeing: u32,
    /// While it stands: level at which it ends.
    ends_at_log10_ohm: Option<f64>,
}

/// A fall that was seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Falling {
    /// Median of the latest dry mornings [ohm].
    pub level_ohm: f64,
    /// Where it has come from [ohm].
    pub from_ohm: f64,
    /// Within so many days.
    pub span_d: f64,
    /// Dry mornings used, and wet ones left out.
    pub dry_mornings: usize,
    /// Wet mornings in the same time.
    pub wet_mornings: usize,
    /// How it fell.
    pub how: Fall,
}

/// How it fell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fall {
    /// Steadily.
    Drift {
        /// With its 99 % interval [decades/d].
        slope: Slope,
        /// Until the limit is reached [d].
        days_to_limit: f64,
        /// At the steepest and the flattest slope of the interval [d].
        soonest_d: f64,
        /// See `soonest_d`.
        latest_d: f64,
    },
    /// Within a few mornings.
    Step,
}

/// A dry morning: when, log10 of the resistance in ohm, temperature [degC].
#[derive(Clone, Copy)]
struct Dry {
    at: Time,
    y: f64,
    degc: Option<f64>,
}

impl Mornings {
    /// None yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// How many mornings of low insulation are remembered, and the time in light lost on them.
    pub fn low(&self) -> (usize, Span) {
        let low = self.kept.iter().filter(|m| m.is_low);
        let lost = |sum: Span, m: &Morning| sum + Span::from_min(i64::from(m.lost_min));
        (low.clone().count(), low.fold(Span::ZERO, lost))
    }

    /// Takes a morning that is over, at a time, against the limit [ohm].
    pub fn push(&mut self, now: Time, morning: Morning, limit_ohm: f64) -> Option<Edge<Falling>> {
        if self.kept.len() == KEPT {
            self.kept.pop_front();
        }
        self.kept.push_back(morning);
        if morning.is_wet == Some(true) || morning.log10_ohm.is_none() {
            return None;
        }
        let dry = self.dry();
        let latest = &dry[dry.len().checked_sub(LATEST)?..];
        let level = median(latest.iter().map(|d| d.y))?;
        if let Some(end) = self.ends_at_log10_ohm {
            let at = latest.first().filter(|_| level >= end)?.at;
            *self = Self {
                afresh: Some(at),
                kept: std::mem::take(&mut self.kept),
                ..Self::default()
            };
            return Some(Edge::Ended { at });
        }
        let Some((began, seen)) = self.fall(&dry, level, limit_ohm.log10()) else {
            self.agreeing = 0;
            return None;
        };
        self.agreeing += 1;
        if self.agreeing < AGREEING {
            return None;
        }
        self.ends_at_log10_ohm = Some(f64::midpoint(level, seen.from_ohm.log10()));
        Some(Edge::Found {
            began,
            found: now,
            seen,
        })
    }

    /// Mornings that were dry, and the best of each week, this one excepted, of those that are open.
    fn dry(&self) -> Vec<Dry> {
        let since = |m: &&Morning| self.afresh.is_none_or(|afresh| m.at >= afresh);
        let dry = |m: &Morning| {
            Some(Dry {
                at: m.at,
                y: f64::from(m.log10_ohm?),
                degc: m.temperature_degc.map(f64::from),
            })
        };
        let week = |m: &Morning| m.at.slot_start(WEEK);
        let this_week = self.kept.back().map(week);
        let kept: Vec<&Morning> = self.kept.iter().filter(since).collect();
        let mut found = Vec::new();
        for in_week in kept.chunk_by(|a, b| week(a) == week(b)) {
            let known = in_week.iter().filter(|m| m.is_wet == Some(false));
            found.extend(known.filter_map(|m| dry(m)));
            let open = in_week.iter().filter(|m| m.is_wet.is_none());
            let best = open
                .filter_map(|m| dry(m))
                .reduce(|best, d| if d.y > best.y { d } else { best });
            found.extend(best.filter(|_| Some(week(in_week[0])) != this_week));
        }
        found.sort_by_key(|d| d.at);
        found
    }

    fn fall(&self, dry: &[Dry], level: f64, limit: f64) -> Option<(Time, Falling)> {
        let last = dry.last()?.at;
        let drifts = WINDOWS_D.iter().find_map(|days| {
            let first = dry.partition_point(|d| last - d.at > Span::from_h(24 * days));
            let window = &dry[first..];
            let (from, how) = drift(window, level, limit)?;
            Some((window, from, how))
        });
        let (window, from, how) = drifts.or_else(|| step(dry, level))?;
        let began = window.first()?.at;
        let is_wet = |m: &&Morning| m.at >= began && m.is_wet == Some(true);
        let seen = Falling {
            level_ohm: 10_f64.powf(level),
            from_ohm: 10_f64.powf(from),
            span_d: (last - began).hours() / 24.0,
            dry_mornings: window.len(),
            wet_mornings: self.kept.iter().filter(is_wet).count(),
            how,
        };
        Some((began, seen))
    }
}

/// Eq. (1): where the line begins, and the slope.
fn drift(window: &[Dry], level: f64, limit: f64) -> Option<(f64, Fall)> {
    let (first, last) = (window.first()?, window.last()?);
    let days = |at: Time| (at - first.at).hours() / 24.0;
    let span_d = days(last.at);
    if window.len() < DRIFT_MORNINGS || span_d < DRIFT_SPAN_D {
        return None;
    }
    let raw: Vec<(f64, f64)> = window.iter().map(|d| (days(d.at), d.y)).collect();
    let at_reference = |d: &Dry| {
        let warmer_k = d.degc? - REFERENCE_DEGC;
        Some((days(d.at), d.y + DECADES_PER_K * warmer_k))
    };
    let same_warmth: Option<Vec<(f64, f64)>> = window.iter().map(at_reference).collect();
    let mut slope = robust_slope(&raw, Interval::NinetyNine)?;
    let season = if let Some(points) = same_warmth {
        let other = robust_slope(&points, Interval::NinetyNine)?;
        slope = if other.high > slope.high {
            other
        } else {
            slope
        };
        0.0
    } else if span_d < NEARLY_A_YEAR_D {
        SEASON_PER_D
    } else {
        0.0
    };
    let fallen = -slope.middle * span_d;
    let to_go = level - limit;
    if slope.high >= -season || fallen < DRIFT_LEAST || to_go <= 0.0 {
        return None;
    }
    let days_to_limit = to_go / -slope.middle;
    (days_to_limit <= HORIZON_D).then_some((
        level + fallen,
        Fall::Drift {
            slope,
            days_to_limit,
            soonest_d: to_go / -slope.low,
            latest_d: to_go / -slope.high,
        },
    ))
}

/// Eq. (2): the latest mornings, and the level before them. Asks for known dryness: the best of a
/// week comes too seldom.
fn step(dry: &[Dry], level: f64) -> Option<(&[Dry], f64, Fall)> {
    let (before, latest) = dry.split_at(dry.len() - LATEST);
    let (span, least) = STEP_FROM;
    let recent = before.partition_point(|d| latest[0].at - d.at > span);
    let recent = &before[recent..];
    let from = median(recent.iter().map(|d| d.y)).filter(|_| recent.len() >= least)?;
    let is_step = from - level >= STEP_LEAST && level < STEP_UNDER_OHM.log10();
    is_step.then_some((latest, from, Fall::Step))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_more_than_so_many_mornings_are_kept() {
        let mut mornings = Mornings::new();
        for day in 0..500 {
            let morning = Morning {
                at: Time::from_unix_ms(day * 86_400_000),
                log10_ohm: Some(6.0),
                is_wet: Some(true),
                temperature_degc: None,
                is_low: false,
                lost_min: 0,
            };
            mornings.push(morning.at, morning, 36_667.0);
        }
        assert_eq!(mornings.kept.len(), KEPT);
    }
}
