//! Levels that were steady and have come to fall: since when, by how much, how surely.
//!
//! Model:   y(t) = a - b (min(t, t1) - t0) after t0, of all onsets t0 and ends t1 the pair that leaves
//!          least of
//!          sum rho((y - y(t)) / s)                                                          eq. (1)
//!          with Tukey's rho; a and b by weighted least squares with the weights that belong to it. The
//!          scatter s is the greater of that between neighbouring days, which no fall widens,
//!          1.4826 MAD(y_n - y_(n-1)) / sqrt(2), and that about the fit. What neighbouring days share
//!          shows in the two: r = 1 - (first / second)^2, and
//!          s_b^2 = s^2 / (curvature in b) (1 + r) / (1 - r)                                 eq. (2)
//!          It is a fall and no step if one step at any day leaves no less than eq. (1), and more by half
//!          of what one level can add where the fall has ended: with its end free a fall is nearly a step.
//! Symbols: t [d], y dimensionless, b [1/d].
//! Range:   eight levels over ten days or more, five of them from t0 on; t1 five days or more after t0, and
//!          ten days at most before the last.
//! Source:  a change of slope by generalised likelihood; eq. (2) for neighbours that share r (textbook,
//!          first order). Tukey's weights as in `reading::robust`.
//! Check:   tests below.

use crate::reading::{median, robust_spread, tukey_loss, tukey_weight};

/// Levels and days that are needed, and how many of each from the onset on.
const LEAST_LEVELS: usize = 8;
const LEAST_DAYS: f64 = 10.0;
const LEAST_FALLING: usize = 5;
const LEAST_FALLING_DAYS: f64 = 5.0;
/// A fall that has ended may have stood still for so many days.
const MOST_STANDING_DAYS: f64 = 10.0;
/// What a step must leave over a fall that has ended, in units of the largest that one level can add.
const NO_STEP: f64 = 0.5;
/// Rounds of weights: they settle in two or three.
const ROUNDS: usize = 4;
/// Scatter that no level is better than [-].
const LEAST_SCATTER: f64 = 0.002;
/// Most that neighbouring days are taken to share [-].
const MOST_SHARED: f64 = 0.7;

/// A fall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fall {
    /// Which of the levels it began with.
    pub onset: usize,
    /// Level before it [-].
    pub before: f64,
    /// Loss a day, and its standard deviation [1/d].
    pub per_day: f64,
    /// See `per_day`.
    pub per_day_sigma: f64,
    /// From its onset to its end [d].
    pub days: f64,
    /// Scatter of a level [-].
    pub scatter: f64,
}

impl Fall {
    /// Loss by its end [-].
    pub fn loss(&self) -> f64 {
        self.per_day * self.days
    }
}

/// A line that is level but for the span in which it falls.
#[derive(Debug, Clone, Copy)]
struct Line {
    before: f64,
    per_day: f64,
    /// Curvature of the sum of weighted squares in `per_day` [d2].
    curvature: f64,
}

/// The fall of levels by day, in order; `None` where there are too few, none falls, or one step is as
/// good.
pub fn fall(levels: &[(f64, f64)]) -> Option<Fall> {
    let (first, last) = (levels.first()?.0, levels.last()?.0);
    if levels.len() < LEAST_LEVELS || last - first < LEAST_DAYS {
        return None;
    }
    let between = neighbours_scatter(levels)?.max(LEAST_SCATTER);
    let spans = (0..=levels.len() - LEAST_FALLING).flat_map(|onset| {
        let from = levels[onset].0;
        let ends = levels.iter().map(|p| p.0);
        let ends = ends.filter(move |to| to - from >= LEAST_FALLING_DAYS);
        let ends = ends.filter(move |to| last - to <= MOST_STANDING_DAYS);
        ends.map(move |to| (onset, (from, to)))
    });
    let fits = spans.filter_map(|(onset, span)| {
        let line = Line::through(levels, span, between)?;
        let left = left(levels.iter().map(|p| line.off(p, span)), between);
        Some((onset, span, line, left))
    });
    let (onset, span, line, left_by_fall) = fits.min_by(|a, b| a.3.total_cmp(&b.3))?;
    let left_by_step = (LEAST_FALLING..=levels.len() - 2).filter_map(|cut| {
        let (before, after) = levels.split_at(cut);
        let off = |part: &[(f64, f64)]| {
            let middle = median(part.iter().map(|p| p.1))?;
            Some(left(part.iter().map(|p| p.1 - middle), between))
        };
        Some(off(before)? + off(after)?)
    });
    let least_more = if span.1 < last { NO_STEP } else { 0.0 };
    if line.per_day <= 0.0 || left_by_step.reduce(f64::min)? < left_by_fall + least_more {
        return None;
    }
    let (scatter, per_day_sigma) = line.scatter_and_sigma(levels, span, between)?;
    Some(Fall {
        onset,
        before: line.before,
        per_day: line.per_day,
        per_day_sigma,
        days: span.1 - span.0,
        scatter,
    })
}

