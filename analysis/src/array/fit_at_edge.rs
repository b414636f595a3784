//! The nearest curve without shunt, or without series resistance, for a datasheet whose peak asks
//! for less than none of it.
//!
//! Such a peak has a bit too much current and too little voltage for its power, or the reverse:
//! values are rounded, or means over a class. The power is right all the same.
//!
//! Model:   (0, Isc) and (Voc, 0) on the curve, and its largest power is Vmp Imp; G_sh = 0, or
//!          R_s = 0, and the other one follows. Of these curves, over all n, the one with the
//!          nearest voltages at the peak and 25 K away:
//!          |Vmp,fit - Vmp| / Vmp + 25 K |beta,fit - beta| / Voc is least.              eq. (1)
//! Symbols: as in `fit`.
//! Range:   as in `fit`; no curve where the power is above that of every ideal diode.
//! Source:  own.
//! Check:   `property_tests`: power, Isc and Voc are given back, Vmp to a bound.

use super::fit::{AtIdeality, HALVINGS, Points, idealities};

/// A usual distance of a module from 25 degC.
const WARMTH_K: f64 = 25.0;
/// Of the shunt that alone would carry Isc at Voc; with all of it there is no diode left.
const MOST_SHUNT_RATIO: f64 = 0.99;

/// The best of all idealities; `None` where none reaches the power.
pub(super) fn nearest_at_edge(points: &Points) -> Option<AtIdeality> {
    idealities()
        .map(|n| points.modified(n))
        .flat_map(|a| [without_shunt(points, a), without_series(points, a)])
        .flatten()
        .map(|solved| (voltage_error(points, &solved), solved))
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, solved)| solved)
}

fn without_shunt(points: &Points, a: f64) -> Option<AtIdeality> {
    at_power(points, points.most_series_ohm(), |rs| {
        points.with_shunt(a, rs, 0.0)
    })
}

fn without_series(points: &Points, a: f64) -> Option<AtIdeality> {
    let most = MOST_SHUNT_RATIO * points.isc / points.voc;
    at_power(points, most, |gsh| points.with_shunt(a, 0.0, gsh))
}

/// The loss, R_s or G_sh, up to `most` that leaves the wanted power, which falls as it grows.
fn at_power(points: &Points, most: f64, with: impl Fn(f64) -> AtIdeality) -> Option<AtIdeality> {
    let wanted = points.vmp * points.imp;
    let reaches = |loss| with(loss).curve().max_power().power().w() >= wanted;
    let (mut low, mut high) = (0.0, most);
    if !reaches(low) || reaches(high) {
        return None;
    }
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if reaches(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(with(low))
}

fn voltage_error(points: &Points, solved: &AtIdeality) -> f64 {
    let vmp = solved.curve().max_power().voltage.v();
    (vmp / points.vmp - 1.0).abs() + WARMTH_K * (solved.beta_error / points.voc).abs() // eq. (1)
}
