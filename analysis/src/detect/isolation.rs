//! Insulation resistance of the array under its limit.
//!
//! An inverter measures it before a start and many publish that one value all day; some publish 0
//! at wake-up or a full-scale word, which are no measurements. Two measurements in a row under the
//! limit, or the ground-fault bit, are a finding; it stands until the value is well above the limit
//! again, or, where the bit alone began it, until the bit has stayed clear.
//! Never in here: whether it is wet or dry.

use super::Edge;
use crate::reading::{Span, Time};
use serde::{Deserialize, Serialize};

/// Measurements in a row under the limit before it is said.
const CONFIRMING_POLLS: u32 = 2;
/// Resistance over limit from which the array counts as recovered [-].
const RECOVERED_RATIO: f64 = 1.5;
/// How long it must stay recovered.
const RECOVERED_FOR: Span = Span::from_min(30);
/// Full-scale words of 16-bit registers, seen where nothing was measured [ohm].
const FULL_SCALE_OHM: std::ops::RangeInclusive<f64> = 65_530.0..=65_535.0;

/// Watches one inverter.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct IsolationWatch {
    low_since: Option<(Time, u32)>,
    is_low: bool,
    /// Whether a resistance was under the limit, and not the bit alone.
    by_value: bool,
    high_since: Option<Time>,
}

impl IsolationWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// One poll: the resistance [ohm] and the ground-fault bit, as far as they were published.
    /// A finding carries the resistance that decided, if there was one.
    pub fn poll(
        &mut self,
        at: Time,
        resistance_ohm: Option<f64>,
        ground_fault: Option<bool>,
        limit_ohm: f64,
    ) -> Option<Edge<Option<f64>>> {
        let measured = resistance_ohm.filter(|r| *r > 0.0 && !FULL_SCALE_OHM.contains(r));
        let is_under = measured.is_some_and(|r| r < limit_ohm);
        let is_set = ground_fault == Some(true);
        if is_under || is_set {
            self.high_since = None;
            self.by_value |= is_under;
            return self.low(at, measured.filter(|_| is_under), is_set);
        }
        // A bit that is clear says nothing against a resistance that was low: many inverters set it
        // at a start only.
        let recovered = match measured {
            Some(r) => r > RECOVERED_RATIO * limit_ohm,
            None if ground_fault == Some(false) && !self.by_value => true,
            None => return None,
        };
        self.low_since = None;
        if !self.is_low || !recovered {
            self.high_since = None;
            self.by_value &= self.is_low;
            return None;
        }
        let since = *self.high_since.get_or_insert(at);
        if at - since < RECOVERED_FOR {
            return None;
        }
        *self = Self::new();
        Some(Edge::Ended { at: since })
    }

    fn low(&mut self, at: Time, measured: Option<f64>, bit: bool) -> Option<Edge<Option<f64>>> {
        let (began, polls) = self.low_since.get_or_insert((at, 0));
        *polls += 1;
        if self.is_low || (*polls < CONFIRMING_POLLS && !bit) {
            return None;
        }
        self.is_low = true;
        Some(Edge::Found {
            began: *began,
            found: at,
            seen: measured,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMIT_OHM: f64 = 36_667.0;

    fn polls(values: &[f64]) -> Vec<Edge<Option<f64>>> {
        let mut watch = IsolationWatch::new();
        let at = |i: usize| Time::from_unix_ms(i as i64 * 600_000);
        let poll = |(i, r): (usize, &f64)| watch.poll(at(i), Some(*r), None, LIMIT_OHM);
        values.iter().enumerate().filter_map(poll).collect()
    }

    #[test]
    fn zero_at_wake_up_and_full_scale_words_are_no_measurement() {
        assert_eq!(polls(&[0.0, 0.0, 0.0, 65_535.0, 65_530.0]), []);
    }

    #[test]
    fn a_single_low_poll_is_not_said_and_two_are_said_once() {
        assert_eq!(polls(&[1e6, 2e4, 1e6]), []);
        assert_eq!(polls(&[1e6, 2e4, 2e4, 2e4]).len(), 1);
    }

    #[test]
    fn it_ends_when_it_has_stayed_well_above_the_limit() {
        let edges = polls(&[2e4, 2e4, 4e4, 4e4, 1e6, 1e6, 1e6, 1e6]);
        assert_eq!(
            edges[1],
            Edge::Ended {
                at: Time::from_unix_ms(4 * 600_000)
            }
        );
    }
}
