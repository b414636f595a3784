//! Insulation that falls from one dry morning to the next.
//!
//! Model:   y = log10 R; one y and one day of each week: medians of its dry mornings. Slope b of y
//!          over days (`robust_slope`), line a + b t through the medians.
//!          drift: the upper end of the 99 % interval of b is below zero; the line has fallen by at
//!          least 0.3, and by three times the scatter about it; it reaches log10 of the limit within
//!          180 days, and within 360 at the flattest slope and the highest level            eq. (1)
//!          step: the median of the latest 3 dry mornings lies 0.5 or more, and four times the
//!          scatter, under the median of the 60 days before them, and under 1 Mohm           eq. (2)
//! Symbols: R insulation resistance at the first start of the day [ohm]
//! Range:   6 weeks with a dry morning for a drift; 10 dry mornings in the 60 days for a step.
//! Source:  The logarithm of the morning value on dry mornings, a Theil-Sen slope and its forecast,
//!          and half a decade on three mornings against 60 days: common practice. Insulation falls
//!          to about half with each 10 K (from memory, verify). All numbers are engineering
//!          judgement. IEC 62109-2 knows the limit only.
//! Check:   falling_tests.rs; tests/acceptance/engine/isolation_falling.rs has operating curves.
//!
//! By week, because mornings that follow each other resemble each other, and the interval takes its
//! points as independent. A slope is looked for in the last 60, 150 and 400 days: a fall that begins
//! after a quiet year is not to wait until it outweighs the year. From winter to summer a sound array
//! falls too, because it is warmer at the start: where temperature is measured, the fall must stand
//! with and without the factor of two per 10 K; where it is not, it must be steeper than any season
//! makes it, which is less once the window is nearly a year. Of a week in which nothing tells whether a
//! morning was wet the best one counts: water only lowers the number.
//! A sensor that dies leaves the last dry mornings as they are: they are not judged again and again,
//! and after a month in which nothing has told wet from dry, weeks stand for mornings.
//! It ends when half of what was lost (in decades) is back on three dry mornings.
//! Never in here: whether a morning was wet (`morning`).

use super::Morning;
use crate::detect::Edge;
use crate::reading::{Interval, Slope, Span, Time, median, robust_slope, robust_spread};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Mornings kept.
const KEPT: usize = 400;
/// Windows in which a slope is looked for [d].
const WINDOWS_D: [i64; 3] = [60, 150, 400];
/// Weeks with a dry morning that a slope needs.
const DRIFT_WEEKS: usize = 6;
/// Fall along the line that is worth telling [decades]: half; and over the scatter about it [-].
const DRIFT_LEAST: f64 = 0.3;
const DRIFT_OVER_SCATTER: f64 = 3.0;
/// A limit that is reached later than this is not told yet: by the line, and at the latest [d].
const HORIZON_D: f64 = 180.0;
const LATEST_D: f64 = 360.0;
/// Mornings in a row on which it must show.
const AGREEING: u32 = 3;
/// Fall per day that a season can make [decades/d]: 20 K between winter and summer, steepest where
/// a sine is (pi x 20 K / 365 d), at a factor of two per 10 K.
const SEASON_K: f64 = 20.0;
const SEASON_PER_D: f64 = std::f64::consts::PI * SEASON_K / 365.0 * DECADES_PER_K;
/// Length of a window in which most of a season cancels [d], and what is left of it in a line: that of
/// a sine over its whole period falls by 6/pi of its height above the middle, at the worst phase.
const NEARLY_A_YEAR_D: f64 = 330.0;
const SEASON_LEFT_PER_D: f64 = 6.0 / std::f64::consts::PI * 0.5 * SEASON_K / 365.0 * DECADES_PER_K;
/// A factor of two per 10 K [decades/K].
const DECADES_PER_K: f64 = 0.030_103;
const REFERENCE_DEGC: f64 = 25.0;

/// Dry mornings that make the present level.
const LATEST: usize = 3;
/// Days and dry mornings before them that a step is measured from.
const STEP_FROM: (Span, usize) = (Span::from_h(60 * 24), 10);
/// Step that is told [decades], its share of the scatter [-], and level above which it is not [ohm].
const STEP_LEAST: f64 = 0.5;
const STEP_OVER_SCATTER: f64 = 4.0;
const STEP_UNDER_OHM: f64 = 1e6;
/// Without a morning that was known to be dry for so long, wet and dry are not told any more.
const SENSOR_GONE: Span = Span::from_h(30 * 24);
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
        /// At the steepest slope of the interval from the lowest level that the line may have, and
        /// at the flattest from the highest [d].
        soonest_d: f64,
        /// See `soonest_d`.
        latest_d: f64,
    },
    /// Within a few mornings.
    Step,
}

