//! The last rung of the weather ladder: clear sky, scaled by what the rest of the plant shows.
//!
//! Model:   share = the best input of the plane over its clear-sky current, where the plane has two
//!          or more inputs: a fault lowers one of them, never all. A plane with a single input is
//!          lit by the sky that the rest of the plant shows (sensors in other planes, else inputs on
//!          them, `sky::clouds`), as long as its clearness is at least half of its own share: then
//!          its own loss shows.
//! Symbols: shares and clearness dimensionless, 1 under a clear sky.
//! Range:   planes without a sensor and without global irradiance.
//! Source:  own; standard deviations in `sigma`.
//! Check:   tests/acceptance/engine/inputs.rs and health.rs, a plant without sensors.

use super::sigma::{self, Sigma};
use super::types::WeatherRung;
use super::{Ladder, Light, PlaneLight};
use crate::reading::Irradiance;
use crate::sky::{self, Components, Dome, Sunlight};

/// Share elsewhere over own share below which elsewhere is in trouble itself [-].
const CREDIBLE_RATIO: f64 = 0.5;
/// Step by which it is seen how an error elsewhere comes out here [-].
const BRIGHTER_RATIO: f64 = 0.02;
/// Share of a clear sky from which a plane that cannot show clouds is taken to be in the sun [-].
const AS_CLEAR_RATIO: f64 = 0.8;
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

/// What shows the light of a plane.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Shown {
    /// Its own inputs: their share of the clear sky.
    Own(f64),
    /// The rest of the plant: the sky.
    Elsewhere(Clearness),
}

/// Scales every plane on the last rung; one of which nothing is known loses its light.
pub fn scale_clear_sky(ladder: &Ladder, light: &mut Light, shares: &[PlaneShare]) {
    let Some(clear) = light.clear else { return };
    let shown = clearness_by_plane(ladder, light, shares, &clear);
    let sun_position = light.sun;
    for (p, slot) in light.planes.iter_mut().enumerate() {
        let Some(plane) = slot.filter(is_unscaled) else {
            continue;
        };
        let others = || shown.iter().enumerate().filter(|(q, _)| *q != p);
        // A sensor does not fail with an array; of inputs a fault lowers one, so the best one.
        let clearer = |a: Clearness, b: Clearness| if a.seen < b.seen { b } else { a };
        let sensor = others().filter_map(|(_, s)| s.by_sensor).reduce(clearer);
        let inputs = others().filter_map(|(_, s)| s.by_inputs).reduce(clearer);
        *slot = choose(shares[p], sensor.or(inputs)).map(|shown| match shown {
            Shown::Own(share) => PlaneLight {
                by_own_inputs: true,
                beam_share: beam_share(ladder, p, &plane, share, &clear, &sun_position),
                ..scale(plane, share)
            },
            Shown::Elsewhere(clearness) => {
                let (sun, sky) = &clear;
                let under = |clearness: f64| sky::under_clouds(sky, clearness, sun);
                let on_plane = |ground: &Components| {
                    ladder.on_plane(p, &Dome::new(ground, sun), &sun_position)
                };
                let ground = under(clearness.seen);
                let taken = on_plane(&ground);
                let total = taken.total().w_m2();
                let brighter = on_plane(&under(clearness.brighter)).total().w_m2();
                let sigma = sigma::scaled_from_elsewhere(
                    clearness.sigma,
                    (ground.dhi.w_m2() / ground.ghi.w_m2().max(1.0)).min(1.0),
                    (brighter / total - 1.0).abs() / BRIGHTER_RATIO,
                );
                PlaneLight {
                    effective: ladder.effective(p, &taken, sun),
                    beam_share: ladder.beam_share(p, &taken, sun),
                    sigma,
                    ..scale(plane, total / plane.poa.w_m2())
                }
            }
        });
    }
}

/// Share of beam in a plane that shows this share of the clear sky by its own inputs [-].
fn beam_share(
    ladder: &Ladder,
    p: usize,
    plane: &PlaneLight,
    share: f64,
    clear: &(Sunlight, Components),
    at: &sky::SunPosition,
) -> f64 {
    let shown = Irradiance::from_w_m2(share * plane.clear_poa.w_m2());
    match ladder.clearness_shown(p, shown, clear) {
        Some(clearness) => {
            let (sun, sky) = clear;
            let ground = sky::under_clouds(sky, clearness, sun);
            let taken = ladder.on_plane(p, &Dome::new(&ground, sun), at);
            ladder.beam_share(p, &taken, sun)
        }
        // A plane with little beam anyway: none where it is darker than under a clear sky.
        None if share >= AS_CLEAR_RATIO => plane.beam_share,
        None => 0.0,
    }
}

