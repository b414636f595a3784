//! Yearly loss of power of a plane, from the same weeks of different years.
//!
//! Model:   w_n is the median of a week's daily levels, at least three of them. Every pair of weeks 52
//!          or 104 .. weeks apart gives a yearly rate (w_later / w_earlier - 1) / years; the rate is
//!          their median, r -+ 1.96 s,  s = 1.25 x 1.4826 MAD / sqrt(n / 8): the error of a median of
//!          n pairs, of which eight neighbouring weeks count as one, for they share their weather.
//!          Told after two years (104 weeks from the first to the last) and every year from then on,
//!          if the loss is 0.8 % a year or more and its 95 % interval leaves out zero.
//! Symbols: levels dimensionless, kept in steps of 1e-4; rates [1/year].
//! Range:   a week with fewer levels says nothing; ten years are kept.
//! Source:  year-on-year rates and their median: the project's reference (common practice for
//!          photovoltaic plants); block size and least pairs are engineering judgement.
//! Check:   tests below: rates put in come out, healthy plants stay silent.

use crate::reading::{MEDIAN_OVER_MEAN, SolarDay, Time, median, robust_spread};
use serde::{Deserialize, Serialize};

/// Days of a week, weeks of a year (52 weeks are a day short of it), weeks kept.
const WEEK_DAYS: i64 = 7;
const YEAR_WEEKS: usize = 52;
const KEPT_WEEKS: usize = 10 * YEAR_WEEKS;
/// Levels that a week must have, and pairs that a rate must have.
const LEAST_LEVELS: usize = 3;
const LEAST_PAIRS: usize = 30;
/// Weeks that share their errors.
const BLOCK_WEEKS: f64 = 8.0;
/// Smallest loss that is told [1/year].
const LEAST_PER_YEAR: f64 = 0.008;
const STEPS: f64 = 10_000.0;
const NINETY_FIVE: f64 = 1.96;

/// A yearly loss with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct YearlyLoss {
    /// The loss [1/year].
    pub per_year: f64,
    /// 95 % interval of it [1/year].
    pub low: f64,
    /// Its upper end [1/year].
    pub high: f64,
    /// Pairs of weeks that it rests on.
    pub pairs: u32,
    /// Start of the first week.
    pub since: Time,
}

/// The weeks of one plane.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct YearWatch {
    /// Number of the first week kept, and the medians from it on, in steps; 0: too few levels.
    first_week: i64,
    weeks: Vec<u16>,
    this_week: Vec<(SolarDay, f64)>,
    told_after: usize,
    began: Option<Time>,
}

