//! The power in the air mass, by a table and a short series: half the time of a library's power.
//!
//! Model:   c (96.07995 - z)^p with c = 0.50572, p = -1.6364.  96.07995 - z = m (1 + r), m the
//!          middle of one of 32 parts of each doubling, so |r| <= 1/64:
//!          c m^p (1 + p r + p (p - 1) r2 / 2 + ...), to r6
//! Symbols: z  apparent zenith [deg]
//! Range:   0 <= z <= 90; 1e-12 relative, the seventh power of 1/64 four times
//! Source:  as in `air_mass`; the binomial series. The table is computed when this is compiled.
//! Check:   below, against the standard library.

use super::angles::polynomial;
use super::exponential::{exp_series, ln_series};

/// Air mass on the horizon is finite because the sun stands this far above an end [deg].
const END_DEG: f64 = 96.079_95;
const SCALE: f64 = 0.505_72;
const POWER: f64 = -1.6364;

/// Bits of a double below the five that number the parts of a doubling.
const BELOW_PART: u32 = 52 - 5;
/// The part at which the table begins, 4 deg; it ends below 128 deg.
const FIRST: u64 = 4.0_f64.to_bits() >> BELOW_PART;
const PARTS: usize = 5 * 32;

/// 1 / m and c m^p of each part.
static TABLE: [(f64, f64); PARTS] = table();

const BINOMIAL: [f64; 7] = binomial();

/// The part of the air mass's divisor that does not vanish on the horizon [-]; zenith in deg,
/// 0 to 90.
#[inline]
pub(super) fn bent_path(zenith_deg: f64) -> f64 {
    let left = END_DEG - zenith_deg;
    let (per_middle, at_middle) = TABLE[((left.to_bits() >> BELOW_PART) - FIRST) as usize];
    at_middle * polynomial(&BINOMIAL, left * per_middle - 1.0)
}

const fn table() -> [(f64, f64); PARTS] {
    let mut table = [(0.0, 0.0); PARTS];
    let mut n = 0;
    while n < PARTS {
        let start = (FIRST + n as u64) << BELOW_PART;
        let middle = f64::from_bits(start | (1 << (BELOW_PART - 1)));
        table[n] = (1.0 / middle, SCALE / exp_series(-POWER * ln_series(middle)));
        n += 1;
    }
    table
}

const fn binomial() -> [f64; 7] {
    let mut terms = [1.0; 7];
    let mut n = 1;
    while n < terms.len() {
        terms[n] = terms[n - 1] * (POWER - (n as f64 - 1.0)) / n as f64;
        n += 1;
    }
    terms
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_series_is_the_power() {
        const RATIO: f64 = 1e-12;
        for hundredth in 0..=9000 {
            let z = f64::from(hundredth) / 100.0;
            let power = SCALE * (END_DEG - z).powf(POWER);
            let ratio = bent_path(z) / power;
            assert!((ratio - 1.0).abs() <= RATIO, "{z} deg: {ratio}");
        }
    }
}
