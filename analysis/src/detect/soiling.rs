//! Dirt on all modules of a plane: a slow loss beside a sensor that sees no change of the sky.
//!
//! Model:   daily levels y_d of a plane (median current of its inputs over what the measured light
//!          gives) since the last washing: rain of 5 mm or more in a day, or a step up of 1.5 %.
//!          All of them are asked, and those of the last 30, 20 and 14 days, for clean weeks hide what
//!          comes after them. b is the robust slope (`reading::robust_slope`) of those asked, T the
//!          days from the first to the last. Loss = -b T, and no more than what the last levels lie
//!          under the first. Said at 2.5 % by a sensor in the plane, so that 3 % are told by the time
//!          they are there, and at 5 % by a horizontal one, whose light is brought into the plane anew
//!          with every season; where the weak end of the interval of b leaves half of it: of 99 %,
//!          because it is asked anew every day.
//!          The sensor's own share of the clear sky k_d must not rise by half of the loss or more
//!          in the same days: a sensor that comes to read high looks the same from the array.
//!          It ends when a level, or two in a row without rain, are back by half of the loss.
//! Symbols: y, k dimensionless, b [1/d], T [d], rain [mm].
//! Range:   planes whose light is measured, by one sensor; eight levels over ten days or more, of 60
//!          days at most, beside a horizontal sensor of 30.
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
/// Share of the loss that the weak end of the interval must leave [-].
const SURE_SHARE: f64 = 0.5;
/// Levels and days that a slope needs.
const LEAST_LEVELS: usize = 8;
const LEAST_DAYS: f64 = 10.0;
/// The latest days that are asked beside all.
const WINDOWS_DAYS: [i64; 3] = [30, 20, 14];
/// Share of the loss by which the sensor's clear sky may have risen, or of it that must be back [-].
const HALF: f64 = 0.5;
/// Levels whose median stands for now.
const LATEST: usize = 3;

/// Where the sensor lies by which a plane is judged.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum LightSensor {
    /// In the plane.
    #[default]
    InPlane,
    /// Horizontally; its light is brought into the plane.
    Horizontal,
}

impl LightSensor {
    /// Loss that is told [-].
    fn least_loss_ratio(self) -> f64 {
        match self {
            Self::InPlane => 0.025,
            Self::Horizontal => 0.05,
        }
    }

    fn kept_days(self) -> i64 {
        match self {
            Self::InPlane => 60,
            Self::Horizontal => 30,
        }
    }
}

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
    /// Start of the first day of those that show it.
    pub began: Time,
    /// Loss in these days [-].
    pub loss_ratio: f64,
    /// Loss a day, and the ends of its interval [1/d].
    pub per_day: f64,
    /// Less of it.
    pub per_day_low: f64,
    /// More of it.
    pub per_day_high: f64,
    /// Days from the first to the last that show it.
    pub days: f64,
}

/// The levels of one plane since its last washing, by one sensor.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct SoilingWatch {
    by: LightSensor,
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
    pub fn new(by: LightSensor) -> Self {
        Self {
            by,
            ..Self::default()
        }
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
                self.days = vec![day];
                self.standing = None;
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
            began: soiled.began,
            found,
            seen: soiled,
        })
    }

    fn keep(&mut self, day: PlaneDay) {
        self.days.push(day);
        let kept = self.by.kept_days();
        self.days.retain(|d| day.day.days_since(d.day) <= kept);
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
        let last = self.days.last()?.day;
        let latest = |days: i64| {
            let from = |d: &PlaneDay| last.days_since(d.day) > days;
            &self.days[self.days.partition_point(from)..]
        };
        let all = std::iter::once(&self.days[..]);
        let mut asked = all.chain(WINDOWS_DAYS.into_iter().map(latest));
        asked.find_map(|days| soiled(days, self.by.least_loss_ratio()))
    }
}

fn soiled(days: &[PlaneDay], least_loss_ratio: f64) -> Option<Soiled> {
    let first = days.first()?;
    let age = |d: &PlaneDay| d.day.days_since(first.day) as f64;
    let span = age(days.last()?);
    if days.len() < LEAST_LEVELS || span < LEAST_DAYS {
        return None;
    }
    let levels: Vec<(f64, f64)> = days.iter().map(|d| (age(d), d.level_ratio)).collect();
    let slope = robust_slope(&levels, Interval::NinetyNine)?;
    // A line goes on where dirt has long been what it will be.
    let level = |d: &PlaneDay| d.level_ratio;
    let at_first = median(days.iter().take(LATEST).map(level))?;
    let fallen = at_first - median(days.iter().rev().take(LATEST).map(level))?;
    let loss_ratio = fallen.min(-slope.middle * span);
    let surely = -slope.high * span;
    if loss_ratio < least_loss_ratio || surely < SURE_SHARE * loss_ratio {
        return None;
    }
    let clear = days.iter().filter_map(|d| Some((age(d), d.clear_ratio?)));
    let clear: Vec<(f64, f64)> = clear.collect();
    let rise = robust_slope(&clear, Interval::NinetyFive).map(|s| s.middle * span);
    // Without a clear hour nothing tells dirt from a sensor that has come to read high.
    if rise? >= HALF * loss_ratio {
        return None;
    }
    Some(Soiled {
        began: first.began,
        loss_ratio,
        per_day: -slope.middle,
        per_day_low: -slope.high,
        per_day_high: -slope.low,
        days: span,
    })
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
        let mut watch = SoilingWatch::new(LightSensor::InPlane);
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
    fn clean_weeks_before_hide_no_dirt() {
        // Clean for two months, then 5 % in a fortnight: 2.5 % of it are there on day 67.
        let dirt = |d: i64| 1.0 - (d - 60).max(0) as f64 * 0.05 / 14.0;
        let told = edges(80, dirt, |_| 1.0, |_| None);
        let [(found, Edge::Found { began, seen, .. })] = told[..] else {
            panic!("{told:?}");
        };
        assert!((67..=74).contains(&found), "{found}");
        assert!(began >= Time::from_unix_ms(40 * 86_400_000), "{began:?}");
        assert!((0.025..=0.06).contains(&seen.loss_ratio), "{seen:?}");
    }

    #[test]
    fn a_horizontal_sensor_tells_more_dirt_only() {
        let told = |loss: f64| {
            let mut watch = SoilingWatch::new(LightSensor::Horizontal);
            let days = (0..28).map(|d| (d, 1.0 - loss * d as f64 / 28.0));
            let mut edges = days.filter_map(|(d, level_ratio)| {
                let at = Time::from_unix_ms(d * 86_400_000);
                let day = PlaneDay {
                    day: at.solar_day(0.0),
                    began: at,
                    level_ratio,
                    clear_ratio: Some(1.0),
                    rain_mm: None,
                };
                watch.take(day, at)
            });
            edges.next().is_some()
        };
        assert!(!told(0.045) && told(0.07));
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
