//! How far a measured operating point lies from the curve of a healthy array.
//!
//! Model:   ratio = I_measured / I_curve(V_measured); on a healthy array it is 1 wherever the
//!          inverter chose to work. Its own error grows with the slope of the curve:
//!          s_own^2 = s_I^2 + (dI/dV s_V / I_curve)^2; right of the peak the test turns blind by
//!          itself instead of by a rule. Where the curve carries next to nothing, the ratio to the
//!          peak current is used instead.
//!          Common factor c of a plane: prior 1 -+ s_common (the light), each sibling an observation
//!          of it with its own error; precision-weighted mean, siblings by their median. Where a tracker
//!          may be away, and of voltages, three siblings that are alike count for more than the prior.
//! Symbols: I [A], V [V], ratios and standard deviations dimensionless.
//! Range:   finite measured values; the curve from `expected`.
//! Source:  own; the on-curve test is the project's design.
//! Check:   unit tests below; tests/acceptance/replay.rs on real recordings.

use super::gate::held_back_above_v;
use crate::expected::{Prediction, Uncertain};
use crate::reading::{MEDIAN_OVER_MEAN, median};
use serde::{Deserialize, Serialize};

/// Curve current over peak current below which the ratio to the peak is used instead [-].
const CURVE_USABLE_RATIO: f64 = 0.3;
/// Curve current over peak current below which the peak is the better measure [-]: right of the
/// peak the curve is steep.
const STEEP_RATIO: f64 = 0.9;
/// Siblings that vouch for light and heat where they are alike, and the ratio from which on they do [-].
const ALIKE_FROM: usize = 3;
const ALIKE_ABOVE: f64 = 0.6;
/// A sibling further from 1 than this many standard deviations does not vouch for the light.
const SIBLING_TRUST_SIGMAS: f64 = 3.0;

/// One input in one slot, compared with its curve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Residual {
    /// Measured over curve current [-].
    pub ratio: f64,
    /// Standard deviation of the ratio that this input alone has [-].
    pub own: f64,
    /// Standard deviation of the ratio that all inputs of the plane share [-].
    pub common: f64,
    /// Current that `ratio` is held against, over the current at the peak [-].
    pub curve_over_peak: f64,
    /// Measured over expected peak voltage [-].
    pub voltage_ratio: f64,
    /// Standard deviations of the voltage ratio.
    pub voltage_sigma: Uncertain,
}

impl Residual {
    /// Measured current over that at the expected peak [-].
    pub fn over_peak(&self) -> f64 {
        self.ratio * self.curve_over_peak
    }
}

/// Current that a curve gives at a voltage [A]: the peak's where the voltage may be the peak's, for
/// there the curve is steep and the cells' temperature moves it; most of the peak's at least.
pub fn reference_current(prediction: &Prediction, volts: f64) -> f64 {
    let peak = &prediction.expected;
    if volts <= held_back_above_v(peak) {
        return peak.current.a();
    }
    let curve = prediction.current_at(volts);
    curve.max(STEEP_RATIO * peak.current.a())
}

/// The residual of a measured point.
pub fn residual(prediction: &Prediction, voltage_v: f64, current_a: f64) -> Residual {
    let peak_v = prediction.expected.voltage.v();
    let peak_a = prediction.expected.current.a();
    let (curve_a, slope_a_per_v) = prediction.curve_at(voltage_v);
    let sigma_v = prediction.expected.sigma_voltage.v();
    let (reference_a, slope_error) = if curve_a >= CURVE_USABLE_RATIO * peak_a {
        (curve_a, slope_a_per_v * sigma_v / curve_a)
    } else {
        (peak_a, 0.0)
    };
    let uncertain = prediction.current_uncertainty;
    Residual {
        curve_over_peak: reference_a / peak_a,
        ratio: current_a / reference_a,
        own: uncertain.own_ratio.hypot(slope_error),
        common: uncertain.common_ratio,
        voltage_ratio: voltage_v / peak_v,
        voltage_sigma: prediction.voltage_uncertainty,
    }
}

