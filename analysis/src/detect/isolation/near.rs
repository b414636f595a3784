//! Insulation that comes near its limit, however it came there: the step before it is low.
//!
//! Model:   near if the best of the latest 3 dry mornings, or of a week of mornings of which nothing
//!          tells whether they were wet, is under twice the limit; over when the latest 3 mornings that
//!          were not wet all are above three times it.
//! Range:   3 dry mornings, or 5 open ones in a week.
//! Source:  twice the limit: alarm step of REFERENCE D.6 (engineering judgement there). That a wet
//!          morning alone is not told, the best of three and the end: engineering judgement; sound arrays
//!          come near the limit when they are wet, and a sensor does not see each wet morning.
//! Check:   tests below.
//! Never in here: how it falls (`falling`); under the limit itself (`low`).

use super::Morning;
use crate::detect::Edge;
use crate::reading::{Span, Time};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Number over limit under which it is near, and above which it is not any more [-].
const NEAR_RATIO: f64 = 2.0;
const CLEAR_RATIO: f64 = 3.0;
/// Dry mornings that say it.
const LATEST: usize = 3;
/// Open mornings that a week must have, and how long one is.
const OPEN_WEEK: usize = 5;
const WEEK: Span = Span::from_h(7 * 24);
/// Mornings kept: older ones do not decide.
const KEPT: usize = 14;

/// Insulation near its limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NearLimit {
    /// The best of the mornings that say it [ohm].
    pub best_ohm: f64,
    /// How many they are.
    pub mornings: usize,
}

/// Watches the mornings of one inverter.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct NearWatch {
    /// With a number, and not wet: when, log10 of it in ohm, whether it is known to have been dry.
    kept: VecDeque<(Time, f64, bool)>,
    is_near: bool,
}

impl NearWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Whether it counts as near since it was said.
    pub fn is_near(&self) -> bool {
        self.is_near
    }

    /// Takes a morning that is over, at a time, against the limit [ohm].
    pub fn push(
        &mut self,
        now: Time,
        morning: &Morning,
        limit_ohm: f64,
    ) -> Option<Edge<NearLimit>> {
        let log10_ohm = f64::from(morning.log10_ohm?);
        if morning.is_wet == Some(true) {
            return None;
        }
        if self.kept.len() == KEPT {
            self.kept.pop_front();
        }
        let is_dry = morning.is_wet == Some(false);
        self.kept.push_back((morning.at, log10_ohm, is_dry));
        let clear = (CLEAR_RATIO * limit_ohm).log10();
        if self.is_near {
            let from = self.kept.len().checked_sub(LATEST)?;
            let mut latest = self.kept.range(from..);
            let at = self.kept.get(from)?.0;
            let is_over = latest.all(|(_, y, _)| *y >= clear);
            self.is_near = !is_over;
            return is_over.then_some(Edge::Ended { at });
        }
        let (began, best, mornings) = if is_dry {
            self.dry()?
        } else {
            self.open(morning.at)?
        };
        // Under the limit itself it is another finding.
        let near = limit_ohm.log10()..(NEAR_RATIO * limit_ohm).log10();
        if !near.contains(&best) {
            return None;
        }
        self.is_near = true;
        Some(Edge::Found {
            began,
            found: now,
            seen: NearLimit {
                best_ohm: 10_f64.powf(best),
                mornings,
            },
        })
    }

    /// The first and the best of the latest dry mornings, and their number.
    fn dry(&self) -> Option<(Time, f64, usize)> {
        let dry = self.kept.iter().rev().filter(|(.., is_dry)| *is_dry);
        best(dry.take(LATEST)).filter(|(.., count)| *count == LATEST)
    }

    /// The same of a week of which nothing tells.
    fn open(&self, now: Time) -> Option<(Time, f64, usize)> {
        let week = || self.kept.iter().rev().take_while(|m| now - m.0 < WEEK);
        let is_open = week().all(|(.., is_dry)| !is_dry);
        best(week()).filter(|(.., count)| is_open && *count >= OPEN_WEEK)
    }
}

/// Of mornings, the latest first: when they begin, their best, and their number.
fn best<'a>(mornings: impl Iterator<Item = &'a (Time, f64, bool)>) -> Option<(Time, f64, usize)> {
    let join = |all: (Time, f64, usize), m: (Time, f64, usize)| (m.0, all.1.max(m.1), all.2 + m.2);
    mornings.map(|(at, y, _)| (*at, *y, 1)).reduce(join)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1100 V over 30 mA: 36.67 kohm (IEC 62109-2, from memory, verify); twice it is 73.3 kohm.
    const LIMIT_OHM: f64 = 1100.0 / 0.03;

    /// Days of edges, and whether it began, of 40 days of which some have another number.
    fn edges(low: &[i64], ohm: f64, wet: Option<bool>) -> Vec<(i64, bool)> {
        let mut watch = NearWatch::new();
        let mut edges = Vec::new();
        for day in 0..40 {
            let is_low = low.contains(&day);
            let ohm: f64 = if is_low { ohm } else { 3e6 };
            let morning = Morning {
                at: Time::from_unix_ms(day * 86_400_000),
                log10_ohm: Some(ohm.log10() as f32),
                is_wet: if is_low { wet } else { Some(false) },
                temperature_degc: None,
                is_low: false,
                lost_min: 0,
            };
            let edge = watch.push(morning.at, &morning, LIMIT_OHM);
            edges.extend(edge.map(|edge| (day, matches!(edge, Edge::Found { .. }))));
        }
        edges
    }

    #[test]
    fn under_twice_the_limit_is_told_on_the_third_dry_morning_and_ends_after_three_clear_ones() {
        let dry = Some(false);
        assert_eq!(edges(&[20, 21, 22], 7.2e4, dry), [(22, true), (25, false)]);
        assert_eq!(edges(&[20, 21, 23], 7.2e4, dry), []);
        assert_eq!(edges(&[20, 21, 22], 7.4e4, dry), []);
        // Under the limit itself it is low, which is told as that.
        assert_eq!(edges(&[20, 21, 22], 3.0e4, dry), []);
    }

    #[test]
    fn wet_mornings_say_nothing_and_open_ones_only_a_week_of_them() {
        let days: Vec<i64> = (20..28).collect();
        assert_eq!(edges(&days, 7.2e4, Some(true)), []);
        assert_eq!(edges(&days[..6], 7.2e4, None), []);
        assert_eq!(edges(&days, 7.2e4, None)[0], (26, true));
    }
}
