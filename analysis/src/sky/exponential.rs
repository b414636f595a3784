//! Exponential and natural logarithm by a table and a short series, for what is computed at every
//! instant: they are compiled into the formula round them, where a library's would be called.
//!
//! Model:   e^x = 2^(n/32) e^r, n the whole number nearest to 32 x / ln 2, so |r| <= ln 2 / 64
//!          ln x = e ln 2 + ln m + ln(1 + r), x = 2^e m (1 + r), m the middle of one of 128 parts
//!          of each doubling, so |r| <= 1/256
//! Range:   e^x: any, 5e-15 relative, beyond -700 to 700 the library's;  ln x: every normal number
//!          above zero, to 5e-15 and the last two digits
//! Source:  series. The tables are computed when this is compiled.
//! Check:   below, against the standard library.

use super::angles::{WHOLE, polynomial, whole_number};
use std::f64::consts::LN_2;

/// Bits of a double below its exponent.
const MANTISSA: u32 = 52;
const ONE: u64 = 1.0_f64.to_bits();
/// What the bits of an exponent have too much.
const BIAS: f64 = 1023.0;

/// Where the bits of e^x come near their ends.
const LAST: f64 = 700.0;
/// Parts of a doubling in the table of powers.
const STEPS: usize = 32;
/// ln 2 / 32 in two parts; the first has 32 bits, so that whole multiples of it are exact.
const STEP_HIGH: f64 = f64::from_bits((LN_2 / 32.0).to_bits() & !0x1f_ffff);
/// ln 2 has these more digits than a double.
const STEP_LOW: f64 = (LN_2 / 32.0 - STEP_HIGH) + 2.319_046_813_846_299_6e-17 / 32.0;
/// 2^(n/32).
static POWERS: [f64; STEPS] = powers();
/// e^r.
const EXP: [f64; 6] = [1.0, 1.0, 1.0 / 2.0, 1.0 / 6.0, 1.0 / 24.0, 1.0 / 120.0];

/// Bits that number the parts of a doubling in the table of logarithms.
const PART_BITS: u32 = 7;
const PARTS: usize = 1 << PART_BITS;
/// 1 / m and ln m of each part.
static LOGARITHMS: [(f64, f64); PARTS] = logarithms();
/// ln(1 + r) / r.
const LN_1P: [f64; 5] = [1.0, -1.0 / 2.0, 1.0 / 3.0, -1.0 / 4.0, 1.0 / 5.0];

/// e^x.
#[inline]
pub(crate) fn exp(x: f64) -> f64 {
    if !(-LAST..=LAST).contains(&x) {
        return far_exp(x); // and what is not a number
    }
    let shifted = x * (STEPS as f64 / LN_2) + WHOLE;
    let n = shifted - WHOLE;
    let r = (x - n * STEP_HIGH) - n * STEP_LOW;
    let bits = shifted.to_bits();
    let power = POWERS[bits as usize % STEPS];
    // n / 32 without its rest, added to the exponent; what stands above it in the bits falls off.
    let doublings = (bits >> STEPS.trailing_zeros()) << MANTISSA;
    f64::from_bits(
        (power * polynomial(&EXP, r))
            .to_bits()
            .wrapping_add(doublings),
    )
}

#[cold]
fn far_exp(x: f64) -> f64 {
    x.exp()
}

/// Natural logarithm of a normal number above zero; of others, some number.
#[inline]
pub(crate) fn ln(x: f64) -> f64 {
    let bits = x.to_bits();
    let (per_middle, ln_middle) = LOGARITHMS[(bits >> (MANTISSA - PART_BITS)) as usize % PARTS];
    let mantissa = f64::from_bits(bits & ((1 << MANTISSA) - 1) | ONE);
    let doublings = whole_number(bits >> MANTISSA) - BIAS;
    let r = mantissa * per_middle - 1.0;
    (doublings * LN_2 + ln_middle) + r * polynomial(&LN_1P, r)
}

const fn powers() -> [f64; STEPS] {
    let mut table = [0.0; STEPS];
    let mut n = 0;
    while n < STEPS {
        table[n] = exp_series(n as f64 * LN_2 / STEPS as f64);
        n += 1;
    }
    table
}

const fn logarithms() -> [(f64, f64); PARTS] {
    let mut table = [(0.0, 0.0); PARTS];
    let mut n = 0;
    while n < PARTS {
        let middle = 1.0 + (n as f64 + 0.5) / PARTS as f64;
        table[n] = (1.0 / middle, ln_series(middle));
        n += 1;
    }
    table
}

/// Natural logarithm of 1 or more: halvings, then the series of 2 artanh.
pub(super) const fn ln_series(x: f64) -> f64 {
    let (mut rest, mut doublings) = (x, 0.0);
    while rest >= 2.0 {
        rest *= 0.5;
        doublings += 1.0;
    }
    let t = (rest - 1.0) / (rest + 1.0);
    // t is a third at most: 20 terms of the series, the smallest first.
    let (mut sum, mut n) = (0.0, 39.0);
    while n > 0.0 {
        sum = sum * t * t + 1.0 / n;
        n -= 2.0;
    }
    doublings * LN_2 + 2.0 * t * sum
}

/// Exponential of 0 to 8, where no term of the series takes from another.
pub(super) const fn exp_series(x: f64) -> f64 {
    let (mut value, mut n) = (1.0, 60.0);
    while n > 0.0 {
        value = 1.0 + value * x / n;
        n -= 1.0;
    }
    value
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The series' next term and a few roundings; the argument has 16 digits of its own.
    const SERIES: f64 = 5e-15;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(20_000))]

        #[test]
        fn the_exponential_is_the_librarys(x in -700.0..700.0f64) {
            let ratio = exp(x) / x.exp();
            prop_assert!((ratio - 1.0).abs() <= SERIES, "{}: {}", x, ratio);
        }

        #[test]
        fn the_logarithm_is_the_librarys(x in prop::num::f64::POSITIVE) {
            prop_assume!(x.is_normal());
            let rounding = SERIES + 2.0 * x.ln().abs() * f64::EPSILON;
            prop_assert!((ln(x) - x.ln()).abs() <= rounding, "{}", x);
        }
    }

    #[test]
    fn known_exponentials_and_what_is_no_number() {
        assert_eq!(exp(0.0), 1.0);
        assert_eq!(exp(f64::NEG_INFINITY), 0.0);
        assert_eq!(exp(f64::INFINITY), f64::INFINITY);
        assert!(exp(f64::NAN).is_nan());
        for n in [-1000, -1, 1, 7, 1000] {
            let ratio = exp(f64::from(n) * LN_2 / 2.0) / 2.0_f64.powf(f64::from(n) / 2.0);
            assert!((ratio - 1.0).abs() <= SERIES * 20.0, "{n}: {ratio}");
        }
    }
}