/// Scatter of a level by what lies between neighbours; `None` of fewer than two.
pub fn neighbours_scatter(levels: &[(f64, f64)]) -> Option<f64> {
    let steps = levels.windows(2).map(|pair| pair[1].1 - pair[0].1);
    robust_spread(steps, 0.0).map(|spread| spread / std::f64::consts::SQRT_2)
}

/// How much rises in a span of days by the same line, and its standard deviation, of levels that scatter by
/// so much at least; `None` of levels that say nothing of it.
pub fn rise_in(levels: &[(f64, f64)], span: (f64, f64), least_scatter: f64) -> Option<(f64, f64)> {
    let between = neighbours_scatter(levels)?.max(least_scatter);
    let line = Line::through(levels, span, between)?;
    let (_, per_day_sigma) = line.scatter_and_sigma(levels, span, between)?;
    let days = span.1 - span.0;
    Some((-line.per_day * days, per_day_sigma * days))
}

impl Line {
    /// Through levels that fall in a span only [d, d].
    fn through(levels: &[(f64, f64)], span: (f64, f64), scatter: f64) -> Option<Self> {
        let mut line: Option<Self> = None;
        for _ in 0..ROUNDS {
            let weight =
                |p: &(f64, f64)| line.map_or(1.0, |line| tukey_weight(line.off(p, span) / scatter));
            let weighed: Vec<(f64, f64, f64)> = levels
                .iter()
                .map(|p| (weight(p), fallen_days(p.0, span), p.1))
                .collect();
            let sum = |of: &dyn Fn(&(f64, f64, f64)) -> f64| -> f64 {
                weighed.iter().map(|p| p.0 * of(p)).sum()
            };
            let all = sum(&|_| 1.0);
            let (x, y) = (sum(&|p| p.1) / all, sum(&|p| p.2) / all);
            let curvature = sum(&|p| (p.1 - x).powi(2));
            let per_day = -sum(&|p| (p.1 - x) * (p.2 - y)) / curvature;
            // No weight, or no day after the onset: 0 / 0.
            if !per_day.is_finite() {
                return None;
            }
            line = Some(Self {
                before: y + per_day * x,
                per_day,
                curvature,
            });
        }
        line
    }

    /// Scatter of a level about it, and the standard deviation of its fall a day, eq. (2), of levels with
    /// so much between neighbours.
    fn scatter_and_sigma(
        &self,
        levels: &[(f64, f64)],
        span: (f64, f64),
        between: f64,
    ) -> Option<(f64, f64)> {
        let offs = levels.iter().map(|p| self.off(p, span));
        let about = robust_spread(offs, 0.0)?.max(between);
        let shared = (1.0 - (between / about).powi(2)).min(MOST_SHARED);
        let of_neighbours = (1.0 + shared) / (1.0 - shared);
        Some((about, about * (of_neighbours / self.curvature).sqrt()))
    }

    fn off(&self, (t, y): &(f64, f64), span: (f64, f64)) -> f64 {
        y - self.before + self.per_day * fallen_days(*t, span)
    }
}

/// Days of a span that are over by a day.
fn fallen_days(t: f64, (onset, end): (f64, f64)) -> f64 {
    t.clamp(onset, end) - onset
}