/// A dry morning, or the middle of a week of them: when, log10 of the resistance in ohm, temperature
/// [degC].
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

    /// Whether a fall stands.
    pub fn is_falling(&self) -> bool {
        self.ends_at_log10_ohm.is_some()
    }

    /// How many mornings of low insulation are remembered, and the time in light lost on them.
    pub fn low(&self) -> (usize, Span) {
        let low = self.kept.iter().filter(|m| m.is_low);
        let lost = |sum: Span, m: &Morning| sum + Span::from_min(i64::from(m.lost_min));
        (low.clone().count(), low.fold(Span::ZERO, lost))
    }

    /// Takes over a morning that an earlier run has kept: nothing is told of it.
    pub fn recall(&mut self, morning: Morning) {
        if self.kept.len() == KEPT {
            self.kept.pop_front();
        }
        self.kept.push_back(morning);
    }

    /// Takes a morning that is over, at a time, against the limit [ohm].
    pub fn push(&mut self, now: Time, morning: Morning, limit_ohm: f64) -> Option<Edge<Falling>> {
        self.recall(morning);
        if morning.is_wet == Some(true) || morning.log10_ohm.is_none() {
            return None;
        }
        let (mut dry, weeks) = (self.dry(), self.weeks());
        if morning.is_wet.is_none() {
            let is_gone = |last: &Dry| morning.at - last.at > SENSOR_GONE;
            if dry.len() >= LATEST && !dry.last().is_some_and(is_gone) {
                // Nothing new of what is known to be dry.
                return None;
            }
            dry.clear();
        }
        // Where nothing tells wet from dry, weeks stand for mornings.
        let series = if dry.len() < LATEST { &weeks } else { &dry };
        let latest = &series[series.len().checked_sub(LATEST)?..];
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
        let Some((began, seen)) = self.fall(&dry, &weeks, limit_ohm.log10()) else {
            self.agreeing = 0;
            return None;
        };
        self.agreeing += 1;
        if self.agreeing < AGREEING {
            return None;
        }
        let half = f64::midpoint(seen.level_ohm.log10(), seen.from_ohm.log10());
        self.ends_at_log10_ohm = Some(half);
        Some(Edge::Found {
            began,
            found: now,
            seen,
        })
    }

    /// Mornings with a number that count, with whether they were wet.
    fn numbers(&self) -> impl Iterator<Item = (Option<bool>, Dry)> {
        let counts = |m: &&Morning| self.afresh.is_none_or(|afresh| m.at >= afresh);
        self.kept.iter().filter(counts).filter_map(|m| {
            let dry = Dry {
                at: m.at,
                y: f64::from(m.log10_ohm?),
                degc: m.temperature_degc.map(f64::from),
            };
            Some((m.is_wet, dry))
        })
    }

    /// Mornings that are known to have been dry.
    fn dry(&self) -> Vec<Dry> {
        let known = self.numbers().filter(|(wet, _)| *wet == Some(false));
        known.map(|(_, dry)| dry).collect()
    }

    /// One of each week that had any, counted back from the latest morning.
    fn weeks(&self) -> Vec<Dry> {
        let Some(latest) = self.kept.back().map(|m| m.at) else {
            return Vec::new();
        };
        let week = |dry: &Dry| (latest - dry.at).ms() / WEEK.ms();
        let numbers: Vec<_> = self
            .numbers()
            .filter(|(wet, _)| *wet != Some(true))
            .collect();
        let of_week = |mornings: &[(Option<bool>, Dry)]| {
            let known = mornings.iter().filter(|(wet, _)| wet.is_some());
            let known: Vec<Dry> = known.map(|(_, dry)| *dry).collect();
            let best = |a: Dry, b: Dry| if b.y > a.y { b } else { a };
            middle(&known).or_else(|| mornings.iter().map(|(_, dry)| *dry).reduce(best))
        };
        numbers
            .chunk_by(|a, b| week(&a.1) == week(&b.1))
            .filter_map(of_week)
            .collect()
    }

    fn fall(&self, dry: &[Dry], weeks: &[Dry], limit: f64) -> Option<(Time, Falling)> {
        let latest = self.kept.back()?.at;
        let in_window = |days: &i64| {
            let first = weeks.partition_point(|d| latest - d.at > Span::from_h(24 * days));
            drift(&weeks[first..], latest, limit)
        };
        let seen = WINDOWS_D.iter().find_map(in_window);
        let (began, from, level, how) = seen.or_else(|| step(dry))?;
        let since = self.kept.iter().filter(|m| m.at >= began);
        let wet = since.clone().filter(|m| m.is_wet == Some(true)).count();
        let seen = Falling {
            level_ohm: 10_f64.powf(level),
            from_ohm: 10_f64.powf(from),
            span_d: (latest - began).hours() / 24.0,
            dry_mornings: since
                .filter(|m| m.log10_ohm.is_some() && m.is_wet != Some(true))
                .count(),
            wet_mornings: wet,
            how,
        };
        Some((began, seen))
    }
}

