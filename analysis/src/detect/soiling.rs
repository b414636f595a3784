//! Dirt on all modules of a plane: a slow loss beside a sensor that sees no change of the sky, or beside
//! a clear sky.
//!
//! Model:   daily levels of a plane (median current of its inputs over what the measured light gives, or
//!          over what a clear sky gives in the clear hours) since the last washing: rain of 5 mm or more
//!          in a day, or a step up of 1.5 %, or of three times their scatter if that is more. Where they
//!          have come to fall (`fall`), the loss is that of the line, and no more than what the last
//!          levels lie under the one before it. Said by a sensor in the plane at 2.5 %, so that 3 % are
//!          told by the time they are there, or at 5 % if they took more than a month; by a horizontal
//!          one at 5 % where ten steady days came before, and at 10 % where none did: its light is
//!          brought into the plane anew with every season, and on healthy plants of the campaign that
//!          took up to 5.5 % in four weeks. By a clear sky at 8 % and at 12 %: haze comes and goes. Only
//!          where it is four standard deviations, because it is asked anew every day and of every onset,
//!          and came over ten days or is twice as large; never before eight levels over ten days since the
//!          washing (`fall`).
//!          A sensor that comes to read high looks the same from the array, but its own share of the clear
//!          sky rises meanwhile: with u -+ s that rise, L the loss and o the odds of dirt beforehand,
//!          odds of dirt = o exp(((u - L)^2 - u^2) / (2 s^2))                              eq. (1)
//!          where s has the haze of single days in it, and what of the sky's haze a season changes.
//!          It ends when a level, or two in a row without rain, are back by half of the loss, and by
//!          more than they scatter; or when its light has been gone for two months.
//! Symbols: levels dimensionless, rain [mm].
//! Range:   days with clear hours, beside a sensor in the plane all that have a level; of the last 30,
//!          beside a sensor in the plane of the last 60.
//! Source:  slope since the last rain, 5 mm: the project's reference (common practice); 3 % is the
//!          project's design; eq. (1) is Bayes' rule for two normal hypotheses. The rest is engineering
//!          judgement.
//! Check:   tests below; tests/acceptance/engine/soiling.rs.

use super::Edge;
use super::fall::{fall, neighbours_scatter, rise_in};
use crate::reading::{Interval, SolarDay, Time, median};
use serde::{Deserialize, Serialize};

/// Rain of a day that washes [mm].
const WASHING_MM: f64 = 5.0;
/// A step up that is a washing [-].
const STEP_RATIO: f64 = 0.015;
/// The same in scatters of a level [-].
const STEP_SCATTERS: f64 = 3.0;
/// Days without a fall after which a season is no cause of one.
const STEADY_DAYS: f64 = 10.0;
/// What has come in more days may be a season's.
const SEASON_DAYS: f64 = 30.0;
/// Days over which so little must have come, and over the least what may have come in fewer: a week of
/// odd weather lowers a level by as much.
const CERTAIN_DAYS: f64 = 10.0;
const AT_ONCE: f64 = 2.0;
/// Standard deviations that a loss must be.
const SURE_SIGMAS: f64 = 4.0;
/// Probability from which it is dirt, and the most: a clear sky is not all that can speak for a sensor.
const LIKELY: f64 = 0.5;
const MOST_LIKELY: f64 = 0.98;
/// Least scatter of clear skies from day to day, and what they change by in a month [-].
const HAZE_OF_DAY: f64 = 0.01;
const HAZE_OF_SEASON: f64 = 0.01;
/// Share of the loss that must be back [-].
const HALF: f64 = 0.5;
/// Scatters by which a level must be back, unless that is nearly all of the loss [-].
const BACK_SCATTERS: f64 = 2.0;
const NEARLY_ALL: f64 = 0.9;
/// Days without light from there after which nothing is known any more of what stands.
const STALE_DAYS: i64 = 60;
/// Levels whose median stands for now, and for what is lost by now: a dip of two days is no dirt.
const LATEST: usize = 3;
const LATEST_OF_A_LOSS: usize = 5;

