//! The sky that one plane shows to another.
//!
//! Model:   where a clear sky lights a plane from the sun, its light has one clearness
//!          (`sky::clearness_shown`). Where it does so more from the sky, clouds may make it brighter
//!          as well as darker: the clearnesses under which its light is within `ALIKE_RATIO` are all
//!          possible (`sky::clearness_between`), and so are all lights that they give another plane.
//! Symbols: clearness beside a clear sky [-]
//! Range:   planes with a sensor, or with inputs that vouch for their light
//! Source:  own; standard deviations in `sigma`
//! Check:   tests/acceptance/engine/inputs.rs and lone_input.rs; coverage.rs for the widths.

use super::scaled::is_unscaled;
use super::shares::PlaneShare;
use super::sigma::{self, Sigma};
use super::types::WeatherRung;
use super::{Ladder, Light, PlaneLight};
use crate::reading::Irradiance;
use crate::sky::{self, Components, Dome, Sunlight};

/// Step by which it is seen how an error of one plane comes out in another [-].
const BRIGHTER_RATIO: f64 = 0.02;
/// Clear-sky irradiance below which a plane shows no one clearness, and below which it shows
/// nothing [W/m2].
const MIN_CLEAR_W_M2: f64 = 50.0;
const LEAST_CLEAR_W_M2: f64 = 20.0;
/// Share of a clear sky from which a plane that cannot show clouds is taken to be in the sun [-].
const AS_CLEAR_RATIO: f64 = 0.8;
/// What light and model of a plane that faces away from the sun leave open (engineering
/// judgement) [-].
const ALIKE_RATIO: f64 = 0.1;
/// Half width of a uniform distribution over its standard deviation: sqrt(3).
const UNIFORM: f64 = 1.732_050_807_568_877_2;

/// The clearness of the sky that a plane shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Clearness {
    /// Which plane shows it.
    pub plane: usize,
    /// By its light.
    pub seen: f64,
    /// By a little more light: how much an error there stretches elsewhere.
    pub brighter: f64,
    /// How sure that light is.
    pub sigma: Sigma,
    /// Relative error from light that changed during the slot [-].
    pub unsteady_ratio: f64,
}

/// The least and the most clearness that are possible.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Between {
    pub least: f64,
    pub most: f64,
}

/// What one plane shows of the sky, by what shows it.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct ShownBy {
    by_sensor: Option<Clearness>,
    by_inputs: Option<Clearness>,
    between: Option<Between>,
}

/// The light that a sky gives a plane.
pub(super) struct Given {
    /// The plane that shows the sky, if one does.
    pub sky_from: Option<usize>,
    /// Irradiance in the plane [W/m2].
    pub poa_w_m2: f64,
    /// What reaches the cells.
    pub effective: Irradiance,
    /// Share of it that comes from the sun itself [-].
    pub beam_share: f64,
    pub sigma: Sigma,
    pub unsteady_ratio: f64,
}

/// What every plane shows that another one asks for its sky.
pub(super) fn shown_by_planes(
    ladder: &Ladder,
    light: &Light,
    shares: &[PlaneShare],
    clear: &(Sunlight, Components),
) -> Vec<ShownBy> {
    let of_plane = |(p, plane): (usize, &Option<PlaneLight>)| {
        let mut others = light.planes.iter().enumerate().filter(|(q, _)| *q != p);
        let is_asked = others.any(|(_, other)| other.as_ref().is_some_and(is_unscaled));
        let is_lit = |plane: &PlaneLight| plane.clear_poa.w_m2() > LEAST_CLEAR_W_M2;
        let lit = plane.filter(|plane| is_asked && is_lit(plane))?;
        let sensor =
            (lit.rung == WeatherRung::PlaneSensor).then_some((lit.poa.w_m2(), lit.unsteady_ratio));
        // By its place on a curve an input shows the light of its own plane, and not well enough for others.
        let at_peak = shares[p].together().filter(|together| !together.by_curve);
        let inputs = at_peak.map(|together| {
            let w_m2 = together.share * lit.clear_poa.w_m2();
            (w_m2, together.unsteady_ratio)
        });
        let shown = |(w_m2, unsteady_ratio): (f64, f64), sigma: Sigma| {
            let by = |w_m2| ladder.clearness_shown(p, Irradiance::from_w_m2(w_m2), clear);
            Some(Clearness {
                plane: p,
                seen: by(w_m2)?,
                brighter: by(w_m2 * (1.0 + BRIGHTER_RATIO))?,
                sigma,
                unsteady_ratio,
            })
        };
        let is_bright = lit.clear_poa.w_m2() > MIN_CLEAR_W_M2;
        let by_sensor = sensor.filter(|_| is_bright);
        let by_sensor = by_sensor.and_then(|seen| shown(seen, sigma::ELSEWHERE_BY_SENSOR));
        let by_inputs = inputs.filter(|_| is_bright && sensor.is_none());
        let by_inputs = by_inputs.and_then(|seen| shown(seen, sigma::ELSEWHERE_BY_INPUTS));
        let is_open = by_sensor.is_none() && by_inputs.is_none();
        // A single input that shows next to nothing may be dead.
        let darkness = |w_m2: f64| w_m2 < super::scaled::DARKEST_SHARE * lit.clear_poa.w_m2();
        let vouched = inputs.filter(|(w_m2, _)| shares[p].vouching() > 1 || !darkness(*w_m2));
        let any = sensor.or(vouched).filter(|_| is_open);
        let between = any.map(|(w_m2, _)| {
            let off = |ratio: f64| Irradiance::from_w_m2(w_m2 * ratio);
            let alike = (off(1.0 - ALIKE_RATIO), off(1.0 + ALIKE_RATIO));
            let (least, most) = ladder.clearness_between(p, alike, clear);
            Between { least, most }
        });
        Some(ShownBy {
            by_sensor,
            by_inputs,
            between,
        })
    };
    let planes = light.planes.iter().enumerate();
    planes
        .map(|plane| of_plane(plane).unwrap_or_default())
        .collect()
}