impl YearWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes the level of a healthy day, and says the yearly loss when a year is full, from the second
    /// on.
    pub fn take(&mut self, day: SolarDay, began: Time, level_ratio: f64) -> Option<YearlyLoss> {
        let week = |day: SolarDay| day.number().div_euclid(WEEK_DAYS);
        let latest = self.this_week.last().map(|(latest, _)| *latest);
        // Where time has gone back, a day ends twice.
        if latest.is_some_and(|latest| latest >= day) {
            return None;
        }
        self.began.get_or_insert(began);
        let ended = latest.map(week).filter(|ended| *ended < week(day));
        if let Some(ended) = ended {
            self.close_week(ended);
        }
        self.this_week.push((day, level_ratio));
        let years = self.weeks.len() / YEAR_WEEKS;
        if ended.is_none() || years < 2 || years <= self.told_after {
            return None;
        }
        self.told_after = years;
        let loss = self.yearly_loss()?;
        (loss.per_year >= LEAST_PER_YEAR && loss.low > 0.0).then_some(loss)
    }

    fn close_week(&mut self, week: i64) {
        let levels: Vec<f64> = self.this_week.drain(..).map(|(_, level)| level).collect();
        if self.weeks.is_empty() {
            self.first_week = week;
        }
        let missing = week - self.first_week - self.weeks.len() as i64;
        self.weeks.extend((0..missing.max(0)).map(|_| 0));
        let middle = median(levels.iter().copied()).filter(|_| levels.len() >= LEAST_LEVELS);
        self.weeks
            .push(middle.map_or(0, |level| (level * STEPS).round() as u16));
        while self.weeks.len() > KEPT_WEEKS {
            // By whole years, so that what was told stays told.
            self.weeks.drain(..YEAR_WEEKS);
            self.first_week += YEAR_WEEKS as i64;
            self.told_after = self.told_after.saturating_sub(1);
        }
    }

    /// The yearly loss so far; `None` while there are too few pairs.
    pub fn yearly_loss(&self) -> Option<YearlyLoss> {
        let mut rates = Vec::new();
        for years in 1..=self.weeks.len() / YEAR_WEEKS {
            let later = self.weeks.iter().skip(years * YEAR_WEEKS);
            let pairs = self.weeks.iter().zip(later);
            let pairs = pairs.filter(|(earlier, later)| **earlier > 0 && **later > 0);
            let ratio = |(earlier, later): (&u16, &u16)| f64::from(*later) / f64::from(*earlier);
            rates.extend(pairs.map(|pair| (1.0 - ratio(pair)) / years as f64));
        }
        if rates.len() < LEAST_PAIRS {
            return None;
        }
        let per_year = median(rates.iter().copied())?;
        let spread = robust_spread(rates.iter().copied(), per_year)?;
        let independent = (rates.len() as f64 / BLOCK_WEEKS).max(1.0);
        let reach = NINETY_FIVE * MEDIAN_OVER_MEAN * spread / independent.sqrt();
        Some(YearlyLoss {
            per_year,
            low: per_year - reach,
            high: per_year + reach,
            pairs: rates.len() as u32,
            since: self.began?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Levels with a season of 2 %, dirt that comes and goes, weather of 1 %, gaps.
    fn told(years: i64, per_year: f64, seed: i64) -> Vec<YearlyLoss> {
        let mut watch = YearWatch::new();
        let at = |d: i64| Time::from_unix_ms((20_000 + d) * 86_400_000);
        let level = |d: i64| {
            let year = d as f64 / 365.25;
            let season = 0.02 * (std::f64::consts::TAU * year).cos();
            let dirt = 0.001 * ((d + 5 * seed) % 19) as f64;
            let weather = 0.01 * (((d * 7919 + seed * 104_729) % 101) as f64 / 50.0 - 1.0);
            (1.0 - per_year * year) * (1.0 + season) - dirt + weather
        };
        (0..years * 365 + 20)
            .filter(|d| (d * 31 + seed) % 5 > 1)
            .filter_map(|d| watch.take(at(d).solar_day(0.0), at(d), level(d)))
            .collect()
    }

    #[test]
    fn one_percent_a_year_is_told_after_two_years_with_its_interval() {
        for seed in 0..10 {
            let told = told(2, 0.01, seed);
            assert_eq!(told.len(), 1, "{seed}");
            let loss = told[0];
            assert!(loss.low < 0.01 && 0.01 < loss.high, "{seed} {loss:?}");
            // Narrow enough to tell one percent from what half of it would be.
            assert!(loss.high - loss.low < 0.012, "{seed} {loss:?}");
        }
    }

    #[test]
    fn none_is_told_of_a_plant_that_does_not_age_nor_before_two_years() {
        for seed in 0..10 {
            assert_eq!(told(6, 0.0, seed), [], "{seed}");
        }
        let mut watch = YearWatch::new();
        for d in 0..700 {
            let at = Time::from_unix_ms(d * 86_400_000);
            let loss = watch.take(at.solar_day(0.0), at, 1.0 - 0.03 * d as f64 / 365.0);
            assert_eq!(loss, None, "day {d}");
        }
    }

    #[test]
    fn it_is_told_every_year_and_ten_years_take_little_room() {
        assert!(told(13, 0.01, 1).len() >= 11);
        let mut watch = YearWatch::new();
        for d in 0..13 * 365 {
            let at = Time::from_unix_ms(d * 86_400_000);
            watch.take(at.solar_day(0.0), at, 1.0);
        }
        // Three bytes a week at most.
        assert!(3 * watch.weeks.len() < 2 * 1024, "{}", watch.weeks.len());
    }
}
