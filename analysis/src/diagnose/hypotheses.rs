//! What a window of samples of one input most likely means, by comparing what each cause predicts.
//!
//! Model:   each hypothesis h predicts the mean m_h of the current ratio and of the voltage ratio.
//!          A window x_1..x_n is normal around m_h with own variance s^2 and a common variance c^2
//!          shared by the whole window:
//!          ln N = -1/2 [ n ln 2 pi + (n-1) ln s^2 + ln(s^2 + n c^2)
//!                        + S/s^2 + n (mean - m_h)^2 / (s^2 + n c^2) ],  S = sum (x_i - mean)^2
//!          (covariance s^2 I + c^2 11', inverted by Sherman-Morrison). Healthy and k-strings-open
//!          leave the voltage at 1. What the best of the inputs under the same horizontal sensor has lost as
//!          well is the light's, and no string's. A dead input shows what its meter makes of nothing. "Something
//!          else" predicts any loss, sample by sample, with the voltage as it is or any: uniform
//!          densities; so does cover, with a share of total cover near zero on top. Evidence counts
//!          `INDEPENDENT` of what independent samples would: neighbouring slots share their errors.
//! Symbols: ratios dimensionless; priors are probabilities per window.
//! Range:   at least two samples; standard deviations > 0.
//! Source:  own. Priors: engineering judgement, from one string fault in some hundred input-years;
//!          cover is likely only after frost, and most when the loss came at night.
//! Check:   unit tests below, tests/acceptance/replay.rs on real snow days.

use crate::detect::Sample;
use serde::{Deserialize, Serialize};

/// Share of independent evidence in neighbouring slots [-].
const INDEPENDENT: f64 = 0.5;
/// Prior of one given number of open strings, per window.
const PRIOR_OPEN: f64 = 1e-4;
/// The same where all siblings show a loss too.
const PRIOR_OPEN_EVERYWHERE: f64 = 1e-7;
/// How strings of one input differ in current (one standard deviation, engineering judgement) [-].
const STRINGS_DIFFER_RATIO: f64 = 0.015;
/// Prior of an input that carries nothing.
const PRIOR_DEAD: f64 = 1e-3;
/// Prior of shade where it is known, or was seen the last time, with the sun about there; and of one
/// given number of open strings then: they would have to open as the shade comes.
const PRIOR_SHADE_KNOWN: f64 = 0.3;
const PRIOR_OPEN_IN_SHADE: f64 = 1e-9;
/// A ratio below which shade cannot be: the rest of the sky stays [-], and the density there.
const SHADE_LEAVES: f64 = 0.05;
const DENSITY_BELOW: f64 = 1e-3;
/// What an inverter's meter shows of nothing, over the expected current [-].
const DEAD_SIGMA_RATIO: f64 = 0.008;
/// Prior of a loss that none of the others describes: passing shade, a bad reading.
const PRIOR_OTHER: f64 = 1e-2;
/// Prior of cover: after frost where the loss came at night, after frost, after frost beside inputs that
/// are clear, and without frost.
const PRIOR_COVER_AT_NIGHT: f64 = 0.5;
const PRIOR_COVER_AFTER_FROST: f64 = 1e-3;
const PRIOR_COVER_BESIDE_CLEAR: f64 = 1e-4;
const PRIOR_COVER_WITHOUT_FROST: f64 = 1e-9;
/// Where nothing measures the temperature.
const PRIOR_COVER_FROST_UNKNOWN: f64 = 1e-5;
/// Share of cover that is total, and the mean ratio that light through it leaves [-].
const TOTAL_COVER: f64 = 0.2;
const TOTAL_COVER_MEAN_RATIO: f64 = 0.01;
/// Density of a loss of any size, over ratios 0 to 1.
const ANY_LOSS_DENSITY: f64 = 1.0;
/// Density of a voltage of any size, over ratios 0.4 to 1.25, and the share of other losses and of
/// cover that leaves the voltage as it is: dirt, thin snow; of dead inputs as well.
const ANY_VOLTAGE_DENSITY: f64 = 1.0 / 0.85;
const SAME_VOLTAGE: f64 = 0.2;