/// The factor that all inputs of a plane share in a slot, as seen from one of them, and its
/// standard deviation: from the light's own uncertainty and from the siblings' residuals.
pub fn common_factor(common: f64, siblings: &[Residual]) -> (f64, f64) {
    let alone = (1.0, common);
    let Some(median) = median(siblings.iter().map(|s| s.ratio)) else {
        return alone;
    };
    let own = siblings.iter().map(|s| s.own).sum::<f64>() / siblings.len() as f64;
    let seen = MEDIAN_OVER_MEAN * own / (siblings.len() as f64).sqrt();
    if (median - 1.0).abs() > SIBLING_TRUST_SIGMAS * common.hypot(seen) {
        return alone;
    }
    let (prior, data) = (common.powi(-2), seen.powi(-2));
    (
        (prior + data * median) / (prior + data),
        (prior + data).sqrt().recip(),
    )
}

/// [`common_factor`], but where `ALIKE_FROM` siblings and three of four are alike, what they show: that is no fault
/// of one, however far it is from what the light's uncertainty allows. Not under `ALIKE_ABOVE`: snow lies on all.
pub fn common_of_alike(common: f64, siblings: &[Residual]) -> (f64, f64) {
    let Some(shown) = median(siblings.iter().map(|s| s.ratio)).filter(|r| *r >= ALIKE_ABOVE) else {
        return common_factor(common, siblings);
    };
    let n = siblings.len() as f64;
    let own = siblings.iter().map(|s| s.own).sum::<f64>() / n;
    let is_alike = |s: &&Residual| (s.ratio / shown - 1.0).abs() <= SIBLING_TRUST_SIGMAS * own;
    let alike = siblings.iter().filter(is_alike).count();
    match alike >= ALIKE_FROM && 4 * alike >= 3 * siblings.len() {
        true => (shown, MEDIAN_OVER_MEAN * own / n.sqrt()),
        false => common_factor(common, siblings),
    }
}

/// [`common_of_alike`] of the voltage: heat that is not known well moves all of them.
pub fn common_voltage(of: Uncertain, siblings: &[Residual]) -> (f64, f64) {
    let voltage = |sibling: &Residual| Residual {
        ratio: sibling.voltage_ratio,
        own: sibling.voltage_sigma.own_ratio,
        ..*sibling
    };
    let voltages: Vec<Residual> = siblings.iter().map(voltage).collect();
    common_of_alike(of.common_ratio, &voltages)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sibling(ratio: f64) -> Residual {
        Residual {
            ratio,
            own: 0.015,
            common: 0.04,
            curve_over_peak: 1.0,
            voltage_ratio: 1.0,
            voltage_sigma: Uncertain {
                common_ratio: 0.014,
                own_ratio: 0.0055,
            },
        }
    }

    #[test]
    fn a_sensor_error_that_siblings_share_is_taken_out() {
        let (factor, sigma) = common_factor(0.04, &[sibling(0.95), sibling(0.95)]);
        assert!((factor - 0.95).abs() < 0.01, "{factor}");
        assert!(sigma < 0.02, "{sigma}");
    }

    #[test]
    fn heat_that_siblings_share_is_taken_out_of_the_voltage() {
        let warm = Residual {
            voltage_ratio: 0.97,
            ..sibling(1.0)
        };
        let (factor, sigma) = common_voltage(warm.voltage_sigma, &[warm; 4]);
        assert!((factor - 0.97).abs() < 1e-9, "{factor}");
        assert!(sigma < 0.005, "{sigma}");
    }

    #[test]
    fn three_that_are_alike_vouch_for_light_that_is_far_off_and_two_do_not() {
        let (factor, sigma) = common_of_alike(0.01, &[sibling(0.9); 3]);
        assert!(
            (factor - 0.9).abs() < 1e-9 && sigma < 0.012,
            "{factor} {sigma}"
        );
        assert_eq!(common_of_alike(0.01, &[sibling(0.9); 2]), (1.0, 0.01));
        let unlike = [sibling(0.9), sibling(0.9), sibling(0.8)];
        assert_eq!(common_of_alike(0.01, &unlike), (1.0, 0.01));
        assert_eq!(common_of_alike(0.01, &[sibling(0.3); 3]), (1.0, 0.01));
        let one_odd = [sibling(0.9), sibling(0.9), sibling(0.9), sibling(0.5)];
        assert_eq!(common_of_alike(0.01, &one_odd).0, 0.9);
    }

    #[test]
    fn a_sibling_with_a_fault_of_its_own_does_not_vouch() {
        assert_eq!(common_factor(0.04, &[sibling(0.5)]), (1.0, 0.04));
    }
}