/// The medians of a week's dry mornings.
fn middle(week: &[Dry]) -> Option<Dry> {
    let at = median(week.iter().map(|d| d.at.unix_ms() as f64))?;
    let degc: Option<Vec<f64>> = week.iter().map(|d| d.degc).collect();
    Some(Dry {
        at: Time::from_unix_ms(at as i64),
        y: median(week.iter().map(|d| d.y))?,
        degc: degc.and_then(median),
    })
}

/// When a fall began, from which level to which, and how.
type Seen = (Time, f64, f64, Fall);

/// Eq. (1).
fn drift(weeks: &[Dry], now: Time, limit: f64) -> Option<Seen> {
    let first = weeks.first()?.at;
    if weeks.len() < DRIFT_WEEKS {
        return None;
    }
    let days = |d: &Dry| (d.at - first).hours() / 24.0;
    let span_d = (now - first).hours() / 24.0;
    let raw: Vec<(f64, f64)> = weeks.iter().map(|d| (days(d), d.y)).collect();
    let at_reference = |d: &Dry| Some((days(d), d.y + DECADES_PER_K * (d.degc? - REFERENCE_DEGC)));
    let same_warmth: Option<Vec<(f64, f64)>> = weeks.iter().map(at_reference).collect();
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
        SEASON_LEFT_PER_D
    };
    let offsets = || raw.iter().map(|(t, y)| y - slope.middle * t);
    let from = median(offsets())?;
    let scatter = robust_spread(offsets(), from)?;
    let level = from + slope.middle * span_d;
    let (fallen, to_go) = (from - level, level - limit);
    let is_clear = slope.high < -season && fallen >= DRIFT_LEAST.max(DRIFT_OVER_SCATTER * scatter);
    if !is_clear || to_go <= 0.0 {
        return None;
    }
    // The end of a line is known twice as badly as its middle.
    let level_error = Interval::NinetyNine.z() * 2.0 * scatter / (weeks.len() as f64).sqrt();
    let days_to_limit = to_go / -slope.middle;
    let soonest_d = (to_go - level_error).max(0.0) / -slope.low;
    let latest_d = (to_go + level_error) / -slope.high;
    let how = Fall::Drift {
        slope,
        days_to_limit,
        soonest_d,
        latest_d,
    };
    let is_near = days_to_limit <= HORIZON_D && latest_d <= LATEST_D;
    is_near.then_some((first, from, level, how))
}

/// Eq. (2). Asks for known dryness: the best of a week comes too seldom.
fn step(dry: &[Dry]) -> Option<Seen> {
    let (before, latest) = dry.split_at(dry.len().checked_sub(LATEST)?);
    let level = median(latest.iter().map(|d| d.y))?;
    let (span, least) = STEP_FROM;
    let recent = before.partition_point(|d| latest[0].at - d.at > span);
    let recent = &before[recent..];
    let from = median(recent.iter().map(|d| d.y)).filter(|_| recent.len() >= least)?;
    let scatter = robust_spread(recent.iter().map(|d| d.y), from)?;
    let is_step = from - level >= STEP_LEAST.max(STEP_OVER_SCATTER * scatter)
        && level < STEP_UNDER_OHM.log10();
    is_step.then_some((latest[0].at, from, level, Fall::Step))
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
