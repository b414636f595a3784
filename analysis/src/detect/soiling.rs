//! Dirt on all modules of a plane: a slow loss beside a sensor that sees no change of the sky.
//!
//! Model:   daily levels y_d of a plane (median current of its inputs over what the measured light
//!          gives) since the last washing: rain of 5 mm or more in a day, or a step up of 1.5 %.
//!          b is the robust slope (`reading::robust_slope`), T the days from the first level to the
//!          last. Loss = -b T, and no more than what the last levels lie under the first; said at 2.5 %, so
//!          that 3 % are told by the time they are there, where the weak end of the interval of b leaves
//!          half of it: of 99 %, because it is asked anew every day.
//!          The sensor's own share of the clear sky k_d must not rise by half of the loss or more
//!          in the same days: a sensor that comes to read high looks the same from the array.
//!          It ends when a level, or two in a row without rain, are back by half of the loss.
//! Symbols: y, k dimensionless, b [1/d], T [d], rain [mm].
//! Range:   planes whose light is measured; eight levels over ten days or more.
//! Source:  slope since the last rain, 5 mm: the project's reference (common practice); 3 % is the
//!          project's design. The rest is engineering judgement.
//! Check:   tests below; tests/acceptance/engine/soiling.rs.

use super::Edge;
use crate::reading::{Interval, SolarDay, Time, median, robust_slope};
use serde::{Deserialize, Serialize};

/// Rain of a day that washes [mm].
const WASHING_MM: f64 = 5.0;
/// A step up that is a washing [-].
const STEP_RATIO: f64 = 0.015;
/// Loss that is told, and the share of it that the weak end of the interval must leave [-].
const LEAST_LOSS_RATIO: f64 = 0.025;
const SURE_SHARE: f64 = 0.5;
/// Levels and days that a slope needs, and days that are kept.
const LEAST_LEVELS: usize = 8;
const LEAST_DAYS: f64 = 10.0;
const KEPT: usize = 60;
/// Share of the loss by which the sensor's clear sky may have risen, or of it that must be back [-].
const HALF: f64 = 0.5;
/// Levels whose median stands for now.
const LATEST: usize = 3;

/// A day of a plane.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PlaneDay {
    /// Which.
    pub day: SolarDay,
    /// Its start.
    pub began: Time,
    /// Current of its inputs over what the measured light gives [-].
    pub level_ratio: f64,
    /// The measured light in the clearest hours over a clear sky's, where there were any [-].
    pub clear_ratio: Option<f64>,
    /// Most rain of a day since the last one that was taken [mm], where it is measured.
    pub rain_mm: Option<f64>,
}

/// Dirt that was found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Soiled {
    /// Loss by now [-].
    pub loss_ratio: f64,
    /// Loss a day, and the ends of its interval [1/d].
    pub per_day: f64,
    /// Less of it.
    pub per_day_low: f64,
    /// More of it.
    pub per_day_high: f64,
    /// Days since the last washing that is known, or since the first level.
    pub days: f64,
}

/// The levels of one plane since its last washing.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct SoilingWatch {
    days: Vec<PlaneDay>,
    standing: Option<Standing>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Standing {
    /// Level above which it is over [-].
    over_from: f64,
    /// A level above it on the day before.
    was_over: bool,
}