/// What a window may mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Hypothesis {
    /// As expected.
    Healthy,
    /// This many of the parallel strings carry nothing.
    StringsOpen(u8),
    /// The whole input carries nothing.
    Dead,
    /// Modules covered by snow or frost.
    Covered,
    /// A loss, but none of the above.
    Other,
    /// Shade, where it is known to come with the sun about there.
    Shaded,
}

/// What is known besides the window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Context {
    /// Strings in parallel on the input.
    pub strings: u8,
    /// Whether it has frozen or snowed lately; `None` where nothing measures it.
    pub frost: Option<bool>,
    /// Whether the loss was there when the light came, and not the evening before.
    pub loss_came_at_night: bool,
    /// Whether another input of the plane is free of snow: it seldom covers one alone.
    pub siblings_clear: bool,
    /// Whether all other inputs on the plane show a loss as well: strings seldom open together.
    pub siblings_share_loss: bool,
    /// Whether shade is known, or was seen the last time, with the sun about here.
    pub near_shade: bool,
}

/// The hypotheses with their probabilities, most probable first.
pub fn compare(window: &[Sample], context: Context) -> Vec<(Hypothesis, f64)> {
    let current = Moments::of(window, |s| (s.ratio, s.own, s.common));
    let voltage = Moments::of(window, |s| {
        (s.voltage_ratio, s.voltage_sigma / 2.0, s.voltage_sigma)
    });
    let on_voltage = voltage.log_likelihood(1.0);
    let any_voltage = voltage.n * ANY_VOLTAGE_DENSITY.ln();
    let lossy_voltage = log_mixture(SAME_VOLTAGE, on_voltage, any_voltage);
    let other = current.n * ANY_LOSS_DENSITY.ln() + lossy_voltage;
    let covered = window
        .iter()
        .map(|s| cover_density(s.ratio).ln())
        .sum::<f64>()
        + lossy_voltage;
    let covered_prior = match context.frost {
        Some(true) if context.siblings_clear => PRIOR_COVER_BESIDE_CLEAR,
        Some(true) if context.loss_came_at_night => PRIOR_COVER_AT_NIGHT,
        Some(true) => PRIOR_COVER_AFTER_FROST,
        Some(false) => PRIOR_COVER_WITHOUT_FROST,
        None => PRIOR_COVER_FROST_UNKNOWN,
    };
    let open_prior = if context.near_shade {
        PRIOR_OPEN_IN_SHADE
    } else if context.siblings_share_loss {
        PRIOR_OPEN_EVERYWHERE
    } else {
        PRIOR_OPEN
    };
    let n = context.strings;
    // What all inputs under a sensor have lost together is the sensor's: what is left of unequal
    // strings is not exactly its share of the rest.
    let strings = Moments::of(window, |s| (s.ratio / s.light_ratio, s.own, s.common));
    let strings = Moments {
        common: strings.common.hypot(STRINGS_DIFFER_RATIO),
        ..strings
    };
    let open = (1..n).map(|k| {
        let left = f64::from(n - k) / f64::from(n);
        (
            Hypothesis::StringsOpen(k),
            strings.log_likelihood(left) + on_voltage,
            open_prior,
        )
    });
    // More than expected is no fault of the array.
    let healthy = Moments {
        mean: current.mean.min(1.0),
        ..current
    };
    // A dead input's voltage may float, be zero or be the open-circuit voltage.
    let nothing = Moments {
        own: DEAD_SIGMA_RATIO,
        common: 0.0,
        ..current
    };
    let dead = nothing.log_likelihood_as_is(0.0) + lossy_voltage;
    let shaded = context.near_shade.then(|| {
        let density = |s: &Sample| match s.ratio >= SHADE_LEAVES {
            true => ANY_LOSS_DENSITY,
            false => DENSITY_BELOW,
        };
        let lost = window.iter().map(|s| density(s).ln()).sum::<f64>();
        (Hypothesis::Shaded, lost + lossy_voltage, PRIOR_SHADE_KNOWN)
    });
    let mut scored: Vec<(Hypothesis, f64)> = [
        (
            Hypothesis::Healthy,
            healthy.log_likelihood(1.0) + on_voltage,
            1.0,
        ),
        (Hypothesis::Dead, dead, PRIOR_DEAD),
        (Hypothesis::Covered, covered, covered_prior),
        (Hypothesis::Other, other, PRIOR_OTHER),
    ]
    .into_iter()
    .chain(open)
    .chain(shaded)
    .map(|(h, log_likelihood, prior)| (h, INDEPENDENT * log_likelihood + prior.ln()))
    .collect();
    scored.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let best = scored[0].1;
    let total: f64 = scored.iter().map(|(_, s)| (s - best).exp()).sum();
    scored
        .into_iter()
        .map(|(h, s)| (h, (s - best).exp() / total))
        .collect()
}

