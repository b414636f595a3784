//! Where along a string a fault to earth lies, from the voltages of both poles against earth.
//!
//! Model:   x = V_ne / (V_pe + V_ne), counted from the negative end                          eq. (1)
//! Symbols: V_pe, V_ne  size of the voltage of the positive, of the negative pole to earth [V]
//!          V_oc  voltage between the poles, nothing connected [V]
//!          x  0 at the negative end, 1 at the positive end [-]
//! Range:   one low-resistance fault, the inverter not connected; V_pe + V_ne within 5 % of V_oc.
//!          With two faults the number means nothing, and the sum need not show it.
//! Source:  potential divider; practice of fault finding with a voltmeter (common practice, to
//!          about one module).
//! Check:   tests below, a worked example.

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// How far the sum may be from the open-circuit voltage [-].
const SUM_RATIO: f64 = 0.05;
/// Both poles under this share of the open-circuit voltage: nothing holds them to earth [-]
/// (engineering judgement).
const FLOATING_RATIO: f64 = 0.05;
/// Two polls whose positions are no further apart are stable: about half a module of 20 [-]
/// (engineering judgement).
const STABLE_RATIO: f64 = 0.025;

/// Where a single fault lies.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FaultPosition {
    /// 0 at the negative end of the string, 1 at the positive end [-].
    pub ratio: f64,
}

/// Why the voltages give no position.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum PositionError {
    /// Neither pole is held to earth.
    #[error("find a fault: both poles float, {plus_v} V and {minus_v} V to earth")]
    Floating {
        /// Positive pole to earth [V].
        plus_v: f64,
        /// Negative pole to earth [V].
        minus_v: f64,
    },
    /// Another fault, or a meter that loads the array.
    #[error(
        "place a single fault: the poles have {sum_v} V in sum to earth, {open_v} V between them"
    )]
    SumDiffers {
        /// Sum of both voltages to earth [V].
        sum_v: f64,
        /// Between the poles [V].
        open_v: f64,
    },
}

/// The position of a single fault, from the voltages of the poles to earth (of either sign) and the
/// open-circuit voltage between them [V].
///
/// # Errors
/// If the poles float, or the voltages do not add up.
pub fn fault_position(
    plus_v: f64,
    minus_v: f64,
    open_v: f64,
) -> Result<FaultPosition, PositionError> {
    let (v_pe, v_ne) = (plus_v.abs(), minus_v.abs());
    let sum_v = v_pe + v_ne;
    if v_pe.max(v_ne) <= FLOATING_RATIO * open_v {
        return Err(PositionError::Floating { plus_v, minus_v });
    }
    let adds_up = (sum_v - open_v).abs() <= SUM_RATIO * open_v; // not with NaN
    if !adds_up {
        return Err(PositionError::SumDiffers { sum_v, open_v });
    }
    Ok(FaultPosition {
        ratio: v_ne / sum_v,
    }) // eq. (1)
}

/// Waits until two polls in a row show the same place, and says it once in a fault.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct PositionWatch {
    last: Option<FaultPosition>,
    said: Option<FaultPosition>,
}

impl PositionWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// The place that has been said of the fault that stands.
    pub fn known(&self) -> Option<FaultPosition> {
        self.said
    }

    /// One poll, of an inverter that does not produce while its insulation is low. Gives the place
    /// when it can first be said.
    pub fn poll(&mut self, seen: FaultPosition) -> Option<FaultPosition> {
        let before = self.last.replace(seen)?;
        let is_stable = (before.ratio - seen.ratio).abs() <= STABLE_RATIO;
        if self.said.is_some() || !is_stable {
            return None;
        }
        self.said = Some(seen);
        self.said
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Worked: 412 V and 236 V to earth, 648 V open, 18 modules: 0.3642, between the sixth and the
    /// seventh module from the negative end (computed by hand from eq. (1)).
    #[test]
    fn the_worked_example_lies_between_the_sixth_and_the_seventh_module() {
        /// The example is given to four decimals.
        const TOLERANCE: f64 = 5e-5;
        for minus_v in [236.0, -236.0] {
            let x = fault_position(412.0, minus_v, 648.0)
                .expect("a single fault")
                .ratio;
            assert!((x - 0.3642).abs() < TOLERANCE, "{x}");
            assert_eq!((18.0 * x).floor(), 6.0);
        }
    }

    #[test]
    fn poles_that_float_or_do_not_add_up_give_no_place() {
        assert_eq!(
            fault_position(12.0, -9.0, 648.0),
            Err(PositionError::Floating {
                plus_v: 12.0,
                minus_v: -9.0
            })
        );
        assert_eq!(
            fault_position(200.0, 150.0, 648.0),
            Err(PositionError::SumDiffers {
                sum_v: 350.0,
                open_v: 648.0
            })
        );
        assert!(fault_position(f64::NAN, 236.0, 648.0).is_err());
    }

    #[test]
    fn it_is_said_once_and_only_when_two_polls_agree() {
        let mut watch = PositionWatch::new();
        let mut poll = |ratio| watch.poll(FaultPosition { ratio }).is_some();
        assert_eq!(
            [0.2, 0.5, 0.51, 0.5].map(&mut poll),
            [false, false, true, false]
        );
    }

    proptest! {
        #[test]
        fn a_single_fault_is_found_where_it_is(x in 0.0..=1.0_f64, open_v in 100.0..1500.0_f64) {
            let found = fault_position((1.0 - x) * open_v, -x * open_v, open_v).expect("one fault");
            prop_assert!((found.ratio - x).abs() < 1e-9);
        }
    }
}
