//! Insulation resistance of the array under its limit.
//!
//! An inverter measures before a start, and many publish that one number all day: a number that
//! stays is one measurement, however often it is read. A second poll under the limit is asked for to
//! know that the register was read as it is; the measurement itself needs no other. The ground-fault
//! bit needs no second poll. A finding stands until the value is well above the limit again, or the
//! inverter works behind a register at its full scale, or, where the bit alone began it, until the
//! bit has stayed clear.
//! Never in here: whether it is wet or dry.

use super::Published;
use crate::detect::Edge;
use crate::reading::{Span, Time};
use serde::{Deserialize, Serialize};

/// Polls in a row under the limit before it is said.
const CONFIRMING_POLLS: u32 = 2;
/// Two polls further apart than this are not in a row: a night lies between them (engineering
/// judgement; recordings may have a row an hour).
const IN_A_ROW: Span = Span::from_h(2);
/// Resistance over limit from which the array counts as recovered [-] (engineering judgement).
const RECOVERED_RATIO: f64 = 1.5;
/// How long it must stay recovered (engineering judgement).
const RECOVERED_FOR: Span = Span::from_min(30);

/// What one poll says of the insulation, as far as it was published.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IsolationPoll {
    /// Insulation resistance.
    pub resistance: Published,
    /// The ground-fault bit.
    pub ground_fault: Option<bool>,
    /// Whether the inverter produces.
    pub producing: Option<bool>,
}

/// Watches one inverter.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct IsolationWatch {
    low_since: Option<(Time, u32)>,
    last_low: Option<Time>,
    /// The latest resistance under the limit [ohm].
    low_ohm: Option<f64>,
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

    /// Whether the insulation counts as low since it was said.
    pub fn is_low(&self) -> bool {
        self.is_low
    }

    /// The latest resistance under the limit, where one was seen since it counts as low [ohm].
    pub fn low_ohm(&self) -> Option<f64> {
        self.low_ohm
    }

    /// One poll, against the limit [ohm]. A finding carries the resistance that decided, if there
    /// was one.
    pub fn poll(
        &mut self,
        at: Time,
        poll: IsolationPoll,
        limit_ohm: f64,
    ) -> Option<Edge<Option<f64>>> {
        let measured = poll.resistance.ohm();
        let is_under = measured.is_some_and(|r| r < limit_ohm);
        let is_set = poll.ground_fault == Some(true);
        if is_under || is_set {
            self.high_since = None;
            self.by_value |= is_under;
            self.low_ohm = measured.filter(|_| is_under).or(self.low_ohm);
            return self.low(at, measured.filter(|_| is_under), is_set);
        }
        let recovered = match poll.resistance {
            Published::Ohm(r) => r > RECOVERED_RATIO * limit_ohm,
            // It could not be measured, and the inverter's own test has let it start.
            Published::FullScale if poll.producing == Some(true) => true,
            // A bit that is clear says nothing against a resistance that was low: many inverters
            // set it at a start only.
            _ if poll.ground_fault == Some(false) && !self.by_value => true,
            _ => return None,
        };
        self.low_since = None;
        self.last_low = None;
        if !self.is_low || !recovered {
            self.high_since = None;
            self.by_value &= self.is_low;
            self.low_ohm = self.low_ohm.filter(|_| self.is_low);
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
        let before = self.last_low.replace(at);
        if before.is_some_and(|before| at - before > IN_A_ROW) && !self.is_low {
            self.low_since = None;
        }
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

    /// IEC 62109-2, clause 4.8.2: highest voltage over 30 mA (from memory, verify): 1100 V.
    const LIMIT_OHM: f64 = 36_667.0;

    fn polls(values: &[f64], producing: bool) -> Vec<Edge<Option<f64>>> {
        let mut watch = IsolationWatch::new();
        let at = |i: usize| Time::from_unix_ms(i as i64 * 600_000);
        let poll = |(i, r): (usize, &f64)| {
            let poll = IsolationPoll {
                resistance: Published::new(Some(*r)),
                ground_fault: None,
                producing: Some(producing),
            };
            watch.poll(at(i), poll, LIMIT_OHM)
        };
        values.iter().enumerate().filter_map(poll).collect()
    }

    #[test]
    fn zero_at_wake_up_and_full_scale_words_are_no_measurement() {
        let words = [0.0, 0.0, 0.0, 32_767.0, 32_767.0, 65_535.0, 65_530.0];
        assert_eq!(polls(&words, false), []);
    }

    #[test]
    fn a_single_low_poll_is_not_said_and_two_are_said_once() {
        assert_eq!(polls(&[1e6, 2e4, 1e6], false), []);
        assert_eq!(polls(&[1e6, 2e4, 2e4, 2e4], false).len(), 1);
    }

    /// A register read wrongly at dusk, nothing all night, and once more at dawn.
    #[test]
    fn a_low_number_in_the_evening_and_one_in_the_morning_are_not_two_polls_in_a_row() {
        let mut watch = IsolationWatch::new();
        let mut poll = |minute: i64, ohm: Option<f64>| {
            let poll = IsolationPoll {
                resistance: Published::new(ohm),
                ground_fault: None,
                producing: Some(false),
            };
            watch.poll(Time::from_unix_ms(minute * 60_000), poll, LIMIT_OHM)
        };
        assert_eq!(poll(0, Some(2e4)), None);
        for minute in 1..600 {
            assert_eq!(poll(minute, None), None);
        }
        assert_eq!(poll(600, Some(2e4)), None);
        let Some(Edge::Found { began, .. }) = poll(601, Some(2e4)) else {
            panic!("two in a row");
        };
        assert_eq!(began, Time::from_unix_ms(600 * 60_000));
    }

    #[test]
    fn one_number_that_stays_all_day_is_one_finding_that_stands() {
        let latched = [&[1e6][..], &[2e4; 200]].concat();
        let [Edge::Found { began, found, seen }] = polls(&latched, true)[..] else {
            panic!("one finding");
        };
        assert_eq!((began.unix_ms(), found.unix_ms()), (600_000, 1_200_000));
        assert_eq!(seen, Some(2e4));
    }

    #[test]
    fn it_ends_when_it_has_stayed_well_above_the_limit() {
        let edges = polls(&[2e4, 2e4, 4e4, 4e4, 1e6, 1e6, 1e6, 1e6], false);
        assert_eq!(
            edges[1],
            Edge::Ended {
                at: Time::from_unix_ms(4 * 600_000)
            }
        );
    }

    /// A register of 16 bits in ohm ends at 65,535: a dry array shows nothing else.
    #[test]
    fn a_full_scale_word_ends_it_only_while_the_inverter_works() {
        let values = [2e4, 2e4, 65_534.0, 65_534.0, 65_534.0, 65_534.0];
        assert_eq!(polls(&values, true).len(), 2);
        assert_eq!(polls(&values, false).len(), 1);
    }
}
