//! Which wiring a day speaks for.
//!
//! Model:   each wiring predicts that what all planes share scatters over the day by s_d about a level
//!          within s_c of 1, that each plane beside it scatters by s_e about a level within s_o, and so
//!          does each input beside its plane; the same for voltages, by level alone. A day counts as one
//!          independent sample for every half hour, sixteen at most:
//!          ln L = sum over shared, planes and inputs of
//!          -1/2 [ m (d ln 2 pi s^2 + var/s^2) + d ln 2 pi s_l^2 + mean^2/s_l^2 ]           eq. (1)
//!          d: of n parts whose mean is zero each has (n - 1) / n degrees of freedom.
//!          Clouds under a clear sky's light, shade or a fault predict the same with wide standard
//!          deviations, dirt and steady losses with a wide level of the current alone, trackers away from
//!          the peak with a wide level of both. "Something else"
//!          is the wiring as described with each part of it perhaps so; a wrong wiring may have such
//!          parts where it is as described. Where clouds under a clear sky's light are in what all
//!          share, inputs of one plane are still told from each other: what is shared and what planes
//!          have is wide for every wiring then, and none is settled.
//! Symbols: natural logarithms of ratios [-].
//! Range:   in the light of a clear sky fewer strings on a lone input are not thought of, nor any wrong
//!          wiring by which all inputs would have less than four fifths of that light and that no other
//!          input of the plane could tell: clouds lower everything, and not every plane alike.
//! Source:  own. Standard deviations and priors: engineering judgement.
//! Check:   tests/acceptance/engine/wiring.rs; the campaign.

use super::hypotheses::log_mixture;
use crate::detect::{Fit, Part, Wiring, WiringDay};

/// Scatter of what is a plane's own over a day, and of what is an input's beside its plane, and their
/// levels: modules, meters, sun at the edges [-].
const OWN_SCATTER: f64 = 0.08;
const PLANE_LEVEL: f64 = 0.04;
const OWN_LEVEL: f64 = 0.03;
/// Scatter and level of what all share: by sensors, and by a clear sky alone [-].
const SHARED_BY_SENSOR: (f64, f64) = (0.08, 0.08);
const SHARED_BY_SKY: (f64, f64) = (0.12, 0.15);
/// What all share of a clear sky's light on a day that may be clear [-].
const LEAST_SKY_RATIO: f64 = 0.8;
/// Level of voltages, own and shared [-].
const VOLTAGE_LEVEL: (f64, f64) = (0.02, 0.05);
/// All of it where something else is the matter: currents, voltages [-].
const ANYTHING: f64 = 0.6;
const ANY_VOLTAGE: f64 = 0.2;
/// Prior of each wrong wiring, and of something else.
const PRIOR_WRONG: f64 = 1e-3;
const PRIOR_OTHER: f64 = 0.05;
/// Independent samples per hour of light, and the most.
const SAMPLES_PER_H: f64 = 2.0;
const MOST_SAMPLES: f64 = 16.0;

/// Share of the parts that are wide, of those of which only the level is, and of these with a voltage that is
/// elsewhere as well: trackers away from the peak.
const WIDE: f64 = 0.1;
const STEADY: f64 = 0.1;
const MOVED: f64 = 0.3;

/// Standard deviations of scatter and level of currents, and of the level of voltages.
struct Widths {
    current: (f64, f64),
    voltage: f64,
}

const PLANE: Widths = Widths {
    current: (OWN_SCATTER, PLANE_LEVEL),
    voltage: VOLTAGE_LEVEL.0,
};
const OWN: Widths = Widths {
    current: (OWN_SCATTER, OWN_LEVEL),
    voltage: VOLTAGE_LEVEL.0,
};
const ANY: Widths = Widths {
    current: (ANYTHING, ANYTHING),
    voltage: ANY_VOLTAGE,
};

/// What parts of a wiring's fit are judged by, and which of them something else may be the matter with.
struct Judged<'f> {
    day: &'f WiringDay,
    fit: &'f Fit,
    /// Whether it is asked as "something else", of which every part may be.
    is_else: bool,
    /// Clouds are in what all share.
    in_clouds: bool,
}

/// What a day speaks for; `None` is something else.
pub fn compare(day: &WiringDay) -> Vec<(Option<Wiring>, f64)> {
    let all = ranked(day, false);
    if !day.is_by_sky || all[0].0.is_some() {
        return all;
    }
    // Something else may be clouds alone: inputs of one plane still tell then, and settle nothing.
    let within_planes = ranked(day, true);
    match within_planes[0].0 {
        Some(wiring) if wiring != Wiring::AsDescribed => within_planes,
        _ => all,
    }
}

