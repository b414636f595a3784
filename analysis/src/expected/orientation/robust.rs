//! Statistics that a few bad samples do not move.
//!
//! Model:   Huber min(1, c / |z|), Tukey (1 - (z / c)2)2 inside c (`reading::tukey_weight`)
//!          inflation = 1 + 2 sum over k <= K of (1 - k / (K + 1)) rho_k
//! Symbols: z  residual over scatter    rho_k  autocorrelation at lag k
//! Range:   at least one value.
//! Source:  c = 1.345 for 95 % efficiency in normal noise (P. Huber, Robust Statistics,
//!          1981; textbook values, from memory, verify); the tapered sum is that of W. Newey and
//!          K. West, Econometrica 55 (3), 1987 (from memory, verify).
//! Check:   below; the coverage that follows from it in `ensemble_tests`.

use crate::reading::tukey_weight;

const HUBER_C: f64 = 1.345;

/// How a residual beyond the scatter is weighed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Loss {
    /// Never to zero: finds the way from afar.
    Huber,
    /// To zero: what is far out does not count at all.
    Tukey,
}

impl Loss {
    /// Weight of a residual over the scatter [-].
    pub fn weight(self, z: f64) -> f64 {
        match self {
            Self::Huber if z.abs() <= HUBER_C => 1.0,
            Self::Huber => HUBER_C / z.abs(),
            Self::Tukey => tukey_weight(z),
        }
    }
}

/// By how much the variance of means exceeds that of independent samples, for residuals in order of
/// time over their scatter [-]; each counts by its weight. `fitted` unknowns have taken their part
/// of the slow scatter away, about `fitted / n` of the variance at every lag.
pub(super) fn inflation(z: &[f64], weights: &[f64], fitted: usize) -> f64 {
    let u: Vec<f64> = z.iter().zip(weights).map(|(z, w)| z * w.sqrt()).collect();
    let square: f64 = u.iter().map(|u| u * u).sum();
    if square.is_nan() || square <= 0.0 {
        return 1.0;
    }
    let lags = longest_lag(u.len());
    let taken = fitted as f64 / u.len() as f64;
    let at = |lag: usize| {
        let product: f64 = u.iter().zip(&u[lag..]).map(|(a, b)| a * b).sum();
        (1.0 - lag as f64 / (lags + 1) as f64) * (product / square + taken)
    };
    (1.0 + 2.0 * (1..=lags).map(at).sum::<f64>()).max(1.0)
}

/// An eighth of the day.
fn longest_lag(samples: usize) -> usize {
    samples / 8
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn samples_that_come_in_runs_count_less() {
        let runs: Vec<f64> = (0..96).map(|i| f64::from(i / 12 % 2) * 2.0 - 1.0).collect();
        let turns: Vec<f64> = (0..96).map(|i| f64::from(i % 2) * 2.0 - 1.0).collect();
        let all = vec![1.0; 96];
        assert!(inflation(&runs, &all, 0) > 2.0);
        assert_eq!(inflation(&turns, &all, 0), 1.0);
        assert_eq!(inflation(&[0.0; 4], &[1.0; 4], 0), 1.0);
    }

    #[test]
    fn what_is_far_out_counts_nothing_by_tukey_and_little_by_huber() {
        assert_eq!(Loss::Tukey.weight(5.0), 0.0);
        assert_eq!(Loss::Tukey.weight(0.0), 1.0);
        assert!(Loss::Huber.weight(-10.0) < 0.2);
        assert_eq!(Loss::Huber.weight(-1.0), 1.0);
    }
}
