//! Sine, cosine and the angle from the vertical as polynomials, for what is computed at every
//! instant: they are compiled into the formula round them, where a library's would be called.
//!
//! Model:   sin x, cos x: Taylor series over an eighth of a turn either way (cos alone: a quarter),
//!          the rest of the angle by quarter turns.
//!          z = l p(2 u - 1), 0 <= u <= 1: arccos u over sqrt(1 - u2) is smooth up to u = 1 and
//!          beyond, so a polynomial through its values at 13 Chebyshev nodes follows it.
//! Symbols: u, l  upward and level part of a direction of length one [-]    z  from vertical [rad]
//! Range:   sin, cos: below 1e6 turns, 1e-14;  z: any direction, 1e-10 rad
//! Source:  series; the nodes' polynomial is own, from arccos in 18 digits
//! Check:   below, against the standard library.

use std::f64::consts::{FRAC_1_PI, PI};

/// Added and taken off again it rounds to a whole number, which the last bits of the sum hold:
/// 1.5 x 2^52.
pub(super) const WHOLE: f64 = 6_755_399_441_055_744.0;
/// pi in two parts; the first has 32 bits, so that whole multiples of it are exact.
const PI_HIGH: f64 = 3.141_592_653_468_251_2;
const PI_LOW: f64 = 1.215_420_101_301_238_4e-10;

/// (sin x) / x and cos x as series of x2.
const SIN: [f64; 7] = [
    1.0,
    -1.0 / 6.0,
    1.0 / 120.0,
    -1.0 / 5040.0,
    1.0 / 362_880.0,
    -1.0 / 39_916_800.0,
    1.0 / 6_227_020_800.0,
];
const COS: [f64; 11] = [
    1.0,
    -1.0 / 2.0,
    1.0 / 24.0,
    -1.0 / 720.0,
    1.0 / 40_320.0,
    -1.0 / 3_628_800.0,
    1.0 / 479_001_600.0,
    -1.0 / 87_178_291_200.0,
    1.0 / 20_922_789_888_000.0,
    -1.0 / 6_402_373_705_728_000.0,
    1.0 / 2_432_902_008_176_640_000.0,
];
/// As many terms of the cosine as an eighth of a turn needs.
const COS_OF_EIGHTH: [f64; 8] = [
    COS[0], COS[1], COS[2], COS[3], COS[4], COS[5], COS[6], COS[7],
];

/// Coefficients of p, from the constant upwards.
const ARC: [f64; 13] = [
    1.209_199_576_156_145_2,
    -0.263_600_140_496_894_06,
    0.069_733_191_799_292_65,
    -0.019_837_168_803_802_978,
    0.005_861_636_025_766_861,
    -0.001_772_755_034_421_485_2,
    0.000_544_718_107_193_312_3,
    -0.000_169_894_314_919_896_82,
    5.326_197_894_442_977e-5,
    -1.580_591_525_424_005e-5,
    5.010_453_450_791_608e-6,
    -2.398_764_801_821_91e-6,
    7.688_549_402_269_07e-7,
];

/// Cosine of an angle [rad].
#[inline]
pub(super) fn cos(angle: f64) -> f64 {
    let shifted = angle * FRAC_1_PI + WHOLE;
    let half_turns = shifted - WHOLE;
    let x = (angle - half_turns * PI_HIGH) - half_turns * PI_LOW;
    with_sign(polynomial(&COS, x * x), shifted.to_bits())
}

/// Sine and cosine of an angle [deg].
#[inline]
pub(super) fn sin_cos_deg(angle: f64) -> (f64, f64) {
    let shifted = angle * (1.0 / 90.0) + WHOLE;
    let (sin, cos) = sin_cos_of_eighth((angle - (shifted - WHOLE) * 90.0).to_radians());
    let quarters = shifted.to_bits();
    let (sin, cos) = if quarters & 1 == 0 {
        (sin, cos)
    } else {
        (cos, sin)
    };
    (
        with_sign(sin, quarters >> 1),
        with_sign(cos, (quarters >> 1) ^ quarters),
    )
}

/// Sine and cosine of not much more than an eighth of a turn either way [rad].
#[inline]
pub(super) fn sin_cos_of_eighth(x: f64) -> (f64, f64) {
    let square = x * x;
    (
        x * polynomial(&SIN, square),
        polynomial(&COS_OF_EIGHTH, square),
    )
}

/// Angle from the vertical [rad] of a direction with this upward and level part.
#[inline]
pub(super) fn from_vertical(up: f64, level: f64) -> f64 {
    let t = 2.0 * up.abs() - 1.0;
    let arc = level * polynomial(&ARC, t);
    if up < 0.0 { PI - arc } else { arc }
}

/// Coefficients from the constant upwards. The even and the odd ones run side by side: half as long
/// a row of sums, each of which waits for the one before.
#[inline]
pub(super) fn polynomial<const N: usize>(coefficients: &[f64; N], x: f64) -> f64 {
    let square = x * x;
    let (mut odd, mut even) = (coefficients[N - 1], coefficients[N - 2]);
    for n in (0..N - 2).rev() {
        // Whichever is the odd one: the coefficients take turns.
        (odd, even) = (even, odd * square + coefficients[n]);
    }
    even + x * odd
}

/// A whole number from 0 to below 2^52. A conversion by the processor leaves half of its register
/// as it was, so an instant would wait for the one before it; these are the last bits of a large
/// number that is taken off again.
#[inline]
pub(super) fn whole_number(n: u64) -> f64 {
    const LARGE: f64 = 4_503_599_627_370_496.0; // 2^52
    f64::from_bits(LARGE.to_bits() | n) - LARGE
}

/// The value, turned over where the last bit is set.
#[inline]
fn with_sign(value: f64, last_bit: u64) -> f64 {
    f64::from_bits(value.to_bits() ^ (last_bit << 63))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The series' next term, at the end of its range: 2e-14 of the sine.
    const SERIES: f64 = 3e-14;
    const ARC_RAD: f64 = 1e-10;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(20_000))]

        #[test]
        fn sine_and_cosine_are_the_librarys(angle in -1e6..1e6f64) {
            prop_assert!((cos(angle) - angle.cos()).abs() <= SERIES, "{}", angle);
            let (sin, cos) = sin_cos_deg(angle);
            let exact = (angle % 360.0).to_radians();
            prop_assert!((sin - exact.sin()).abs() <= SERIES, "{} deg", angle);
            prop_assert!((cos - exact.cos()).abs() <= SERIES, "{} deg", angle);
        }

        #[test]
        fn the_angle_from_the_vertical_is_the_arc_of_its_cosine(z in 0.0..PI) {
            let (level, up) = z.sin_cos();
            prop_assert!((from_vertical(up, level) - z).abs() <= ARC_RAD, "{}", z);
        }
    }

    #[test]
    fn quarter_turns_are_exact() {
        for (deg, wanted) in [(0.0, (0.0, 1.0)), (90.0, (1.0, 0.0)), (180.0, (0.0, -1.0))] {
            assert_eq!(sin_cos_deg(deg), wanted, "{deg}");
            assert_eq!(sin_cos_deg(deg - 720.0), wanted, "{deg}");
        }
        assert_eq!(sin_cos_deg(-90.0), (-1.0, 0.0));
        assert_eq!(from_vertical(1.0, 0.0), 0.0);
        assert_eq!(from_vertical(-1.0, 0.0), PI);
    }
}
