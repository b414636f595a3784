//! Leakage to earth while an inverter works, above what it may last at.
//!
//! Model:   high if |I| > 300 mA up to 30 kVA, |I| > 10 mA per kVA above
//! Symbols: I residual current [A]
//! Range:   rated power > 0; the rated active power stands for the apparent power, which is never
//!          smaller: the limit is on the safe side above 30 kVA.
//! Source:  IEC 62109-2:2011, clause 4.8.3.5 (from memory, verify).
//! Check:   tests below: 25 kVA 300 mA, 100 kVA 1 A.
//!
//! The inverter's own monitor also acts on sudden steps: 30 mA within 0.3 s, 60 mA within 0.15 s,
//! 150 mA within 0.04 s. Values that are read every few seconds cannot show those, nor that the
//! continuous limit was passed for less than a poll: it disconnects within 0.3 s. What is seen here
//! is a monitor that does not act, one with a higher limit, or the value left after it has acted.
//! Never in here: causes.

use super::Edge;
use crate::reading::{Power, Span, Time};
use serde::{Deserialize, Serialize};

/// Continuous limit up to [`SMALL_VA`] [A], and per volt-ampere above it.
const SMALL_LIMIT_A: f64 = 0.3;
const SMALL_VA: f64 = 30_000.0;
const LIMIT_A_PER_VA: f64 = 1e-5;
/// Current over limit under which it counts as over [-], and how long it must stay there
/// (engineering judgement).
const RECOVERED_RATIO: f64 = 0.8;
const RECOVERED_FOR: Span = Span::from_min(30);
/// Ends of registers of 16 bits, signed and not, in tenths of milliampere to hundredths of ampere: none measured.
const END_WORDS: [std::ops::RangeInclusive<f64>; 2] = [32_766.5..=32_768.5, 65_529.5..=65_535.5];
const SCALES_PER_A: [f64; 3] = [100.0, 1_000.0, 10_000.0];

/// Highest residual current at which an inverter may stay connected [A].
pub fn residual_current_limit_a(rated: Power) -> f64 {
    let va = rated.w();
    if va > SMALL_VA {
        LIMIT_A_PER_VA * va
    } else {
        SMALL_LIMIT_A
    }
}

/// Watches one inverter.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ResidualCurrentWatch {
    is_high: bool,
    low_since: Option<Time>,
}

impl ResidualCurrentWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// One poll, current and limit [A]. A finding carries the size of the current that decided.
    pub fn poll(&mut self, at: Time, current_a: Option<f64>, limit_a: f64) -> Option<Edge<f64>> {
        let amps = current_a?.abs();
        if is_end_of_register(amps) {
            return None;
        }
        if amps > limit_a {
            self.low_since = None;
            let is_new = !std::mem::replace(&mut self.is_high, true);
            return is_new.then_some(Edge::Found {
                began: at,
                found: at,
                seen: amps,
            });
        }
        if !self.is_high || amps > RECOVERED_RATIO * limit_a {
            self.low_since = None;
            return None;
        }
        let since = *self.low_since.get_or_insert(at);
        if at - since < RECOVERED_FOR {
            return None;
        }
        *self = Self::new();
        Some(Edge::Ended { at: since })
    }
}

fn is_end_of_register(amps: f64) -> bool {
    SCALES_PER_A.iter().any(|scale| {
        let word = amps * scale;
        END_WORDS.iter().any(|end| end.contains(&word))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 62109-2, clause 4.8.3.5 (from memory, verify).
    #[test]
    fn limits_are_300_ma_and_above_30_kva_10_ma_per_kva() {
        const TOLERANCE_A: f64 = 1e-12;
        for (va, wanted) in [
            (5_000.0, 0.3),
            (25_000.0, 0.3),
            (30_000.0, 0.3),
            (100_000.0, 1.0),
        ] {
            let limit = residual_current_limit_a(Power::from_w(va));
            assert!((limit - wanted).abs() < TOLERANCE_A, "{va} VA: {limit} A");
        }
    }

    fn edges(values: &[f64]) -> Vec<Edge<f64>> {
        let mut watch = ResidualCurrentWatch::new();
        let poll =
            |(n, amps): (i64, &f64)| watch.poll(Time::from_unix_ms(n * 600_000), Some(*amps), 0.3);
        (0..).zip(values).filter_map(poll).collect()
    }

    #[test]
    fn one_poll_above_the_limit_is_enough_of_either_sign() {
        for amps in [0.31, -0.31] {
            let [Edge::Found { seen, .. }] = edges(&[0.02, amps, amps])[..] else {
                panic!("one finding of {amps}");
            };
            assert_eq!(seen, 0.31);
        }
    }

    /// Tens of milliampere are the capacitance of a wet array.
    #[test]
    fn a_wet_array_and_full_registers_are_not_high() {
        assert_eq!(edges(&[0.02, 0.09, 0.299, 0.0]), []);
        assert_eq!(
            edges(&[65.535, 6.5535, 655.35, 65.534, 32.767, 327.67, -32.768]),
            []
        );
    }

    #[test]
    fn it_ends_after_half_an_hour_well_under_the_limit() {
        let found = edges(&[0.4, 0.28, 0.1, 0.1, 0.28, 0.1, 0.1, 0.1, 0.1]);
        let at = Time::from_unix_ms(5 * 600_000);
        assert_eq!(found[1..], [Edge::Ended { at }]);
    }
}