impl SoilingWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Whether dirt stands: what the plane loses now must not become what is expected.
    pub fn stands(&self) -> bool {
        self.standing.is_some()
    }

    /// Takes a day; `found` is when it could be said.
    pub fn take(&mut self, day: PlaneDay, found: Time) -> Option<Edge<Soiled>> {
        // Where time has gone back, a day ends twice.
        if self.days.last().is_some_and(|last| last.day >= day.day) {
            return None;
        }
        if let Some(standing) = &mut self.standing {
            let is_back = day.level_ratio >= standing.over_from;
            let is_washed = day.rain_mm.is_some_and(|mm| mm >= WASHING_MM);
            if is_back && (is_washed || standing.was_over) {
                *self = Self {
                    days: vec![day],
                    standing: None,
                };
                return Some(Edge::Ended { at: day.began });
            }
            standing.was_over = is_back;
            self.keep(day);
            return None;
        }
        if self.is_washing(&day) {
            self.days.clear();
        }
        self.keep(day);
        let soiled = self.soiled()?;
        let level = median(self.latest())?;
        self.standing = Some(Standing {
            over_from: level + HALF * soiled.loss_ratio,
            was_over: false,
        });
        Some(Edge::Found {
            began: self.days[0].began,
            found,
            seen: soiled,
        })
    }

    fn keep(&mut self, day: PlaneDay) {
        self.days.push(day);
        if self.days.len() > KEPT {
            self.days.remove(0);
        }
    }

    fn latest(&self) -> impl Iterator<Item = f64> {
        self.days.iter().rev().take(LATEST).map(|d| d.level_ratio)
    }

    fn is_washing(&self, day: &PlaneDay) -> bool {
        let level = median(self.latest());
        let is_step = level.is_some_and(|level| day.level_ratio - level >= STEP_RATIO);
        is_step || day.rain_mm.is_some_and(|mm| mm >= WASHING_MM)
    }

    fn soiled(&self) -> Option<Soiled> {
        let first = self.days.first()?.day;
        let age = |day: &PlaneDay| day.day.days_since(first) as f64;
        let span = age(self.days.last()?);
        if self.days.len() < LEAST_LEVELS || span < LEAST_DAYS {
            return None;
        }
        let levels: Vec<(f64, f64)> = self.days.iter().map(|d| (age(d), d.level_ratio)).collect();
        let slope = robust_slope(&levels, Interval::NinetyNine)?;
        // A line goes on where dirt has long been what it will be.
        let at_first = median(self.days.iter().take(LATEST).map(|d| d.level_ratio))?;
        let fallen = at_first - median(self.latest())?;
        let loss_ratio = fallen.min(-slope.middle * span);
        let surely = -slope.high * span;
        if loss_ratio < LEAST_LOSS_RATIO || surely < SURE_SHARE * loss_ratio {
            return None;
        }
        let clear = self.days.iter();
        let clear: Vec<(f64, f64)> = clear
            .filter_map(|d| Some((age(d), d.clear_ratio?)))
            .collect();
        let rise = robust_slope(&clear, Interval::NinetyFive).map(|s| s.middle * span);
        // Without a clear hour nothing tells dirt from a sensor that has come to read high.
        if rise? >= HALF * loss_ratio {
            return None;
        }
        Some(Soiled {
            loss_ratio,
            per_day: -slope.middle,
            per_day_low: -slope.high,
            per_day_high: -slope.low,
            days: span,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Levels and clear-sky shares by day, with noise of 0.5 %, and rain.
    fn edges(
        days: i64,
        level: impl Fn(i64) -> f64,
        clear: impl Fn(i64) -> f64,
        rain_mm: impl Fn(i64) -> Option<f64>,
    ) -> Vec<(i64, Edge<Soiled>)> {
        let mut watch = SoilingWatch::new();
        let noise = |d: i64| 0.005 * (((5 * d) % 13) as f64 / 6.0 - 1.0);
        (0..days)
            .filter_map(|d| {
                let at = Time::from_unix_ms(d * 86_400_000);
                let day = PlaneDay {
                    day: at.solar_day(0.0),
                    began: at,
                    level_ratio: level(d) + noise(d),
                    clear_ratio: Some(clear(d)),
                    rain_mm: rain_mm(d),
                };
                watch.take(day, at).map(|edge| (d, edge))
            })
            .collect()
    }

    #[test]
    fn three_percent_in_a_fortnight_are_told_and_rain_ends_it() {
        let dirt = |d: i64| 1.0 - 0.0025 * (d % 20) as f64;
        let rain = |d: i64| Some(if d % 20 == 0 { 8.0 } else { 0.0 });
        let told = edges(20, dirt, |_| 1.0, rain);
        let [(found, Edge::Found { began, seen, .. })] = told[..] else {
            panic!("{told:?}");
        };
        assert!(found <= 15, "{found}");
        assert_eq!(began, Time::from_unix_ms(0));
        assert!(
            seen.loss_ratio >= 0.025 && (seen.per_day - 0.0025).abs() < 0.001,
            "{seen:?}"
        );
        let ended = edges(21, dirt, |_| 1.0, rain);
        assert!(matches!(ended[1], (20, Edge::Ended { .. })), "{ended:?}");
        // Where no rain is measured, two clean days say it.
        let ended = edges(23, dirt, |_| 1.0, |_| None);
        assert!(matches!(ended[1], (21, Edge::Ended { .. })), "{ended:?}");
    }

    #[test]
    fn noise_a_drift_of_two_percent_a_year_and_a_sensor_that_rises_are_no_dirt() {
        assert_eq!(edges(400, |_| 1.0, |_| 1.0, |_| None), []);
        assert_eq!(
            edges(400, |d| 1.0 - 5.5e-5 * d as f64, |_| 1.0, |_| None),
            []
        );
        let (falls, rises) = (
            |d: i64| 1.0 - 0.0025 * d as f64,
            |d: i64| 1.0 + 0.0025 * d as f64,
        );
        assert_eq!(edges(20, falls, rises, |_| None), []);
    }
}