/// What the levels of a plane are held beside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum DirtBeside {
    /// A sensor in the plane.
    PlaneSensor,
    /// A horizontal sensor, whose light is brought into the plane.
    HorizontalSensor,
    /// No sensor, but a clear sky.
    ClearSky,
}

impl DirtBeside {
    /// Loss that is told after so many steady days, if it has come in so many [-].
    fn least_loss_ratio(self, steady_days: f64, in_days: f64) -> f64 {
        let was_steady = steady_days >= STEADY_DAYS;
        match self {
            Self::PlaneSensor if in_days <= SEASON_DAYS => 0.025,
            Self::PlaneSensor => 0.05,
            Self::HorizontalSensor if was_steady => 0.05,
            Self::HorizontalSensor => 0.1,
            Self::ClearSky if was_steady => 0.08,
            Self::ClearSky => 0.12,
        }
    }

    fn kept_days(self) -> i64 {
        match self {
            Self::PlaneSensor => 60,
            // A season changes what these see.
            Self::HorizontalSensor | Self::ClearSky => 30,
        }
    }

    /// Probability that it is dirt and not the sensor, or not haze, before anything speaks for either.
    fn dirt_beforehand(self) -> f64 {
        match self {
            Self::PlaneSensor | Self::HorizontalSensor => 0.85,
            Self::ClearSky => 0.6,
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
    /// Current of its inputs over what the light gives [-].
    pub level_ratio: f64,
    /// The measured light in its clearest hours over a clear sky's [-], of a day that had some.
    pub clear_ratio: Option<f64>,
}

/// Dirt that was found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Soiled {
    /// Beside what.
    pub beside: DirtBeside,
    /// That it is dirt: the rest is a sensor that has come to read high, or haze.
    pub probability: f64,
    /// What the sensor's share of clear skies rose by meanwhile, and one standard deviation of that [-].
    pub clear_sky_rise: Option<(f64, f64)>,
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
    /// Scatter of a day's level [-].
    pub scatter: f64,
}

/// The levels of one plane since its last washing, beside one thing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SoilingWatch {
    beside: DirtBeside,
    days: Vec<PlaneDay>,
    /// The last day with light from there, whether it had a level or not.
    lit: SolarDay,
    /// Most rain of a day since the last one that was taken [mm], where it is measured.
    rain_mm: Option<f64>,
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
    /// Nothing seen yet, beside what there was first on a day.
    pub fn new(beside: DirtBeside, lit: SolarDay) -> Self {
        Self {
            beside,
            days: Vec::new(),
            lit,
            rain_mm: None,
            standing: None,
        }
    }

    /// Whether dirt stands: what the plane loses now must not become what is expected.
    pub fn stands(&self) -> bool {
        self.standing.is_some()
    }

    /// Takes the rain of a day [mm], where it is measured: it washes whether that day has a level or not.
    pub fn rained(&mut self, day: SolarDay, mm: Option<f64>) {
        if self.days.last().is_none_or(|last| last.day < day) {
            self.rain_mm = self.rain_mm.into_iter().chain(mm).reduce(f64::max);
        }
    }

    /// Takes note that there was light from there on a day.
    pub fn lit(&mut self, day: SolarDay) {
        self.lit = self.lit.max(day);
    }

    /// Whether its light has been gone for so long that nothing is known any more.
    pub fn is_stale(&self, today: SolarDay) -> bool {
        today.days_since(self.lit) > STALE_DAYS
    }