/// Eq. (1), in units of the largest that one level can add.
fn left(offs: impl Iterator<Item = f64>, scatter: f64) -> f64 {
    offs.map(|off| tukey_loss(off / scatter)).sum()
}

#[cfg(test)]
mod tests {
    use super::super::test_noise::noise;
    use super::*;

    fn levels(seed: u64, days: usize, level: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
        let at = |n: usize| (n as f64, level(n as f64) + 0.01 * noise(seed, n));
        (0..days).map(at).collect()
    }

    #[test]
    fn a_fall_is_measured_with_its_onset() {
        let falls = |t: f64| 1.02 - 0.005 * (t - 30.0).max(0.0);
        let found = fall(&levels(1, 42, falls)).expect("it falls");
        assert!((27..=33).contains(&found.onset), "{found:?}");
        assert!((found.loss() - 0.055).abs() < 0.01, "{found:?}");
        assert!((found.before - 1.02).abs() < 0.005, "{found:?}");
    }

    #[test]
    fn a_fall_that_has_ended_is_measured_to_its_end() {
        let fell = |t: f64| 1.0 - 0.008 * (t.clamp(20.0, 30.0) - 20.0);
        let found = fall(&levels(3, 37, fell)).expect("it fell");
        assert!((found.loss() - 0.08).abs() < 0.015, "{found:?}");
        assert!((7.0..=13.0).contains(&found.days), "{found:?}");
    }

    /// Its onset is found from the same days: the interval is asked to hold as often as it says all the
    /// same, within what 300 draws scatter.
    #[test]
    fn two_standard_deviations_hold_the_slope_where_it_falls_from_the_first_day() {
        const SEEDS: u64 = 300;
        let holds = |seed| {
            let found = fall(&levels(seed, 30, |t| 1.0 - 0.004 * t));
            found.is_some_and(|f| (f.loss() - 0.116).abs() < 2.5 * f.per_day_sigma * 29.0)
        };
        let held = (0..SEEDS).filter(|seed| holds(*seed)).count();
        assert!(held >= 280, "{held} of {SEEDS}");
    }

    #[test]
    fn what_does_not_fall_is_seldom_four_standard_deviations_off() {
        const SEEDS: u64 = 400;
        let is_sure = |seed: &u64| {
            let found = fall(&levels(*seed, 40, |_| 1.0));
            found.is_some_and(|f| f.per_day > 4.0 * f.per_day_sigma)
        };
        let sure = (0..SEEDS).filter(is_sure).count();
        assert!(sure <= 2, "{sure} of {SEEDS}");
    }

    #[test]
    fn a_step_is_no_fall_and_neither_is_a_rise() {
        for seed in 0..40 {
            let step = |t: f64| if t < 25.0 { 1.0 } else { 0.93 };
            assert_eq!(fall(&levels(seed, 40, step)), None, "{seed}");
        }
        assert_eq!(fall(&levels(1, 40, |t| 1.0 + 0.004 * t)), None);
        assert_eq!(fall(&levels(1, 7, |t| 1.0 - 0.01 * t)), None, "too few");
    }

    #[test]
    fn a_quarter_of_bad_days_does_not_hide_it() {
        let mut bad = levels(1, 40, |t| 1.0 - 0.005 * (t - 24.0).max(0.0));
        for n in (3..40).step_by(4) {
            bad[n].1 += 0.15;
        }
        let found = fall(&bad).expect("it falls");
        assert!((found.loss() - 0.075).abs() < 0.015, "{found:?}");
    }

    #[test]
    fn what_rises_meanwhile_is_measured_too() {
        let rises = levels(2, 40, |t| 0.95 + 0.004 * (t - 24.0).max(0.0));
        let (rise, sigma) = rise_in(&rises, (24.0, 39.0), 0.002).expect("levels");
        assert!((rise - 0.06).abs() < 0.01, "{rise}");
        assert!((0.003..0.02).contains(&sigma), "{sigma}");
        assert_eq!(rise_in(&rises[..20], (24.0, 39.0), 0.002), None);
    }
}
