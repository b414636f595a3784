//! How many standard errors a mean of few may be off.
//!
//! Model:   t with P(|T| <= t) = 0.95. With T = sqrt(nu) tan(phi) the density is cos(phi)^(nu - 1)
//!          up to a factor; t lies where 0.95 of its integral to pi/2 is reached.            eq. (1)
//! Symbols: nu degrees of freedom [-]
//! Range:   nu >= 1; above `LIKE_NORMAL` as there (1e-4 from the normal distribution).
//! Source:  Student's distribution; the substitution is own.
//! Check:   below, against printed tables of the distribution.

/// From here on more degrees of freedom change nothing that matters.
const LIKE_NORMAL: u32 = 10_000;
/// Steps of the trapezoids: at most 2e-7 of the result.
const STEPS: u32 = 20_000;

/// Half the width of a two-sided 95 % interval, in standard errors.
pub(crate) fn student_t_95(degrees_of_freedom: u32) -> Option<f64> {
    let nu = f64::from(degrees_of_freedom.min(LIKE_NORMAL));
    if degrees_of_freedom == 0 {
        return None;
    }
    // Beyond forty standard deviations of the angle nothing is left.
    let end = (40.0 / nu.sqrt()).min(std::f64::consts::FRAC_PI_2);
    let step = end / f64::from(STEPS);
    let density = |n: u32| (f64::from(n) * step).cos().max(0.0).powf(nu - 1.0);
    let area = |n: u32| 0.5 * step * (density(n) + density(n + 1));
    let wanted = 0.95 * (0..STEPS).map(area).sum::<f64>(); // eq. (1)
    let mut sum = 0.0;
    for n in 0..STEPS {
        let next = sum + area(n);
        if next >= wanted {
            let share = (wanted - sum) / (next - sum);
            let angle = (f64::from(n) + share) * step;
            return Some(nu.sqrt() * angle.tan());
        }
        sum = next;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Kind of truth: reference. Tables of Student's distribution, as every handbook prints them;
    /// the same from SciPy 1.17.1, `scipy.stats.t.ppf(0.975, nu)`, run by hand.
    #[test]
    fn the_intervals_are_those_of_the_tables() {
        for (nu, wanted) in [
            (1, 12.706_204_74),
            (2, 4.302_652_73),
            (4, 2.776_445_105),
            (10, 2.228_138_852),
            (30, 2.042_272_456),
            (120, 1.979_930_405),
            (1726, 1.961_339_365),
        ] {
            let found = student_t_95(nu).expect("at least one");
            assert!(
                (found / wanted - 1.0).abs() < 1e-6,
                "{nu}: {found}, wanted {wanted}"
            );
        }
        assert_eq!(student_t_95(0), None);
    }
}
