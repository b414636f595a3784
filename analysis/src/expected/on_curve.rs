//! The light that an input shows while it is held back, by where on its curve it stands.
//!
//! Model:   right of the peak an input carries less than the light would let it: its current alone says
//!          the least that the light can be. The share s of the clear sky is one at which the curve has the
//!          measured current at the measured voltage,  I(V; s) = I.  There may be two: more light gives
//!          more current, and warmer cells, whose curve ends at a lower voltage. Then it is the one nearer
//!          to the light of just before. That light itself stands where there is none, or none near it and
//!          the curve passes the point closely: the cells are not as warm as assumed.
//! Symbols: s [-], I [A], V [V].
//! Range:   0 < s <= `MOST_SHARE`; the steeper the curve, the more an error of the cells' heat counts:
//!          1 K is some 2 % of the light at the shoulder and 5 % near the open circuit.
//! Source:  own; position along the curve is the project's design.
//! Check:   unit tests below; tests/acceptance/engine/limited_days.rs.

/// Edges of clouds give more than a clear sky [-].
const MOST_SHARE: f64 = 1.1;
/// A share that lies further off than this is another light [-].
const FAR: f64 = 0.15;
/// Shares at which the curve is tried, and halvings between two of them.
const STEP: f64 = 0.05;
const HALVINGS: u32 = 5;

/// The share of the clear sky [-], at least `least` and about `near`, at which `surplus` (the curve's
/// current less the measured one at the measured voltage [A]; `None` where there is no curve) is nothing,
/// or within `close_a` [A] close to it.
pub fn share_on_curve(
    least: f64,
    near: f64,
    close_a: f64,
    surplus: impl Fn(f64) -> Option<f64>,
) -> f64 {
    let near = near.max(least);
    let steps = ((MOST_SHARE - least) / STEP).ceil().max(0.0) as u32;
    let tried = (0..=steps).map(|n| (least + STEP * f64::from(n)).min(MOST_SHARE.max(least)));
    let tried: Vec<(f64, f64)> = tried
        .filter_map(|share| Some((share, surplus(share)?)))
        .collect();
    let crossed = tried.windows(2).filter(|two| two[0].1 * two[1].1 <= 0.0);
    let roots = crossed.map(|two| halved((two[0], two[1].0), &surplus));
    let apart = |share: &f64| (share - near).abs();
    let nearest = roots.min_by(|a, b| apart(a).total_cmp(&apart(b)));
    let passes = || surplus(near).is_some_and(|amps| amps.abs() <= close_a);
    nearest
        .filter(|share| apart(share) <= FAR || !passes())
        .unwrap_or(near)
}

/// Where the surplus changes its sign, between a share with its surplus and another share.
fn halved(
    ((mut low, at_low), mut high): ((f64, f64), f64),
    surplus: impl Fn(f64) -> Option<f64>,
) -> f64 {
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        match surplus(middle) {
            Some(amps) if amps * at_low > 0.0 => low = middle,
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
        let found = share_on_curve(0.3, 0.5, 1.0, |s| Some(10.0 * (s - 0.83)));
        assert!((found - 0.83).abs() < 0.001, "{found}");
    }

    #[test]
    fn of_two_shares_the_one_of_just_before_counts() {
        let surplus = |s: f64| Some(-(s - 0.52) * (s - 0.94));
        for (near, wanted) in [(0.5, 0.52), (1.0, 0.94), (0.8, 0.94)] {
            let found = share_on_curve(0.3, near, 0.0, surplus);
            assert!((found - wanted).abs() < 0.001, "{near}: {found}");
        }
    }

    #[test]
    fn a_curve_that_passes_closely_is_that_of_the_light_before() {
        let surplus = |s: f64| Some(20.0 * (s - 0.5));
        assert_eq!(share_on_curve(0.3, 0.9, 8.5, surplus), 0.9);
        assert!((share_on_curve(0.3, 0.9, 7.5, surplus) - 0.5).abs() < 0.001);
    }

    #[test]
    fn where_the_curve_never_has_it_the_light_stays_as_it_was() {
        assert_eq!(share_on_curve(0.3, 0.8, 0.5, |_| Some(-1.0)), 0.8);
        assert_eq!(share_on_curve(0.3, 0.8, 0.5, |_| None), 0.8);
        assert_eq!(share_on_curve(1.2, 1.0, 0.5, |_| Some(-1.0)), 1.2);
    }
}