/// The clearness of the sky that a plane shows.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Clearness {
    /// By its light.
    seen: f64,
    /// By a little more light: how much an error there stretches elsewhere.
    brighter: f64,
    /// How sure that light is.
    sigma: Sigma,
}

/// The same, by what shows it.
#[derive(Debug, Clone, Copy, Default)]
struct ShownBy {
    by_sensor: Option<Clearness>,
    by_inputs: Option<Clearness>,
}

fn clearness_by_plane(
    ladder: &Ladder,
    light: &Light,
    shares: &[PlaneShare],
    clear: &(Sunlight, Components),
) -> Vec<ShownBy> {
    let of_plane = |(p, plane): (usize, &Option<PlaneLight>)| {
        let lit = plane.filter(|plane| plane.clear_poa.w_m2() > MIN_CLEAR_W_M2)?;
        let shown = |w_m2: f64, sigma: Sigma| {
            let by = |w_m2| ladder.clearness_shown(p, Irradiance::from_w_m2(w_m2), clear);
            Some(Clearness {
                seen: by(w_m2)?,
                brighter: by(w_m2 * (1.0 + BRIGHTER_RATIO))?,
                sigma,
            })
        };
        let sensor = (lit.rung == WeatherRung::PlaneSensor).then_some(lit.poa.w_m2());
        let inputs = shares[p].best.map(|share| share * lit.clear_poa.w_m2());
        Some(ShownBy {
            by_sensor: sensor.and_then(|w_m2| shown(w_m2, sigma::ELSEWHERE_BY_SENSOR)),
            by_inputs: inputs.and_then(|w_m2| shown(w_m2, sigma::ELSEWHERE_BY_INPUTS)),
        })
    };
    let planes = light.planes.iter().enumerate();
    planes
        .map(|plane| of_plane(plane).unwrap_or_default())
        .collect()
}

fn choose(own: PlaneShare, elsewhere: Option<Clearness>) -> Option<Shown> {
    let own_share = own.best.map(Shown::Own);
    if own.inputs >= 2 {
        return own_share;
    }
    let is_credible = |shown: &Clearness| shown.seen >= CREDIBLE_RATIO * own.best.unwrap_or(0.0);
    let elsewhere = elsewhere.filter(is_credible).map(Shown::Elsewhere);
    elsewhere.or(own_share)
}

fn scale(plane: PlaneLight, share: f64) -> PlaneLight {
    let scaled = |irradiance: Irradiance| Irradiance::from_w_m2(irradiance.w_m2() * share);
    PlaneLight {
        poa: scaled(plane.poa),
        effective: scaled(plane.effective),
        heat: plane.heat.scaled(share),
        sigma: sigma::SCALED_BY_SIBLINGS,
        ..plane
    }
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

    fn clearness(seen: f64) -> Clearness {
        Clearness {
            seen,
            brighter: seen,
            sigma: sigma::ELSEWHERE_BY_INPUTS,
        }
    }

    #[test]
    fn siblings_are_better_than_elsewhere() {
        assert_eq!(
            choose(share(0.9, 2), Some(clearness(0.8))),
            Some(Shown::Own(0.9))
        );
    }

    #[test]
    fn a_single_input_cannot_vouch_for_itself_while_there_is_elsewhere() {
        assert_eq!(
            choose(share(0.0, 1), Some(clearness(0.9))),
            Some(Shown::Elsewhere(clearness(0.9)))
        );
        assert_eq!(choose(share(0.9, 1), None), Some(Shown::Own(0.9)));
    }

    #[test]
    fn elsewhere_in_trouble_does_not_darken_a_plane_that_works() {
        assert_eq!(
            choose(share(0.9, 1), Some(clearness(0.1))),
            Some(Shown::Own(0.9))
        );
    }

    #[test]
    fn nothing_known_is_no_light() {
        assert_eq!(choose(PlaneShare::default(), None), None);
    }
}
