//! The light that an input shows while it is held back, by where on its curve it stands.
//!
//! Model:   right of the peak an input carries less than the light would let it: its current alone says
//!          the least that the light can be. The share s of the clear sky is that at which the curve
//!          has the measured current at the measured voltage,  I(V; s) = I,  the least one from there on.
//!          Warmer cells in more light may keep the curve from ever having it: then the share at which it
//!          comes nearest.
//! Symbols: s [-], I [A], V [V].
//! Range:   0 < s <= `MOST_SHARE`; the steeper the curve, the more an error of the cells' heat counts:
//!          1 K is some 2 % of the light at the shoulder and 5 % near the open circuit.
//! Source:  own; position along the curve is the project's design.
//! Check:   unit tests below; tests/acceptance/engine/limited_days.rs.

/// Edges of clouds give more than a clear sky [-].
const MOST_SHARE: f64 = 1.1;
/// Shares at which the curve is tried until it has enough, and halvings after that.
const STEP: f64 = 0.05;
const HALVINGS: u32 = 5;

/// The share of the clear sky [-], at least `least`, at which `surplus` (the curve's current less the
/// measured one at the measured voltage [A]; `None` where there is no curve) is nothing.
pub fn share_on_curve(least: f64, surplus: impl Fn(f64) -> Option<f64>) -> f64 {
    let (mut low, mut nearest) = (least, (least, f64::NEG_INFINITY));
    while low < MOST_SHARE {
        let high = (low + STEP).min(MOST_SHARE);
        let Some(amps) = surplus(high) else {
            return nearest.0;
        };
        if amps >= 0.0 {
            return halved((low, high), surplus);
        }
        if amps > nearest.1 {
            nearest = (high, amps);
        }
        low = high;
    }
    nearest.0
}

fn halved((mut low, mut high): (f64, f64), surplus: impl Fn(f64) -> Option<f64>) -> f64 {
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        match surplus(middle) {
            Some(amps) if amps < 0.0 => low = middle,
            _ => high = middle,
        }
    }
    f64::midpoint(low, high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_share_is_where_the_curve_has_the_current() {
        let found = share_on_curve(0.3, |s| Some(10.0 * (s - 0.83)));
        assert!((found - 0.83).abs() < 0.001, "{found}");
    }

    #[test]
    fn where_the_curve_never_has_it_the_nearest_counts() {
        let found = share_on_curve(0.3, |s| Some(-1.0 - (s - 0.7).powi(2)));
        assert!((found - 0.7).abs() < 0.03, "{found}");
        assert_eq!(share_on_curve(0.3, |_| None), 0.3);
        assert_eq!(share_on_curve(1.2, |_| Some(-1.0)), 1.2);
    }
}