/// Mean and scatter of a window, with its average standard deviations.
#[derive(Debug, Clone, Copy)]
struct Moments {
    n: f64,
    mean: f64,
    scatter: f64,
    own: f64,
    common: f64,
}

impl Moments {
    fn of(window: &[Sample], pick: impl Fn(&Sample) -> (f64, f64, f64)) -> Self {
        let n = window.len() as f64;
        let mean = window.iter().map(|s| pick(s).0).sum::<f64>() / n;
        Self {
            n,
            mean,
            scatter: window.iter().map(|s| (pick(s).0 - mean).powi(2)).sum(),
            own: window.iter().map(|s| pick(s).1).sum::<f64>() / n,
            common: window.iter().map(|s| pick(s).2).sum::<f64>() / n,
        }
    }

    /// Logarithm of the density of the window around a mean. Both errors shrink with the mean, down
    /// to a floor: a fraction of the light is known as well as the light, never better than that.
    fn log_likelihood(&self, mean: f64) -> f64 {
        // Engineering judgement: under half a string's light stray light and meters take over.
        const FLOOR: f64 = 0.4;
        let scale = mean.max(FLOOR);
        let (own, common) = (self.own * scale, self.common * scale);
        Self {
            own,
            common,
            ..*self
        }
        .log_likelihood_as_is(mean)
    }

    fn log_likelihood_as_is(&self, mean: f64) -> f64 {
        let own = self.own.powi(2);
        let both = own + self.n * self.common.powi(2);
        let log_norm = self.n * std::f64::consts::TAU.ln() + (self.n - 1.0) * own.ln() + both.ln();
        -0.5 * (log_norm + self.scatter / own + self.n * (self.mean - mean).powi(2) / both)
    }
}

/// Logarithm of a mixture of two densities given by their logarithms.
pub(super) fn log_mixture(share: f64, a: f64, b: f64) -> f64 {
    let (a, b) = (a + share.ln(), b + (1.0 - share).ln());
    let larger = a.max(b);
    larger + ((a - larger).exp() + (b - larger).exp()).ln()
}

