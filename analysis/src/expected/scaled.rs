//! The last rung of the weather ladder: clear sky, scaled by what the rest of the plant shows.
//!
//! Model:   a plane with two or more inputs that vouch is lit as they show together (`shares`): a
//!          fault lowers one of them, never all. A plane with a single one is lit by the sky that the
//!          rest of the plant shows (`elsewhere`), as long as its clearness is at least half of its
//!          own share: then its own loss shows. Where no other plane shows one sky, it is lit by
//!          itself unless it shows next to nothing: that may be its own fault as well as darkness.
//!          Then it is lit by the middle of what other planes leave possible, with that width; where
//!          none shows anything, its light is unknown.
//! Symbols: shares and clearness dimensionless, 1 under a clear sky.
//! Range:   planes without a sensor and without global irradiance.
//! Source:  own; standard deviations in `sigma`.
//! Check:   tests/acceptance/engine/inputs.rs, lone_input.rs and health.rs, a plant without sensors.

use super::elsewhere::{
    Between, Clearness, Given, beam_share_shown, between_elsewhere, clearness_elsewhere,
    light_between, light_under, shown_by_planes,
};
use super::shares::{PlaneShare, Together};
use super::sigma;
use super::types::WeatherRung;
use super::{Ladder, Light, PlaneLight};
use crate::reading::Irradiance;

/// Share elsewhere over own share below which elsewhere is in trouble itself, and the other way
/// round [-].
const CREDIBLE_RATIO: f64 = 0.5;
/// Share of the clear sky under which one input says that it is dead as much as that it is dark: the
/// thickest cloud lets more through (engineering judgement) [-].
pub(super) const DARKEST_SHARE: f64 = 0.03;

/// Whether any plane stands on the last rung.
pub fn needs_scaling(light: &Light) -> bool {
    light.planes.iter().flatten().any(is_unscaled)
}

pub(super) fn is_unscaled(plane: &PlaneLight) -> bool {
    plane.rung == WeatherRung::ScaledClearSky
}

/// What shows the light of a plane.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Shown {
    /// Its own inputs: their share of the clear sky.
    Own(Together),
    /// The rest of the plant: the sky.
    Elsewhere(Clearness),
    /// The rest of the plant, not quite.
    Between(Between),
}

/// Scales every plane on the last rung; one of which nothing is known loses its light.
pub fn scale_clear_sky(ladder: &Ladder, light: &mut Light, shares: &[PlaneShare]) {
    let Some(clear) = light.clear else { return };
    let shown = shown_by_planes(ladder, light, shares, &clear);
    let of_plane = |(p, slot): (usize, &Option<PlaneLight>)| {
        let plane = slot.filter(is_unscaled)?;
        let elsewhere = clearness_elsewhere(&shown, p);
        let between = between_elsewhere(&shown, p);
        Some((
            p,
            choose(&shares[p], elsewhere, between).map(|shown| match shown {
                Shown::Own(together) => PlaneLight {
                    beam_share: beam_share_shown(ladder, p, light, &plane, &clear, together.share),
                    ..by_own_inputs(plane, together)
                },
                Shown::Elsewhere(sky) => from(plane, light_under(ladder, p, light, &clear, sky)),
                Shown::Between(skies) => {
                    from(plane, light_between(ladder, p, light, &clear, skies))
                }
            }),
        ))
    };
    let scaled: Vec<_> = light
        .planes
        .iter()
        .enumerate()
        .filter_map(of_plane)
        .collect();
    for (p, plane) in scaled {
        light.planes[p] = plane;
    }
}

fn choose(
    own: &PlaneShare,
    elsewhere: Option<Clearness>,
    between: Option<Between>,
) -> Option<Shown> {
    let together = own.together();
    let own_share = together.map_or(0.0, |together| together.share);
    let by_itself = together.map(Shown::Own);
    if own.vouching() >= 2 {
        return by_itself;
    }
    // Of siblings the last one that works shows the light, as long as it works.
    let works = |shown: Clearness| own_share >= CREDIBLE_RATIO * shown.seen;
    if own.has_others() && elsewhere.is_some_and(works) {
        return by_itself;
    }
    let is_credible = |shown: &Clearness| shown.seen >= CREDIBLE_RATIO * own_share;
    let elsewhere = elsewhere.filter(is_credible).map(Shown::Elsewhere);
    let by_itself = by_itself.filter(|_| own_share > DARKEST_SHARE);
    elsewhere.or(by_itself).or(between.map(Shown::Between))
}

