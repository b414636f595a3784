//! Relations between two numbers of one table.

use crate::problem::{Fault, Problems};
use crate::table::{At, Found};

/// A key's name, its number if known, and its unit.
pub(crate) type Number<'a> = (&'static str, &'a Option<Found<f64>>, &'static str);

/// Reports when `low` is not below `high`; says nothing where one of them is unknown.
pub(crate) fn below(at: &At, low: Number<'_>, high: Number<'_>, problems: &mut Problems<'_>) {
    compare(at, low, high, ("below", |low, high| low < high), problems);
}

/// Reports when `low` is above `high`; says nothing where one of them is unknown.
pub(crate) fn at_most(at: &At, low: Number<'_>, high: Number<'_>, problems: &mut Problems<'_>) {
    compare(at, low, high, ("at most", |l, h| l <= h), problems);
}

fn compare(
    at: &At,
    (low_name, low, low_unit): Number<'_>,
    (high_name, high, high_unit): Number<'_>,
    (word, holds): (&str, fn(f64, f64) -> bool),
    problems: &mut Problems<'_>,
) {
    let Some((low, high)) = low.as_ref().zip(high.as_ref()) else {
        return;
    };
    if holds(low.value, high.value) {
        return;
    }
    let found = format!("{} {low_unit}", low.value);
    let wanted = format!("{word} {high_name} = {} {high_unit}", high.value);
    problems.add(
        Fault::Contradiction,
        &low.span,
        at.key(low_name),
        found,
        wanted,
    );
}
