//! Middle and scatter of numbers among which a few may be wrong.
//!
//! Model:   median; 1.4826 x the median of the absolute deviations from it;
//!          weight (1 - (z / c)^2)^2 inside c, 0 outside, z error over scatter, c = 4.685
//! Range:   at least one number, none of them NaN.
//! Source:  1.4826 makes the second a standard deviation for normal numbers (textbook);
//!          c for 95 % efficiency in normal noise, A. E. Beaton and J. W. Tukey, Technometrics 16
//!          (1974) 147 (from memory, verify).
//! Check:   tests below.

/// Of numbers that look normal, over the median of their absolute deviations.
const NORMAL: f64 = 1.4826;

/// The median of n normal numbers scatters as much more than their mean, for large n: sqrt(pi / 2)
/// (textbook) [-].
pub(crate) const MEDIAN_OVER_MEAN: f64 = 1.2533;

/// The middle number, or the mean of the two in the middle; `None` of none.
pub fn median(numbers: impl IntoIterator<Item = f64>) -> Option<f64> {
    let mut sorted: Vec<f64> = numbers.into_iter().collect();
    sorted.sort_unstable_by(f64::total_cmp);
    let middle = sorted.len() / 2;
    let upper = *sorted.get(middle)?;
    Some(if sorted.len() % 2 == 1 {
        upper
    } else {
        f64::midpoint(sorted[middle - 1], upper)
    })
}

/// Standard deviation about a middle that a few wrong numbers do not move; `None` of no numbers.
pub fn robust_spread(numbers: impl IntoIterator<Item = f64>, middle: f64) -> Option<f64> {
    let deviations = numbers.into_iter().map(|x| (x - middle).abs());
    median(deviations).map(|deviation| NORMAL * deviation)
}

/// Width of [`tukey_weight`] [-].
pub(crate) const TUKEY_WIDTH: f64 = 4.685;

/// Weight of an error over the scatter [-]: what is far out does not count at all.
pub fn tukey_weight(z: f64) -> f64 {
    let u = z / TUKEY_WIDTH;
    if u.abs() < 1.0 {
        (1.0 - u * u).powi(2)
    } else {
        0.0
    }
}

/// What an error over the scatter adds to a sum that those weights make least, over the most that one
/// can add [-].
pub(crate) fn tukey_loss(z: f64) -> f64 {
    let u = z / TUKEY_WIDTH;
    1.0 - (1.0 - (u * u).min(1.0)).powi(3)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wild_number_moves_neither() {
        let numbers = [1.0, 2.0, 3.0, 4.0, 1e9];
        assert_eq!(median(numbers), Some(3.0));
        assert_eq!(robust_spread(numbers, 3.0), Some(NORMAL));
    }

    #[test]
    fn a_quarter_of_wild_values_does_not_move_the_middle() {
        let values = || (0..100).map(|i| if i < 25 { 1e6 } else { f64::from(i % 10) });
        assert!(median(values()).is_some_and(|middle| middle < 10.0));
        assert!(robust_spread(values(), 0.0).is_some_and(|spread| spread < 15.0));
        assert_eq!(median([1.0, 2.0]), Some(1.5));
    }

    #[test]
    fn of_two_in_the_middle_it_is_their_mean_and_of_none_nothing() {
        assert_eq!(median([4.0, 1.0, 2.0, 3.0]), Some(2.5));
        assert_eq!(median([]), None);
    }
}