/// The sky that the other planes show to plane `p`: by sensors, which do not fail with an array, else
/// by inputs; of several the clearest, for a fault lowers what an input shows.
pub(super) fn clearness_elsewhere(shown: &[ShownBy], p: usize) -> Option<Clearness> {
    let others = || shown.iter().enumerate().filter(|(q, _)| *q != p);
    let clearer = |a: Clearness, b: Clearness| if a.seen < b.seen { b } else { a };
    let sensor = others().filter_map(|(_, s)| s.by_sensor).reduce(clearer);
    let inputs = others().filter_map(|(_, s)| s.by_inputs).reduce(clearer);
    sensor.or(inputs)
}

/// What the other planes leave possible where none shows one clearness: the narrowest.
pub(super) fn between_elsewhere(shown: &[ShownBy], p: usize) -> Option<Between> {
    let others = shown.iter().enumerate().filter(|(q, _)| *q != p);
    let narrower = |a: Between, b: Between| if b.width() < a.width() { b } else { a };
    others.filter_map(|(_, s)| s.between).reduce(narrower)
}

impl Between {
    fn width(self) -> f64 {
        self.most - self.least
    }
}

/// The light of plane `p` under the sky that another plane shows.
pub(super) fn light_under(
    ladder: &Ladder,
    p: usize,
    light: &Light,
    (sun, sky): &(Sunlight, Components),
    shown: Clearness,
) -> Given {
    let ground = sky::under_clouds(sky, shown.seen, sun);
    let on_plane = |ground: &Components| ladder.on_plane(p, &Dome::new(ground, sun), &light.sun);
    let taken = on_plane(&ground);
    let poa_w_m2 = taken.total().w_m2();
    let brighter = on_plane(&sky::under_clouds(sky, shown.brighter, sun));
    let times = (brighter.total().w_m2() / poa_w_m2 - 1.0).abs() / BRIGHTER_RATIO;
    Given {
        sky_from: Some(shown.plane),
        poa_w_m2,
        effective: ladder.effective(p, &taken, sun),
        beam_share: ladder.beam_share(p, &taken, sun),
        sigma: sigma::scaled_from_elsewhere(
            shown.sigma,
            ground.diffuse_ratio(),
            ladder.cos_incidence(p, sun),
            times,
        ),
        unsteady_ratio: times * shown.unsteady_ratio,
    }
}

/// The light of plane `p` under the skies that other planes leave possible: of the middle one, and
/// as wide as the others go.
pub(super) fn light_between(
    ladder: &Ladder,
    p: usize,
    light: &Light,
    (sun, sky): &(Sunlight, Components),
    possible: Between,
) -> Given {
    let on_plane = |clearness: f64| {
        let dome = Dome::new(&sky::under_clouds(sky, clearness, sun), sun);
        ladder.on_plane(p, &dome, &light.sun)
    };
    let taken = on_plane(f64::midpoint(possible.least, possible.most));
    let poa_w_m2 = taken.total().w_m2();
    let ends = [possible.least, possible.most].map(|c| on_plane(c).total().w_m2());
    let furthest = ends.map(|end| (end / poa_w_m2 - 1.0).abs());
    let uniform = furthest[0].max(furthest[1]) / UNIFORM;
    Given {
        sky_from: None,
        poa_w_m2,
        effective: ladder.effective(p, &taken, sun),
        beam_share: ladder.beam_share(p, &taken, sun),
        sigma: sigma::OPEN_SKY.and(Sigma::new(0.0, uniform)),
        unsteady_ratio: 0.0,
    }
}

/// Share of beam in a plane that shows this share of the clear sky by its own inputs [-].
pub(super) fn beam_share_shown(
    ladder: &Ladder,
    p: usize,
    light: &Light,
    plane: &PlaneLight,
    (sun, sky): &(Sunlight, Components),
    share: f64,
) -> f64 {
    let shown = Irradiance::from_w_m2(share * plane.clear_poa.w_m2());
    match ladder.clearness_shown(p, shown, &(*sun, *sky)) {
        Some(clearness) => {
            let dome = Dome::new(&sky::under_clouds(sky, clearness, sun), sun);
            ladder.beam_share(p, &ladder.on_plane(p, &dome, &light.sun), sun)
        }
        // A plane with little beam anyway: none where it is darker than under a clear sky.
        None if share >= AS_CLEAR_RATIO => plane.beam_share,
        None => 0.0,
    }
}
