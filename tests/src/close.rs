//! Comparison of a computed number with a wanted one.
//! Never in here: a tolerance; it is a named constant beside its reason, in the test.

/// Panics unless two numbers are within a tolerance of each other; NaN is within nothing.
///
/// `assert_close!(computed, wanted, tolerance, label)`, all but the label `f64`.
#[macro_export]
macro_rules! assert_close {
    ($computed:expr, $wanted:expr, $tolerance:expr, $label:expr $(,)?) => {{
        let (computed, wanted, tolerance): (f64, f64, f64) = ($computed, $wanted, $tolerance);
        let error = (computed - wanted).abs();
        assert!(
            error <= tolerance,
            "{}: computed {computed}, wanted {wanted}, off by {error:e}, allowed {tolerance:e}",
            $label
        );
    }};
}

/// A tolerance in the unit of `wanted` from one relative to it.
pub fn relative(ratio: f64, wanted: f64) -> f64 {
    ratio * wanted.abs()
}