/// Density of the ratio under cover: any loss, and a share of total cover.
fn cover_density(ratio: f64) -> f64 {
    let total = (-ratio.max(0.0) / TOTAL_COVER_MEAN_RATIO).exp() / TOTAL_COVER_MEAN_RATIO;
    (1.0 - TOTAL_COVER) * ANY_LOSS_DENSITY + TOTAL_COVER * total
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Time;

    fn window(ratios: &[f64]) -> Vec<Sample> {
        let sample = |(i, ratio): (i64, &f64)| Sample {
            start: Time::from_unix_ms(i * 300_000),
            ratio: *ratio,
            light_ratio: 1.0,
            own: 0.025,
            common: 0.03,
            voltage_ratio: 1.0,
            voltage_sigma: 0.015,
            missing_wh: 0.0,
        };
        (0..).zip(ratios).map(sample).collect()
    }

    fn best(ratios: &[f64], context: Context) -> (Hypothesis, f64) {
        compare(&window(ratios), context)[0]
    }

    const WARM: Context = Context {
        strings: 2,
        frost: Some(false),
        loss_came_at_night: false,
        siblings_clear: false,
        siblings_share_loss: false,
        near_shade: false,
    };
    const FROST: Context = Context {
        strings: 4,
        frost: Some(true),
        loss_came_at_night: true,
        siblings_clear: false,
        siblings_share_loss: false,
        near_shade: false,
    };

    #[test]
    fn half_of_two_strings_is_one_open_string() {
        let (what, p) = best(&[0.5, 0.51, 0.49, 0.5, 0.5, 0.52], WARM);
        assert_eq!(what, Hypothesis::StringsOpen(1));
        assert!(p > 0.99, "{p}");
    }

    #[test]
    fn noise_and_a_high_reading_are_healthy() {
        assert_eq!(best(&[0.97, 1.0, 0.95, 0.99], WARM).0, Hypothesis::Healthy);
        assert_eq!(best(&[1.3, 1.3, 1.3, 1.3], WARM).0, Hypothesis::Healthy);
    }

    #[test]
    fn a_loss_that_wanders_is_no_open_string() {
        assert_eq!(
            best(&[0.9, 0.7, 0.5, 0.6, 0.8, 0.4], WARM).0,
            Hypothesis::Other
        );
    }

    #[test]
    fn cover_on_a_frosty_morning_is_cover_and_not_a_string() {
        assert_eq!(
            best(&[0.40, 0.41, 0.41, 0.42], FROST).0,
            Hypothesis::Covered
        );
    }

    #[test]
    fn fifteen_minutes_without_current_are_a_dead_input() {
        let (what, p) = best(&[0.001, 0.0, 0.002], WARM);
        assert_eq!(what, Hypothesis::Dead);
        assert!(p > 0.95, "{p}");
    }

    #[test]
    fn no_current_on_a_frosty_morning_is_total_cover() {
        assert_eq!(best(&[0.0; 6], FROST).0, Hypothesis::Covered);
    }

    #[test]
    fn a_dead_input_beside_a_clear_sibling_is_dead_also_in_frost() {
        let beside = Context {
            siblings_clear: true,
            ..FROST
        };
        let (what, p) = best(&[0.0; 4], beside);
        assert!(what == Hypothesis::Dead && p >= 0.95, "{what:?} {p}");
    }

    #[test]
    fn a_loss_that_all_siblings_share_is_no_open_string() {
        let shared = Context {
            siblings_share_loss: true,
            ..WARM
        };
        assert_eq!(
            best(&[0.45, 0.46, 0.45, 0.44, 0.45, 0.45], shared).0,
            Hypothesis::Other
        );
    }

    #[test]
    fn half_of_two_strings_where_shade_comes_is_shade_and_nothing_at_all_is_dead() {
        let in_shade = Context {
            near_shade: true,
            ..WARM
        };
        assert_eq!(best(&[0.5; 6], in_shade).0, Hypothesis::Shaded);
        assert_eq!(best(&[0.0; 6], in_shade).0, Hypothesis::Dead);
        assert_eq!(best(&[1.0; 6], in_shade).0, Hypothesis::Healthy);
    }

    #[test]
    fn probabilities_sum_to_one() {
        let total: f64 = compare(&window(&[0.8, 0.7]), FROST)
            .iter()
            .map(|(_, p)| p)
            .sum();
        assert!((total - 1.0).abs() < 1e-12);
    }

    /// Two of three strings are left, says the sensor; so are they on every other input in its light.
    #[test]
    fn what_every_input_under_a_sensor_has_lost_opens_no_string() {
        let context = Context {
            strings: 3,
            frost: Some(false),
            loss_came_at_night: false,
            siblings_clear: false,
            siblings_share_loss: false,
            near_shade: false,
        };
        let in_its_light = |ratio: f64, light_ratio: f64| {
            let mut window = window(&[ratio; 6]);
            window.iter_mut().for_each(|s| s.light_ratio = light_ratio);
            compare(&window, context)[0]
        };
        assert_eq!(in_its_light(0.667, 1.0).0, Hypothesis::StringsOpen(1));
        assert!(!matches!(
            in_its_light(0.667, 0.69).0,
            Hypothesis::StringsOpen(_)
        ));
        let (what, probability) = in_its_light(0.69 * 0.667, 0.69);
        assert!(what == Hypothesis::StringsOpen(1) && probability >= 0.95);
    }
}
