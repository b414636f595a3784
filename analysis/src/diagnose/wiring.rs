//! Which wiring a day speaks for.
//!
//! Model:   each wiring predicts that what all inputs share scatters over the day by s_d about a level
//!          within s_c of 1, and that each input beside it scatters by s_e about a level within s_o; the
//!          same for voltages, by level alone. A day counts as one independent sample for every
//!          half hour, sixteen at most:
//!          ln L = sum over inputs and shared of -1/2 [ m (ln 2 pi s^2 + var/s^2) + ln 2 pi s_l^2 +
//!          mean^2/s_l^2 ]                                                                  eq. (1)
//!          Clouds under a clear sky's light, shade or a fault predict the same with wide standard
//!          deviations, dirt and steady losses with a wide level of the current alone. "Something else"
//!          is the wiring as described with each part of it perhaps so; a wrong wiring may have such
//!          parts where it is as described. Of n inputs the own parts have n-1 degrees of freedom.
//! Symbols: natural logarithms of ratios [-].
//! Range:   in the light of a clear sky fewer strings on a lone input are not thought of, nor any wrong
//!          wiring by which all inputs would have less than four fifths of that light: clouds lower
//!          everything, and not every plane alike.
//! Source:  own. Standard deviations and priors: engineering judgement.
//! Check:   tests/acceptance/engine/wiring.rs; the campaign.

use super::hypotheses::log_mixture;
use crate::detect::{Fit, Spread, Wiring, WiringDay};

/// Scatter of what is an input's own over a day, and its level: modules, meters, sun at the edges [-].
const OWN_SCATTER: f64 = 0.08;
const OWN_LEVEL: f64 = 0.04;
/// Scatter and level of what all share: by sensors, and by a clear sky alone [-].
const SHARED_BY_SENSOR: (f64, f64) = (0.08, 0.08);
const SHARED_BY_SKY: (f64, f64) = (0.12, 0.15);
/// What all share of a clear sky's light on a day that may be clear [-].
const LEAST_SKY_RATIO: f64 = 0.8;
/// Level of voltages, own and shared [-].
const VOLTAGE_LEVEL: (f64, f64) = (0.03, 0.05);
/// All of it where something else is the matter: currents, voltages [-].
const ANYTHING: f64 = 0.6;
const ANY_VOLTAGE: f64 = 0.2;
/// Prior of each wrong wiring, and of something else.
const PRIOR_WRONG: f64 = 1e-3;
const PRIOR_OTHER: f64 = 0.05;
/// Independent samples per hour of light, and the most.
const SAMPLES_PER_H: f64 = 2.0;
const MOST_SAMPLES: f64 = 16.0;

/// Share of the parts that are wide, and of those of which only the level is.
const WIDE: f64 = 0.1;
const STEADY: f64 = 0.1;

/// Standard deviations of scatter and level of currents, and of the level of voltages.
struct Widths {
    current: (f64, f64),
    voltage: f64,
}

const OWN: Widths = Widths {
    current: (OWN_SCATTER, OWN_LEVEL),
    voltage: VOLTAGE_LEVEL.0,
};
const ANY: Widths = Widths {
    current: (ANYTHING, ANYTHING),
    voltage: ANY_VOLTAGE,
};

/// What a day speaks for; `None` is something else.
pub fn compare(day: &WiringDay) -> Vec<(Option<Wiring>, f64)> {
    let described = &day.fits[0];
    let inputs = described.own.len();
    let is_thought_of = |fit: &&Fit| {
        let is_fewer = fit.shared.mean() > described.shared.mean();
        let is_dim = fit.shared.mean() < LEAST_SKY_RATIO.ln();
        let may_be_clouds = day.is_by_sky && (is_dim || inputs == 1 && is_fewer);
        fit.wiring == Wiring::AsDescribed || !may_be_clouds
    };
    let score = |fit: &Fit| {
        let is_wrong = fit.wiring != Wiring::AsDescribed;
        let prior = if is_wrong { PRIOR_WRONG } else { 1.0 };
        let may_be_else = |k: usize| is_wrong && !fit.wiring.concerns(k);
        let likelihood = log_likelihood(day, fit, may_be_else, false);
        (Some(fit.wiring), likelihood + f64::ln(prior))
    };
    let mut scored: Vec<_> = day.fits.iter().filter(is_thought_of).map(score).collect();
    let other = log_likelihood(day, described, |_| true, true);
    scored.push((None, other + PRIOR_OTHER.ln()));
    scored.sort_by(|a, b| b.1.total_cmp(&a.1));
    let best = scored[0].1;
    let total: f64 = scored.iter().map(|(_, s)| (s - best).exp()).sum();
    let share = |(wiring, s): (_, f64)| (wiring, (s - best).exp() / total);
    scored.into_iter().map(share).collect()
}

/// eq. (1); `may_be_else`, by input, and of what is shared: whether something else may be the matter.
fn log_likelihood(
    day: &WiringDay,
    fit: &Fit,
    may_be_else: impl Fn(usize) -> bool,
    shared_may_be: bool,
) -> f64 {
    let samples = (SAMPLES_PER_H * day.light.hours()).min(MOST_SAMPLES);
    let inputs = fit.own.len() as f64;
    let freedom = (inputs - 1.0) / inputs;
    let part = |of: (&Spread, &Spread), known: &Widths, freedom: f64, may_be_else: bool| {
        let within = |widths: &Widths| freedom * widths.log_likelihood(of, samples);
        if !may_be_else {
            return within(known);
        }
        let steady = Widths {
            current: (known.current.0, ANYTHING),
            ..*known
        };
        let sound = log_mixture(STEADY, within(&steady), within(known));
        log_mixture(WIDE, within(&ANY), sound)
    };
    let own = fit.own.iter().zip(&fit.own_voltage).enumerate();
    let own = own.map(|(k, of)| part(of, &OWN, freedom, may_be_else(k)));
    let shared = Widths {
        current: match day.is_by_sky {
            true => SHARED_BY_SKY,
            false => SHARED_BY_SENSOR,
        },
        voltage: VOLTAGE_LEVEL.1,
    };
    let shown = (&fit.shared, &fit.shared_voltage);
    let together = part(shown, &shared, 1.0, shared_may_be);
    together + own.sum::<f64>()
}

impl Widths {
    fn log_likelihood(&self, (current, voltage): (&Spread, &Spread), samples: f64) -> f64 {
        let (scatter, level) = self.current;
        log_normal((current.variance(), samples), scatter)
            + log_normal((current.mean().powi(2), 1.0), level)
            + log_normal((voltage.mean().powi(2), 1.0), self.voltage)
    }
}

/// Logarithm of the density of n values of this mean square about their expectation.
fn log_normal((square, n): (f64, f64), sigma: f64) -> f64 {
    -0.5 * n * (std::f64::consts::TAU.ln() + 2.0 * sigma.ln() + square / sigma.powi(2))
}
