//! Sums that lose nothing.
//!
//! Model:   of decimals: whole numbers are added, and their sum is divided once, so that it is the
//!          double nearest to the true sum (up to 2^53 of the last place, then within two of them).
//!          Of other doubles: compensated summation (Neumaier's variant), which carries the part
//!          that each addition rounds away.
//! Range:   finite numbers whose sum is finite.
//! Check:   property tests below and in `cells_tests.rs`, against rational arithmetic.

use super::column::{power, wholes};

/// The sum.
pub(super) fn exact_sum(numbers: &[f64]) -> f64 {
    match wholes(numbers) {
        Some((places, wholes)) => decimal_sum(&wholes, places),
        None => compensated(numbers),
    }
}

/// Of whole numbers of decimal places.
pub(super) fn decimal_sum(wholes: &[i64], places: u8) -> f64 {
    let sum: i128 = wholes.iter().copied().map(i128::from).sum();
    let unit = power(places).expect("places come from numbers that were decoded with them");
    sum as f64 / unit
}

fn compensated(numbers: &[f64]) -> f64 {
    let (mut sum, mut lost) = (0.0_f64, 0.0_f64);
    for &number in numbers {
        let next = sum + number;
        lost += if sum.abs() >= number.abs() {
            (sum - next) + number
        } else {
            (number - next) + sum
        };
        sum = next;
    }
    // An overflow on the way leaves no number to carry.
    if lost.is_finite() { sum + lost } else { sum }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sum_of_tenths_is_the_nearest_double() {
        let tenths = vec![0.1; 10];
        assert_eq!(tenths.iter().sum::<f64>(), 0.999_999_999_999_999_9);
        assert_eq!(exact_sum(&tenths), 1.0);
    }

    #[test]
    fn what_an_addition_rounds_away_is_carried() {
        // No decimals of nine places.
        let third = 1.0 / 3.0;
        assert_eq!(exact_sum(&[third, 1e16, -1e16]), third);
    }
}
