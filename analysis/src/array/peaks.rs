//! All peaks of a power whose slope falls between edges and jumps up at each.
//!
//! Model:   between two edges P' falls, so there is at most one peak, where P' goes through zero;
//!          on an edge there is none: a peak's slope is above zero before it and below after it.
//!          P' is asked at both ends and a little before and after every edge; where it is above
//!          zero at one of these places and not at the next, one peak lies between, and no peak
//!          lies elsewhere. A slope that begins above and ends below zero has at least one.
//!          Root: inverse quadratic interpolation where the last three points allow it, else
//!          halving (Chandrupatla).
//! Symbols: P' slope of the power over x, which is a voltage or a current
//! Range:   peaks to either side of an edge and both as near to it as `near` count as one.
//! Source:  the rule is own; T. Chandrupatla, Adv. Eng. Software 28 (1997) 145 (from memory,
//!          verify).
//! Check:   tests/data/reference/shade.csv and shade_parallel.csv, in which all peaks are found
//!          without edges (tests/reference/array.rs); `tests` below.

/// Width of the bracket of a root at which it is left, relative to its upper end.
const ROOT_RATIO: f64 = 1e-13;
/// Steps to a root end here at the latest: a third of them halve at the least.
const MAX_STEPS: u32 = 150;

/// Places of all peaks from 0 to `last`.
pub(super) fn peaks_between(
    edges: impl Iterator<Item = f64>,
    last: f64,
    near: f64,
    slope: impl Fn(f64) -> f64,
) -> Vec<f64> {
    let beside = edges.flat_map(|edge| [edge - near, edge + near]);
    let mut places: Vec<f64> = beside.filter(|x| (0.0..last).contains(x)).collect();
    places.extend([0.0, last]);
    places.sort_by(f64::total_cmp);
    let slopes: Vec<(f64, f64)> = places.into_iter().map(|x| (x, slope(x))).collect();
    let peaks = slopes
        .windows(2)
        .filter(|pair| pair[0].1 > 0.0 && pair[1].1 <= 0.0);
    peaks.map(|pair| root(pair[0], pair[1], &slope)).collect()
}

/// Root of what is above zero at `low` and below at `high`; an end that is not is the root.
pub(super) fn falling_root(low: f64, high: f64, value: impl Fn(f64) -> f64) -> f64 {
    let (at_low, at_high) = (value(low), value(high));
    if at_low <= 0.0 {
        low
    } else if at_high > 0.0 {
        high
    } else {
        root((low, at_low), (high, at_high), value)
    }
}

/// From two points on either side.
fn root(low: (f64, f64), high: (f64, f64), value: impl Fn(f64) -> f64) -> f64 {
    let tolerance = ROOT_RATIO * high.0.abs();
    // The root lies between a and b; c is the point before them.
    let (mut a, mut b) = (low, high);
    let mut share = 0.5;
    for _ in 0..MAX_STEPS {
        let x = a.0 + share * (b.0 - a.0);
        let new = (x, value(x));
        let c = if (new.1 > 0.0) == (a.1 > 0.0) {
            a
        } else {
            std::mem::replace(&mut b, a)
        };
        a = new;
        let best = if a.1.abs() < b.1.abs() { a } else { b };
        let width = (b.0 - a.0).abs();
        if best.1 == 0.0 || width <= tolerance {
            return best.0;
        }
        let least = 0.5 * tolerance / width;
        share = interpolated(a, b, c)
            .unwrap_or(0.5)
            .clamp(least, 1.0 - least);
    }
    f64::midpoint(a.0, b.0)
}

/// Share of the way from a to b, where the inverse is a parabola that stays between them.
fn interpolated(a: (f64, f64), b: (f64, f64), c: (f64, f64)) -> Option<f64> {
    let xi = (a.0 - b.0) / (c.0 - b.0);
    let phi = (a.1 - b.1) / (c.1 - b.1);
    let bends_little = phi * phi < xi && (1.0 - phi) * (1.0 - phi) < 1.0 - xi;
    bends_little.then(|| {
        let by_b = a.1 / (b.1 - a.1) * c.1 / (b.1 - c.1);
        let by_c = (c.0 - a.0) / (b.0 - a.0) * a.1 / (c.1 - a.1) * b.1 / (c.1 - b.1);
        by_b + by_c
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::cell::Cell;

    #[test]
    fn roots_of_bent_and_stepped_functions_are_found_in_few_steps() {
        /// What the bracket leaves of a root near its upper end, in each case below.
        const ROOTS: f64 = 1e-12;
        type Case = (fn(f64) -> f64, f64, f64, f64, u32);
        let cases: [Case; 4] = [
            (|x| 2.0 - x * x, 0.0, 3.0, 2f64.sqrt(), 12),
            (|x| 1e-9 - (40.0 * x).exp_m1(), -1.0, 1.0, 2.5e-11, 60),
            (|x| if x < 0.3 { 1.0 } else { -1e-9 }, 0.0, 1.0, 0.3, 60),
            (|x| -(x - 1.0).cbrt(), 0.0, 7.0, 1.0, 60),
        ];
        for (n, (f, low, high, wanted, most)) in cases.into_iter().enumerate() {
            let asked = Cell::new(0);
            let found = falling_root(low, high, |x| {
                asked.set(asked.get() + 1);
                f(x)
            });
            assert!((found - wanted).abs() < ROOTS * high, "{n}: {found}");
            assert!(asked.get() <= most, "{n}: {} steps", asked.get());
        }
    }

    #[test]
    fn an_end_on_the_wrong_side_is_the_root() {
        assert_eq!(falling_root(1.0, 2.0, |x| -x), 1.0);
        assert_eq!(falling_root(1.0, 2.0, |x| x), 2.0);
    }

    /// Three parabolas: the slope falls by 2 for each unit and jumps up by 3 at 2 and by 0.5 at 4.
    #[test]
    fn a_peak_is_found_in_each_stretch_that_has_one() {
        let slope = |x: f64| {
            let jumps = if x > 2.0 { 3.0 } else { 0.0 } + if x > 4.0 { 0.5 } else { 0.0 };
            2.0 - 2.0 * x + jumps
        };
        let found = peaks_between([4.0, 2.0].into_iter(), 6.0, 1e-6, slope);
        let off = |(found, wanted): (&f64, f64)| (found - wanted).abs();
        assert_eq!(found.len(), 2, "{found:?}");
        assert!(
            found.iter().zip([1.0, 2.5]).map(off).all(|off| off < 1e-11),
            "{found:?}"
        );
    }

    /// An edge so slight that the fall beside it outweighs its jump: the peak there is not lost.
    #[test]
    fn a_peak_on_a_slight_edge_is_found_once() {
        let slope = |x: f64| 1.0 - x + if x > 1.0 { 1e-9 } else { 0.0 };
        let found = peaks_between([1.0].into_iter(), 2.0, 1e-6, slope);
        assert_eq!(found.len(), 1, "{found:?}");
        assert!((found[0] - 1.0).abs() < 2e-6);
    }
}