    /// Takes a day; `found` is when it could be said.
    pub fn take(&mut self, day: PlaneDay, found: Time) -> Option<Edge<Soiled>> {
        // Where time has gone back, a day ends twice.
        if self.days.last().is_some_and(|last| last.day >= day.day) {
            return None;
        }
        let is_washed = self.rain_mm.take().is_some_and(|mm| mm >= WASHING_MM);
        if let Some(standing) = &mut self.standing {
            let is_back = day.level_ratio >= standing.over_from;
            if is_back && (is_washed || standing.was_over) {
                self.days = vec![day];
                self.standing = None;
                return Some(Edge::Ended { at: day.began });
            }
            standing.was_over = is_back;
            self.keep(day);
            return None;
        }
        if is_washed || self.is_step_up(&day) {
            self.days.clear();
        }
        self.keep(day);
        let soiled = self.soiled()?;
        let level = median(self.latest(LATEST))?;
        let beyond_scatter = (BACK_SCATTERS * soiled.scatter).min(NEARLY_ALL * soiled.loss_ratio);
        self.standing = Some(Standing {
            over_from: level + beyond_scatter.max(HALF * soiled.loss_ratio),
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
        let kept = self.beside.kept_days();
        self.days.retain(|d| day.day.days_since(d.day) <= kept);
    }

    fn latest(&self, days: usize) -> impl Iterator<Item = f64> {
        self.days.iter().rev().take(days).map(|d| d.level_ratio)
    }

    fn levels(&self) -> Vec<(f64, f64)> {
        self.by_day(|d| Some(d.level_ratio))
    }

    /// A value of every day that has it, by days since the first.
    fn by_day(&self, value: impl Fn(&PlaneDay) -> Option<f64>) -> Vec<(f64, f64)> {
        let first = self.days.first();
        let age = |d: &PlaneDay| first.map_or(0, |first| d.day.days_since(first.day)) as f64;
        let days = self.days.iter();
        days.filter_map(|d| Some((age(d), value(d)?))).collect()
    }

    fn clear_sky_rise(&self, span: (f64, f64)) -> Option<(f64, f64)> {
        let shares = self.by_day(|d| d.clear_ratio);
        let (rise, sigma) = rise_in(&shares, span, HAZE_OF_DAY)?;
        Some((rise, sigma.hypot(HAZE_OF_SEASON)))
    }

    /// Eq. (1).
    fn dirt_probability(&self, loss_ratio: f64, rise: Option<(f64, f64)>) -> f64 {
        let beforehand = self.beside.dirt_beforehand();
        let log_ratio = rise.map_or(0.0, |(rise, sigma)| {
            ((rise - loss_ratio).powi(2) - rise.powi(2)) / (2.0 * sigma.powi(2))
        });
        let odds = beforehand / (1.0 - beforehand) * log_ratio.exp();
        // Infinite where nothing speaks for the sensor.
        (1.0 - 1.0 / (1.0 + odds)).min(MOST_LIKELY)
    }

    fn is_step_up(&self, day: &PlaneDay) -> bool {
        let scatter = neighbours_scatter(&self.levels()).unwrap_or(0.0);
        let step = STEP_RATIO.max(STEP_SCATTERS * scatter);
        let level = median(self.latest(LATEST));
        level.is_some_and(|level| day.level_ratio - level >= step)
    }

    fn soiled(&self) -> Option<Soiled> {
        let levels = self.levels();
        let latest = median(self.latest(LATEST_OF_A_LOSS))?;
        // On most days there is none to look for, and the search is long.
        let highest = levels.iter().map(|p| p.1).reduce(f64::max)?;
        if highest - latest < self.beside.least_loss_ratio(STEADY_DAYS, 0.0) {
            return None;
        }
        let fall = fall(&levels)?;
        let loss_ratio = fall.loss().min(fall.before - latest);
        let is_sure = fall.per_day >= SURE_SIGMAS * fall.per_day_sigma;
        let onset = levels[fall.onset].0;
        let least_ratio = self.beside.least_loss_ratio(onset, fall.days);
        let is_enough = fall.days >= CERTAIN_DAYS || loss_ratio >= AT_ONCE * least_ratio;
        if !is_sure || loss_ratio < least_ratio || !is_enough {
            return None;
        }
        let clear_sky_rise = self.clear_sky_rise((onset, onset + fall.days));
        let probability = self.dirt_probability(loss_ratio, clear_sky_rise);
        if probability < LIKELY {
            return None;
        }
        let reach = Interval::NinetyNine.z() * fall.per_day_sigma;
        Some(Soiled {
            beside: self.beside,
            probability,
            clear_sky_rise,
            began: self.days[fall.onset].began,
            loss_ratio,
            per_day: fall.per_day,
            per_day_low: fall.per_day - reach,
            per_day_high: fall.per_day + reach,
            days: fall.days,
            scatter: fall.scatter,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FIRST: SolarDay = SolarDay::from_number(0);

    fn plane_day(d: i64, level_ratio: f64, clear_ratio: Option<f64>) -> (PlaneDay, Time) {
        let at = Time::from_unix_ms(d * 86_400_000);
        let day = PlaneDay {
            day: SolarDay::from_number(d),
            began: at,
            level_ratio,
            clear_ratio,
        };
        (day, at)
    }

    /// Levels and clear-sky shares by day, with noise of 0.5 %, and rain.
    fn edges(
        days: i64,
        level: impl Fn(i64) -> f64,
        clear: impl Fn(i64) -> f64,
        rain_mm: impl Fn(i64) -> Option<f64>,
    ) -> Vec<(i64, Edge<Soiled>)> {
        let mut watch = SoilingWatch::new(DirtBeside::PlaneSensor, FIRST);
        let noise = |d: i64| 0.005 * (((5 * d) % 13) as f64 / 6.0 - 1.0);
        (0..days)
            .filter_map(|d| {
                let (day, at) = plane_day(d, level(d) + noise(d), Some(clear(d)));
                watch.rained(day.day, rain_mm(d));
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
        assert!(began <= Time::from_unix_ms(4 * 86_400_000), "{began:?}");
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
    fn little_in_a_week_and_little_in_a_season_are_no_dirt() {
        let falls = |from: i64, days: i64, loss: f64| {
            let level =
                move |d: i64| 1.0 - loss * ((d - from) as f64 / days as f64).clamp(0.0, 1.0);
            edges(from + days, level, |_| 1.0, |_| None).len()
        };
        assert_eq!((falls(20, 7, 0.04), falls(20, 7, 0.12)), (0, 1));
        assert_eq!((falls(5, 45, 0.03), falls(5, 45, 0.08)), (0, 1));
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
        let onset_d = began.unix_ms() / 86_400_000;
        assert!((57..=64).contains(&onset_d), "{onset_d}");
        assert!((0.025..=0.06).contains(&seen.loss_ratio), "{seen:?}");
    }

    /// Whether dirt is told within so many days of a plane that has lost so much by each, without noise
    /// or rain.
    fn is_told(
        beside: DirtBeside,
        days: i64,
        clear_ratio: Option<f64>,
        fallen: impl Fn(i64) -> f64,
    ) -> bool {
        let mut watch = SoilingWatch::new(beside, FIRST);
        (0..days).any(|d| {
            let (day, at) = plane_day(d, 1.0 - fallen(d), clear_ratio);
            watch.take(day, at).is_some()
        })
    }

    #[test]
    fn a_horizontal_sensor_tells_more_dirt_and_a_seasons_worth_of_it_after_steady_days_only() {
        let is_told = |steady: i64, loss: f64| {
            let fallen = |d: i64| loss * ((d - steady).max(0) as f64 / (28 - steady) as f64);
            is_told(DirtBeside::HorizontalSensor, 29, Some(1.0), fallen)
        };
        assert!(!is_told(14, 0.045) && is_told(14, 0.08));
        assert!(!is_told(0, 0.08) && is_told(0, 0.13));
    }

    #[test]
    fn beside_a_clear_sky_only_much_dirt_is_told_and_days_without_clear_hours_count_beside_a_sensor()
     {
        let is_told = |beside: DirtBeside, loss: f64| {
            let fallen = |d: i64| loss * ((d - 20) as f64 / 14.0).clamp(0.0, 1.0);
            is_told(beside, 40, None, fallen)
        };
        let sky = DirtBeside::ClearSky;
        assert!(!is_told(sky, 0.07) && is_told(sky, 0.1));
        assert!(is_told(DirtBeside::PlaneSensor, 0.03));
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

    #[test]
    fn rain_on_a_day_without_a_level_washes_once() {
        let mut watch = SoilingWatch::new(DirtBeside::PlaneSensor, FIRST);
        let mut take = |d: i64, level: f64, mm: Option<f64>| {
            let (day, at) = plane_day(d, level, None);
            watch.rained(day.day, mm);
            watch.take(day, at)
        };
        let found = (0..20).filter_map(|d| take(d, 1.0 - 0.003 * d as f64, None));
        assert_eq!(found.count(), 1);
        // Rain of a day that has been taken does not count for the next.
        assert_eq!(take(19, 0.94, Some(8.0)), None);
        assert_eq!(take(20, 0.94, Some(0.0)), None);
        for (d, mm) in [(21, Some(8.0)), (22, None), (23, Some(0.0))] {
            watch.rained(SolarDay::from_number(d), mm);
        }
        let (low, at) = plane_day(24, 0.94, None);
        assert_eq!(watch.clone().take(low, at), None, "washed, and not clean");
        let (clean, at) = plane_day(24, 1.0, None);
        let edge = watch.take(clean, at);
        assert!(matches!(edge, Some(Edge::Ended { .. })), "{edge:?}");
    }

    #[test]
    fn what_stands_is_stale_once_its_light_has_been_gone_for_two_months() {
        let mut watch = SoilingWatch::new(DirtBeside::HorizontalSensor, FIRST);
        let (day, at) = plane_day(3, 1.0, None);
        watch.take(day, at);
        // A dark winter: light without clear hours.
        watch.lit(SolarDay::from_number(90));
        assert!(!watch.is_stale(SolarDay::from_number(150)));
        assert!(watch.is_stale(SolarDay::from_number(151)));
    }

    #[test]
    fn a_sensors_clear_sky_speaks_as_surely_as_it_was_seen() {
        let probability = |clear: &dyn Fn(i64) -> Option<f64>| {
            let mut watch = SoilingWatch::new(DirtBeside::PlaneSensor, FIRST);
            (0..30).find_map(|d| {
                let level_ratio = 1.0 - 0.003 * (d - 10).max(0) as f64;
                let (day, at) = plane_day(d, level_ratio, clear(d));
                match watch.take(day, at)? {
                    Edge::Found { seen, .. } => Some(seen.probability),
                    Edge::Ended { .. } => None,
                }
            })
        };
        let haze = |d: i64| 0.01 * (((5 * d) % 13) as f64 / 6.0 - 1.0);
        let rises = |d: i64| 1.0 + 0.003 * (d - 10).max(0) as f64;
        let none = probability(&|_| None).expect("told");
        assert!((none - 0.85).abs() < 1e-9, "{none}");
        let steady = probability(&|d| Some(1.0 + haze(d))).expect("told");
        assert!((0.93..=MOST_LIKELY).contains(&steady), "{steady}");
        let half = probability(&|d| Some(1.0 + haze(d) + (rises(d) - 1.0) / 2.0));
        let half = half.expect("told");
        assert!((0.75..0.93).contains(&half), "{half}");
        let sensor = |d| Some(rises(d) + haze(d));
        assert_eq!(probability(&sensor), None);
        // Three clear days of much haze say next to nothing.
        let few = |d: i64| (d % 8 == 3).then(|| rises(d) + 6.0 * haze(d));
        let seldom = probability(&few).expect("told");
        assert!((0.5..0.95).contains(&seldom), "{seldom}");
    }
}
