//! A temperature sensor that has come off the back of its module.
//!
//! Model:   q = (T_back - T_air) / (G / (U0 + U1 v)) in bright slots; a day's q is their median. Three
//!          days that count in a row outside 0.5 .. 1.8 are told, one inside 0.6 .. 1.6 ends it.
//! Symbols: T [degC], G [W/m2], v [m/s], U0, U1 of the mounting (Faiman), q [-].
//! Range:   G over 600 W/m2 for half an hour of the day; air temperature measured.
//! Source:  common practice for the lower limits and the days; the upper ones are engineering judgement.
//! Check:   unit test below; tests/acceptance/engine/measuring.rs.

use super::Edge;
use crate::reading::{SolarDay, Span, Time, median};
use serde::{Deserialize, Serialize};

/// Light in which the rise is large enough [W/m2].
pub const BRIGHT_W_M2: f64 = 600.0;
const LEAST_H: f64 = 0.5;
const WRONG_DAYS: usize = 3;
/// Measured over modelled rise [-] that is wrong, and that is right again.
const LOWEST: f64 = 0.5;
const HIGHEST: f64 = 1.8;
const RIGHT: std::ops::RangeInclusive<f64> = 0.6..=1.6;

/// Watches one sensor at the back of a module.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct BackSensorWatch {
    today: Option<(SolarDay, Time, Vec<f64>)>,
    /// When the wrong days in a row began, and their ratios.
    wrong: Vec<(Time, f64)>,
    is_standing: bool,
}

impl BackSensorWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes the ratio of a bright slot.
    pub fn add(&mut self, day: SolarDay, start: Time, ratio: f64) {
        match &mut self.today {
            Some((today, _, ratios)) if *today == day => ratios.push(ratio),
            _ => self.today = Some((day, start, vec![ratio])),
        }
    }

    /// The slots of today will come again.
    pub fn forget_today(&mut self) {
        self.today = None;
    }

    /// Whether the sensor is known to be off.
    pub fn is_wrong(&self) -> bool {
        self.is_standing
    }

    /// Decides on the day before, if a new one has begun; what is seen is the mean ratio.
    pub fn close_day(&mut self, day: SolarDay, slot: Span, found: Time) -> Option<Edge<f64>> {
        let (_, began, ratios) = self.today.take_if(|(closing, ..)| *closing < day)?;
        if (ratios.len() as f64) * slot.hours() < LEAST_H {
            return None;
        }
        let ratio = median(ratios)?;
        if (LOWEST..=HIGHEST).contains(&ratio) {
            self.wrong.clear();
            let is_right = RIGHT.contains(&ratio) && std::mem::take(&mut self.is_standing);
            return is_right.then_some(Edge::Ended { at: began });
        }
        if self.is_standing {
            return None;
        }
        self.wrong.push((began, ratio));
        if self.wrong.len() < WRONG_DAYS {
            return None;
        }
        self.is_standing = true;
        let wrong = std::mem::take(&mut self.wrong);
        Some(Edge::Found {
            began: wrong[0].0,
            found,
            seen: wrong.iter().map(|w| w.1).sum::<f64>() / WRONG_DAYS as f64,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_days_near_the_air_are_told_and_one_at_the_module_ends_it() {
        let mut watch = BackSensorWatch::new();
        let mut told = Vec::new();
        let ratios = [0.9, 0.2, 0.2, 1.0, 0.3, 0.2, 0.25, 0.2, 0.95, 1.0];
        for (d, ratio) in (0..).zip(ratios) {
            let midnight = Time::from_unix_ms(d * 86_400_000);
            let day = SolarDay::from_number(d);
            let edge = watch.close_day(day, Span::from_min(5), midnight);
            told.extend(edge.map(|edge| (d, edge)));
            for _ in 0..8 {
                watch.add(day, midnight + Span::from_h(12), ratio);
            }
        }
        let [(7, Edge::Found { .. }), (9, Edge::Ended { .. })] = told[..] else {
            panic!("{told:?}");
        };
    }

    #[test]
    fn what_was_seen_before_time_went_back_does_not_count() {
        let mut watch = BackSensorWatch::new();
        let mut told = Vec::new();
        for d in 0..5 {
            let noon = Time::from_unix_ms(d * 86_400_000) + Span::from_h(12);
            let day = SolarDay::from_number(d);
            told.push(watch.close_day(day, Span::from_min(5), noon).is_some());
            // The median of all of them would be right.
            (0..20).for_each(|_| watch.add(day, noon, 1.0));
            watch.forget_today();
            (0..8).for_each(|_| watch.add(day, noon, 0.2));
        }
        assert_eq!(told, [false, false, false, true, false]);
    }
}
