//! Slope of a line through points of which a few may be wrong, with its interval.
//!
//! Model:   b = median of (y_j - y_i) / (x_j - x_i) over all pairs with x_i < x_j            eq. (1)
//!          interval: the slopes of rank (N -+ z s) / 2 among all N                          eq. (2)
//!          s^2 = [n (n-1) (2n+5) - sum t (t-1) (2t+5)] / 18                                 eq. (3)
//! Symbols: n points, N slopes, z quantile of the normal distribution for the interval,
//!          t size of a group of equal x or of equal y
//! Range:   at least two different x; otherwise `None`. Points are taken as independent of each
//!          other: where they are not, the interval is too narrow.
//! Source:  P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379-1389, after H. Theil (1950); the ranks and
//!          the correction for ties as in SciPy's `stats.theilslopes`.
//! Check:   tests below, against SciPy 1.17.1.

use super::median;

/// A slope with the two ends of its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slope {
    /// Median of the slopes of all pairs.
    pub middle: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
}

/// Two-sided intervals as the normal distribution gives them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Interval {
    /// 95 %.
    NinetyFive,
    /// 99 %.
    NinetyNine,
}

impl Interval {
    /// Half its width for a standard deviation of 1.
    pub const fn z(self) -> f64 {
        match self {
            Interval::NinetyFive => 1.959_964,
            Interval::NinetyNine => 2.575_829,
        }
    }
}

/// Slopes of all pairs of points at different x.
pub(crate) fn pair_slopes(points: &[(f64, f64)]) -> impl Iterator<Item = f64> {
    let later = move |n: usize| points[n + 1..].iter().map(move |q| (points[n], *q));
    (0..points.len())
        .flat_map(later)
        .filter(|(p, q)| p.0 != q.0)
        .map(|(p, q)| (q.1 - p.1) / (q.0 - p.0))
}

/// The slope of y over x, in units of y over x.
pub fn robust_slope(points: &[(f64, f64)], interval: Interval) -> Option<Slope> {
    let mut slopes: Vec<f64> = pair_slopes(points).collect();
    slopes.sort_by(f64::total_cmp);
    let middle = median(slopes.iter().copied())?; // eq. (1)
    let reach = interval.z() * spread(points);
    let count = slopes.len() as f64;
    // eq. (2), ranks from 0; an interval that reaches past the ends stops there, as in SciPy.
    let high_rank = ((count + reach) / 2.0).round_ties_even().min(count - 1.0);
    let low_rank = (((count - reach) / 2.0).round_ties_even() - 1.0).max(0.0);
    Some(Slope {
        middle,
        low: slopes[low_rank as usize],
        high: slopes[high_rank as usize],
    })
}

/// Standard deviation of the number of rising less falling pairs, eq. (3).
fn spread(points: &[(f64, f64)]) -> f64 {
    let of = |n: f64| n * (n - 1.0) * (2.0 * n + 5.0);
    let ties = |mut numbers: Vec<f64>| -> f64 {
        numbers.sort_by(f64::total_cmp);
        let groups = numbers.chunk_by(|a, b| a == b);
        groups.map(|group| of(group.len() as f64)).sum()
    };
    let in_x = ties(points.iter().map(|p| p.0).collect());
    let in_y = ties(points.iter().map(|p| p.1).collect());
    ((of(points.len() as f64) - in_x - in_y) / 18.0)
        .max(0.0)
        .sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Kind of truth: reference. SciPy 1.17.1, `scipy.stats.theilslopes(y, x, alpha)`, run by hand;
    /// the numbers fed in are our own, with ties and a wild one.
    #[test]
    fn the_slope_and_its_interval_are_those_of_scipy() {
        /// Sums and quotients of a few doubles.
        const TOLERANCE: f64 = 1e-12;
        let irregular: Vec<(f64, f64)> = [0.0, 1.0, 2.0, 4.0, 5.0, 7.0, 8.0, 11.0, 12.0, 15.0]
            .into_iter()
            .zip([6.0, 5.9, 6.1, 5.8, 5.8, 5.5, 3.0, 5.4, 5.5, 5.1])
            .collect();
        let wavy: Vec<(f64, f64)> = (0..12)
            .map(|i| {
                (
                    f64::from(i),
                    f64::from((3 * i * i) % 7) - 0.25 * f64::from(i),
                )
            })
            .collect();
        let cases = [
            (
                &irregular,
                Interval::NinetyFive,
                [-0.06, -0.1, -0.036_363_636_363_636_4],
            ),
            (&irregular, Interval::NinetyNine, [-0.06, -0.15, 0.0]),
            (
                &wavy,
                Interval::NinetyFive,
                [-0.104_166_666_666_666_66, -0.25, 0.416_666_666_666_666_7],
            ),
            (
                &wavy,
                Interval::NinetyNine,
                [-0.104_166_666_666_666_66, -0.75, 0.75],
            ),
        ];
        for (points, interval, wanted) in cases {
            let slope = robust_slope(points, interval).expect("there are points");
            for (found, wanted) in [slope.middle, slope.low, slope.high].iter().zip(wanted) {
                assert!(
                    (found - wanted).abs() < TOLERANCE,
                    "{slope:?}, wanted {wanted}"
                );
            }
        }
    }

    #[test]
    fn points_at_one_place_have_no_slope() {
        assert_eq!(robust_slope(&[], Interval::NinetyFive), None);
        assert_eq!(
            robust_slope(&[(1.0, 2.0), (1.0, 3.0)], Interval::NinetyFive),
            None
        );
    }

    proptest! {
        /// Three of twenty numbers may be anything.
        #[test]
        fn a_few_wild_numbers_do_not_turn_a_straight_line(
            slope in -2.0..2.0_f64,
            wild in prop::collection::btree_map(0_usize..20, -1e6..1e6_f64, 0..=3),
        ) {
            let straight = |i: usize| (i as f64, wild.get(&i).copied().unwrap_or(slope * i as f64));
            let points: Vec<_> = (0..20).map(straight).collect();
            let found = robust_slope(&points, Interval::NinetyFive).expect("twenty places");
            prop_assert!((found.middle - slope).abs() < 1e-9, "{found:?}");
            prop_assert!(found.low <= found.middle && found.middle <= found.high);
        }
    }
}