fn by_own_inputs(plane: PlaneLight, together: Together) -> PlaneLight {
    PlaneLight {
        own_inputs: Some(together.inputs),
        unsteady_ratio: together.unsteady_ratio,
        sigma: match together.by_curve {
            true => sigma::BY_PLACE_ON_CURVE,
            false => sigma::SCALED_BY_SIBLINGS,
        },
        ..scale(plane, together.share)
    }
}

fn from(plane: PlaneLight, given: Given) -> PlaneLight {
    PlaneLight {
        effective: given.effective,
        beam_share: given.beam_share,
        sky_from: given.sky_from,
        sigma: given.sigma,
        unsteady_ratio: given.unsteady_ratio,
        ..scale(plane, given.poa_w_m2 / plane.poa.w_m2())
    }
}

/// The light of a slot with so much of it in one plane, whose cells are warm accordingly.
pub fn with_plane_scaled(light: &Light, p: usize, share: f64) -> Light {
    let mut scaled = light.clone();
    scaled.planes[p] = light.planes[p].map(|plane| scale(plane, share));
    scaled
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
    use super::super::shares::InputShare;
    use super::*;

    fn of(shares: &[f64]) -> PlaneShare {
        let mut plane = PlaneShare::default();
        for share in shares {
            plane.add(InputShare {
                share: *share,
                own_ratio: 0.015,
                unsteady_ratio: 0.0,
                by_curve: false,
            });
        }
        plane
    }

    /// The same beside an input that cannot vouch.
    fn beside_a_fault(shares: &[f64]) -> PlaneShare {
        let mut plane = of(shares);
        plane.add_without_voice();
        plane
    }

    fn clearness(seen: f64) -> Clearness {
        Clearness {
            plane: 0,
            seen,
            brighter: seen,
            sigma: sigma::ELSEWHERE_BY_INPUTS,
            unsteady_ratio: 0.0,
        }
    }

    const BETWEEN: Between = Between {
        least: 0.4,
        most: 1.0,
    };

    fn own_share(shown: Option<Shown>) -> f64 {
        match shown {
            Some(Shown::Own(together)) => together.share,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn siblings_are_better_than_elsewhere() {
        let shown = choose(&of(&[0.9, 0.9]), Some(clearness(0.8)), None);
        assert_eq!(own_share(shown), 0.9);
    }

    #[test]
    fn a_single_input_cannot_vouch_for_itself_while_there_is_elsewhere() {
        let elsewhere = Some(clearness(0.9));
        let shown = choose(&of(&[0.0]), elsewhere, Some(BETWEEN));
        assert_eq!(shown, Some(Shown::Elsewhere(clearness(0.9))));
        assert_eq!(own_share(choose(&of(&[0.9]), None, Some(BETWEEN))), 0.9);
    }

    #[test]
    fn a_single_input_that_shows_nothing_does_not_make_it_dark() {
        let shown = choose(&of(&[0.0]), None, Some(BETWEEN));
        assert_eq!(shown, Some(Shown::Between(BETWEEN)));
        assert_eq!(choose(&of(&[0.0]), None, None), None);
    }

    #[test]
    fn an_input_on_which_something_stands_says_nothing_of_the_light() {
        let faulty = beside_a_fault(&[]);
        assert_eq!(choose(&faulty, None, None), None);
        let shown = choose(&faulty, None, Some(BETWEEN));
        assert_eq!(shown, Some(Shown::Between(BETWEEN)));
    }

    #[test]
    fn the_last_sibling_shows_the_light_as_long_as_it_works() {
        let elsewhere = Some(clearness(0.8));
        let shown = choose(&beside_a_fault(&[0.9]), elsewhere, None);
        assert_eq!(own_share(shown), 0.9);
        let shown = choose(&beside_a_fault(&[0.1]), elsewhere, None);
        assert_eq!(shown, Some(Shown::Elsewhere(clearness(0.8))));
    }

    #[test]
    fn elsewhere_in_trouble_does_not_darken_a_plane_that_works() {
        let shown = choose(&of(&[0.9]), Some(clearness(0.1)), None);
        assert_eq!(own_share(shown), 0.9);
    }

    #[test]
    fn nothing_known_is_no_light() {
        assert_eq!(choose(&PlaneShare::default(), None, None), None);
    }
}
