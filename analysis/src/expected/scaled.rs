//! The last rung of the weather ladder: clear sky, scaled by what the rest of the plant shows.
//!
//! Model:   share = the best input of the plane over its clear-sky current, where the plane has two
//!          or more inputs: a fault lowers one of them, never all. A plane with a single input takes
//!          the share of the rest of the plant (sensors in other planes, else inputs on them), as
//!          long as that is at least half of its own: then its own loss shows.
//! Symbols: shares dimensionless, 1 under a clear sky.
//! Range:   planes without a sensor and without global irradiance.
//! Source:  own; standard deviations are engineering judgement: clouds give planes of different
//!          azimuth different shares of beam and diffuse light.
//! Check:   tests/acceptance/engine/inputs.rs and health.rs, a plant without sensors.

use super::types::WeatherRung;
use super::{Light, PlaneLight};
use crate::reading::Irradiance;

/// One standard deviation of a share [-]: from siblings, from elsewhere under a clear sky, from
/// elsewhere under clouds.
const FROM_SIBLINGS_RATIO: f64 = 0.02;
const FROM_ELSEWHERE_CLEAR_RATIO: f64 = 0.06;
const FROM_ELSEWHERE_CLOUDY_RATIO: f64 = 0.15;
/// Share of the clear sky from which it counts as clear [-].
const CLEAR_FROM: f64 = 0.85;
/// Share elsewhere over own share below which elsewhere is in trouble itself [-].
const CREDIBLE_RATIO: f64 = 0.5;
/// Clear-sky irradiance below which a share means little [W/m2].
const MIN_CLEAR_W_M2: f64 = 50.0;

/// What the inputs of one plane show of the clear sky.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct PlaneShare {
    /// Share of the best input.
    pub best: Option<f64>,
    /// How many inputs there were.
    pub inputs: usize,
}

impl PlaneShare {
    /// Takes one more input.
    pub fn add(&mut self, share: f64) {
        self.best = Some(self.best.map_or(share, |best| best.max(share)));
        self.inputs += 1;
    }
}

/// Whether any plane stands on the last rung.
pub fn needs_scaling(light: &Light) -> bool {
    light.planes.iter().flatten().any(is_unscaled)
}

fn is_unscaled(plane: &PlaneLight) -> bool {
    plane.rung == WeatherRung::ScaledClearSky
}

/// Scales every plane on the last rung; one of which nothing is known loses its light.
pub fn scale_clear_sky(light: &mut Light, shares: &[PlaneShare]) {
    let sensors = sensor_share(light);
    let elsewhere = |p: usize| {
        let others = shares.iter().enumerate().filter(|(q, _)| *q != p);
        sensors.or(others.filter_map(|(_, share)| share.best).reduce(f64::max))
    };
    for (p, slot) in light.planes.iter_mut().enumerate() {
        let Some(plane) = slot.as_mut().filter(|plane| is_unscaled(plane)) else {
            continue;
        };
        match choose(shares[p], elsewhere(p)) {
            Some((share, sigma_ratio)) => scale(plane, share, sigma_ratio),
            None => *slot = None,
        }
    }
}

/// The mean clearness that sensors in planes see.
fn sensor_share(light: &Light) -> Option<f64> {
    let seen = |plane: &&PlaneLight| {
        plane.rung == WeatherRung::PlaneSensor && plane.clear_poa.w_m2() > MIN_CLEAR_W_M2
    };
    let shares: Vec<f64> = light
        .planes
        .iter()
        .flatten()
        .filter(seen)
        .map(|plane| plane.poa.w_m2() / plane.clear_poa.w_m2())
        .collect();
    (!shares.is_empty()).then(|| shares.iter().sum::<f64>() / shares.len() as f64)
}

fn choose(own: PlaneShare, elsewhere: Option<f64>) -> Option<(f64, f64)> {
    let credible = elsewhere.filter(|share| *share >= CREDIBLE_RATIO * own.best.unwrap_or(0.0));
    let from_elsewhere = credible.map(|share| {
        let clear = share >= CLEAR_FROM;
        (
            share,
            if clear {
                FROM_ELSEWHERE_CLEAR_RATIO
            } else {
                FROM_ELSEWHERE_CLOUDY_RATIO
            },
        )
    });
    let from_own = own.best.map(|share| (share, FROM_SIBLINGS_RATIO));
    if own.inputs >= 2 {
        from_own
    } else {
        from_elsewhere.or(from_own)
    }
}

fn scale(plane: &mut PlaneLight, share: f64, sigma_ratio: f64) {
    let scaled = |irradiance: Irradiance| Irradiance::from_w_m2(irradiance.w_m2() * share);
    plane.poa = scaled(plane.poa);
    plane.effective = scaled(plane.effective);
    plane.heat = plane.heat.scaled(share);
    plane.sigma_ratio = sigma_ratio;
}

#[cfg(test)]
mod tests {
    use super::*;

    fn share(best: f64, inputs: usize) -> PlaneShare {
        PlaneShare {
            best: Some(best),
            inputs,
        }
    }

    #[test]
    fn siblings_are_better_than_elsewhere() {
        assert_eq!(
            choose(share(0.9, 2), Some(0.8)),
            Some((0.9, FROM_SIBLINGS_RATIO))
        );
    }

    #[test]
    fn a_single_input_cannot_vouch_for_itself_while_there_is_elsewhere() {
        assert_eq!(
            choose(share(0.0, 1), Some(0.9)),
            Some((0.9, FROM_ELSEWHERE_CLEAR_RATIO))
        );
        assert_eq!(
            choose(share(0.9, 1), None),
            Some((0.9, FROM_SIBLINGS_RATIO))
        );
    }

    #[test]
    fn elsewhere_in_trouble_does_not_darken_a_plane_that_works() {
        assert_eq!(
            choose(share(0.9, 1), Some(0.1)),
            Some((0.9, FROM_SIBLINGS_RATIO))
        );
    }

    #[test]
    fn nothing_known_is_no_light() {
        assert_eq!(choose(PlaneShare::default(), None), None);
    }
}