fn ranked(day: &WiringDay, in_clouds: bool) -> Vec<(Option<Wiring>, f64)> {
    let described = &day.fits[0];
    let is_thought_of = |fit: &&Fit| {
        if fit.wiring == Wiring::AsDescribed || !day.is_by_sky || is_within_plane(fit, described) {
            return true;
        }
        let level = fit.shared.current.mean();
        let is_fewer = level > described.shared.current.mean();
        let is_dim = level < LEAST_SKY_RATIO.ln();
        !(in_clouds || is_dim || (described.own.len() == 1 && is_fewer))
    };
    let score = |fit: &Fit, is_else: bool, prior: f64| {
        let judged = Judged {
            day,
            fit,
            is_else,
            in_clouds,
        };
        judged.log_likelihood() + prior.ln()
    };
    let of_wiring = |fit: &Fit| {
        let is_wrong = fit.wiring != Wiring::AsDescribed;
        let prior = if is_wrong { PRIOR_WRONG } else { 1.0 };
        (Some(fit.wiring), score(fit, false, prior))
    };
    let thought_of = day.fits.iter().filter(is_thought_of);
    let mut scored: Vec<_> = thought_of.map(of_wiring).collect();
    scored.push((None, score(described, true, PRIOR_OTHER)));
    scored.sort_by(|a, b| b.1.total_cmp(&a.1));
    let best = scored[0].1;
    let total: f64 = scored.iter().map(|(_, s)| (s - best).exp()).sum();
    let share = |(wiring, s): (_, f64)| (wiring, (s - best).exp() / total);
    scored.into_iter().map(share).collect()
}

/// Whether all inputs that a wrong wiring concerns lie on one plane, and others of it can tell.
fn is_within_plane(fit: &Fit, described: &Fit) -> bool {
    let concerned = (0..described.plane_of.len()).filter(|k| fit.wiring.concerns(*k));
    let mut planes = concerned.map(|k| usize::from(described.plane_of[k]));
    let Some(first) = planes.next() else {
        return false;
    };
    // Of two inputs nobody knows which one has other strings.
    let others = match fit.wiring {
        Wiring::Strings { .. } => 2,
        _ => 1,
    };
    planes.all(|plane| plane == first) && described.on_plane(first).nth(others).is_some()
}

impl Judged<'_> {
    /// eq. (1).
    fn log_likelihood(&self) -> f64 {
        let fit = self.fit;
        let concerns = |k: usize| fit.wiring.concerns(k);
        let is_wrong = fit.wiring != Wiring::AsDescribed;
        let shared = Widths {
            current: match self.day.is_by_sky {
                true => SHARED_BY_SKY,
                false => SHARED_BY_SENSOR,
            },
            voltage: VOLTAGE_LEVEL.1,
        };
        let together = self.part(&fit.shared, &shared, 1.0, self.in_clouds);
        let planes = fit.planes.iter().enumerate().map(|(p, of)| {
            let may_be_else = is_wrong && !fit.on_plane(p).any(concerns);
            let freedom = freedom(fit.planes.len());
            self.part(of, &PLANE, freedom, may_be_else || self.in_clouds)
        });
        let own = fit.own.iter().enumerate().map(|(k, of)| {
            let beside = fit.on_plane(usize::from(fit.plane_of[k])).count();
            self.part(of, &OWN, freedom(beside), is_wrong && !concerns(k))
        });
        together + planes.chain(own).sum::<f64>()
    }

    fn part(&self, of: &Part, known: &Widths, freedom: f64, may_be_else: bool) -> f64 {
        let samples = (SAMPLES_PER_H * self.day.light.hours()).min(MOST_SAMPLES);
        let within = |widths: &Widths| widths.log_likelihood(of, samples, freedom);
        if !may_be_else && !self.is_else {
            return within(known);
        }
        let steady = |voltage| Widths {
            current: (known.current.0, ANYTHING),
            voltage,
        };
        let moved = within(&steady(ANY_VOLTAGE));
        let lost = log_mixture(MOVED, moved, within(&steady(known.voltage)));
        let sound = log_mixture(STEADY, lost, within(known));
        log_mixture(WIDE, within(&ANY), sound)
    }
}

/// Degrees of freedom of each of so many parts whose mean is zero.
fn freedom(parts: usize) -> f64 {
    let n = parts as f64;
    (n - 1.0) / n
}

impl Widths {
    fn log_likelihood(&self, of: &Part, samples: f64, freedom: f64) -> f64 {
        let (scatter, level) = self.current;
        let (current, voltage) = (&of.current, &of.voltage);
        let log = |square, n, sigma| log_normal((square, n, freedom), sigma);
        log(current.variance(), samples, scatter)
            + log(current.mean().powi(2), 1.0, level)
            + log(voltage.mean().powi(2), 1.0, self.voltage)
    }
}

/// Logarithm of the density of n values of this mean square about their expectation, with so many
/// degrees of freedom each.
fn log_normal((square, n, freedom): (f64, f64, f64), sigma: f64) -> f64 {
    let width = std::f64::consts::TAU.ln() + 2.0 * sigma.ln();
    -0.5 * n * (freedom * width + square / sigma.powi(2))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inputs_of_one_plane_tell_where_others_of_it_can() {
        let fit = |wiring, plane_of: &[u8]| Fit {
            wiring,
            shared: Part::default(),
            planes: Vec::new(),
            own: vec![Part::default(); plane_of.len()],
            plane_of: plane_of.to_vec(),
        };
        let tells = |wiring, plane_of: &[u8]| {
            is_within_plane(&fit(wiring, plane_of), &fit(Wiring::AsDescribed, plane_of))
        };
        let strings = Wiring::Strings { input: 1, count: 1 };
        assert!(tells(strings, &[0, 0, 0]));
        assert!(!tells(strings, &[0, 0]), "which of two, nobody knows");
        assert!(!tells(strings, &[1, 0, 1, 1]), "alone on its plane");
        assert!(tells(Wiring::Swapped(0, 1), &[0, 0]));
        assert!(!tells(Wiring::Swapped(0, 1), &[0, 1, 1]));
        assert!(!tells(Wiring::AsDescribed, &[0, 0, 0]));
    }
}
