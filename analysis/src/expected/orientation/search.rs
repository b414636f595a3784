//! The search for the orientation that makes the day.
//!
//! Model:   m = g E(lean, t, v) AM^(a u) (1 + e), in relative residuals r = m / (g E AM^(a u)) - 1;
//!          unknowns ln g, lean, and t, u, v ~ N(0, 1).
//!          The sky of t: GHI (GHI' / GHI)^t, DNI (DNI' / DNI)^t, the diffuse light in the plane
//!          linear in t; GHI', DNI' of the other sky. For a clear sky t is linear in turbidity.
//!          v moves the diffuse light from the model of Perez towards that of Hay and Davies.
//!          Gauss-Newton with steps of bounded length; weights of Huber or Tukey over the robust
//!          scatter; covariance = inverse of sum w J J' / (s_r2 f) + P
//! Symbols: m  response, over rated [-]    g  gain [-]    E  effective irradiance, over 1000 W/m2
//!          s_r  scatter of r [-]    P  prior precision of t, u, v    AM  air mass [-]
//!          a  one standard deviation of what spectrum and its like do to the response [-]
//!          f = inflation by autocorrelation + (piece / s_r)2 n / 8: the mean of an eighth of the n
//!          samples is never known better than `piece`
//! Range:   samples with light; a search that does not rest, or gets lost, says so by its last
//!          step.
//! Source:  own. That the other sky, the spectrum and the diffuse model are unknowns, held by a
//!          prior, and not merely a larger error: they bend the day as a tilt does, and no residual
//!          shows them.
//! Check:   `day_tests` (exact days), `ensemble_tests` (coverage).

use super::clear_day::Rest;
use super::least_squares::{Matrix, NormalEquations, UNKNOWNS, Vector};
use super::outcome::OrientationRefusal;
use super::receiver::{Lean, Receiver, Turned};
use super::robust::{self, Loss};
use super::sample::Ready;
use crate::plant::Plane;
use crate::reading::{median, robust_spread};

/// What the mean of an eighth of the day is off by for reasons that no scatter shows [-]:
/// temperature, glass, reflections; and the part of the other sky's effect over the day that no t
/// describes. Engineering judgement, set so that `ensemble_tests` finds the truth as often as the
/// intervals say.
const PIECE_RATIO: f64 = 0.002;
const OTHER_SHAPE_RATIO: f64 = 0.4;
const PIECES: f64 = 8.0;
/// Why a median is there.
const SAMPLES: &str = "a search has samples";
/// Least scatter that is believed [-]: a sample that is off by less is not left out for it.
const MIN_SCATTER_RATIO: f64 = 0.003;

pub(super) const MAX_STEPS: u32 = 60;
/// After so many the noise is held: a scatter that follows the weights, and weights that follow the
/// scatter, may go round in a circle.
const STEPS_OF_NOISE: u32 = 15;
/// Longest step of the lean [deg], and the one that ends the search.
const LONGEST_STEP_DEG: f64 = 5.0;
const LAST_STEP_DEG: f64 = 0.002;
/// The lean has left all bounds by then [deg].
const LOST_DEG: f64 = 45.0;
/// Half the distance over which the light is differentiated [deg].
const HALF_DEG: f64 = 0.1;
/// The same of t and v [-].
const HALF_SKY: f64 = 0.05;

/// What is searched against what.
#[derive(Clone, Copy)]
pub(super) struct Search<'a> {
    pub receiver: &'a Receiver,
    /// Its albedo counts here, not its orientation.
    pub plane: &'a Plane,
    pub samples: &'a [&'a Ready],
}

/// Where the unknowns stand in vectors: ln g, north, east, t, u, v.
pub(super) const GAIN: usize = 0;
pub(super) const NORTH: usize = 1;
pub(super) const EAST: usize = 2;
pub(super) const SKY: usize = 3;
pub(super) const SPECTRUM: usize = 4;
pub(super) const DIFFUSE: usize = 5;

/// ln g, lean, t, u and v.
#[derive(Debug, Clone, Copy)]
pub(super) struct Unknowns {
    pub ln_gain: f64,
    pub lean: Lean,
    pub sky: f64,
    pub spectrum: f64,
    pub diffuse: f64,
}

/// Where a search ended.
pub(super) struct Settled {
    pub unknowns: Unknowns,
    /// In the order of the unknowns.
    pub covariance: Matrix,
    pub rests: Vec<Rest>,
    /// s_r.
    pub scatter_ratio: f64,
    /// Part of the variance that models make, not noise [-].
    pub model_share: f64,
    pub last_step_deg: f64,
}

/// One sample against the unknowns.
struct Compared {
    residual_ratio: f64,
    derivatives: Vector,
}

/// How far residuals over their sigmas scatter, f, and the part of f that the pieces make.
#[derive(Debug, Clone, Copy)]
struct Noise {
    scatter: f64,
    inflation: f64,
    model_share: f64,
}

impl Search<'_> {
    pub fn settle(&self, start: Unknowns, loss: Loss) -> Result<Settled, OrientationRefusal> {
        let mut unknowns = start;
        let mut noise = self.noise(&self.compare(start), loss);
        let mut last_step_deg = f64::INFINITY;
        let mut steps = 0;
        loop {
            let compared = self.compare(unknowns);
            if steps < STEPS_OF_NOISE {
                noise = self.noise(&compared, loss);
            }
            let equations = self.equations(&compared, &noise, loss, unknowns);
            let is_lost = unknowns.lean.apart_deg(start.lean) > LOST_DEG;
            if last_step_deg < LAST_STEP_DEG || is_lost || steps == MAX_STEPS {
                let covariance = equations.covariance().ok_or(OrientationRefusal::Singular)?;
                return Ok(Settled {
                    unknowns,
                    covariance,
                    rests: self.rests(&compared, &noise, loss),
                    scatter_ratio: noise.scatter * self.sigma_ratio(),
                    model_share: noise.model_share,
                    last_step_deg,
                });
            }
            let step = equations.step().ok_or(OrientationRefusal::Singular)?;
            (unknowns, last_step_deg) = unknowns.moved(&step);
            steps += 1;
        }
    }

    fn compare(&self, at: Unknowns) -> Vec<Compared> {
        let turned = |north_deg, east_deg| {
            let lean = Lean {
                north_deg: at.lean.north_deg + north_deg,
                east_deg: at.lean.east_deg + east_deg,
            };
            self.receiver.turned(self.plane, lean)
        };
        let here = turned(0.0, 0.0);
        let north = [turned(-HALF_DEG, 0.0), turned(HALF_DEG, 0.0)];
        let east = [turned(0.0, -HALF_DEG), turned(0.0, HALF_DEG)];
        let compare = |sample: &&Ready| {
            let effective =
                |turned: &Turned| sample.effective(&sample.parts(turned), at.sky, at.diffuse);
            let slope = |[less, more]: &[Turned; 2]| {
                (effective(more) / effective(less)).ln() / (2.0 * HALF_DEG)
            };
            let parts = sample.parts(&here);
            let under = |t, v| sample.effective(&parts, at.sky + t, at.diffuse + v);
            let along = |less: f64, more: f64| (more / less).ln() / (2.0 * HALF_SKY);
            let spectral = here.spectral_effect(&sample.sun);
            let factor = (at.ln_gain + at.spectrum * spectral).exp();
            Compared {
                residual_ratio: sample.response_ratio / (factor * under(0.0, 0.0)) - 1.0,
                derivatives: [
                    1.0,
                    slope(&north),
                    slope(&east),
                    along(under(-HALF_SKY, 0.0), under(HALF_SKY, 0.0)),
                    spectral,
                    along(under(0.0, -HALF_SKY), under(0.0, HALF_SKY)),
                ],
            }
        };
        self.samples.iter().map(compare).collect()
    }

    fn noise(&self, compared: &[Compared], loss: Loss) -> Noise {
        let n = self.samples.len() as f64;
        let over_sigma = |(c, s): (&Compared, &&Ready)| c.residual_ratio / s.sigma_ratio;
        let over_sigma: Vec<f64> = compared.iter().zip(self.samples).map(over_sigma).collect();
        let scatter = robust_spread(over_sigma.iter().copied(), 0.0).expect(SAMPLES)
            * (n / (n - UNKNOWNS as f64)).sqrt();
        let scatter = scatter.max(MIN_SCATTER_RATIO / self.sigma_ratio());
        let z: Vec<f64> = over_sigma.iter().map(|r| r / scatter).collect();
        let weights: Vec<f64> = z.iter().map(|z| loss.weight(*z)).collect();
        let piece = piece_ratio(compared) / (scatter * self.sigma_ratio());
        let (of_noise, of_models) = (
            robust::inflation(&z, &weights, UNKNOWNS),
            piece.powi(2) * n / PIECES,
        );
        Noise {
            scatter,
            inflation: of_noise + of_models,
            model_share: of_models / (of_noise + of_models),
        }
    }

    fn sigma_ratio(&self) -> f64 {
        median(self.samples.iter().map(|s| s.sigma_ratio)).expect(SAMPLES)
    }

    fn rests(&self, compared: &[Compared], noise: &Noise, loss: Loss) -> Vec<Rest> {
        let rest = |(compared, sample): (&Compared, &&Ready)| {
            let z = compared.residual_ratio / (sample.sigma_ratio * noise.scatter);
            Rest {
                residual_ratio: compared.residual_ratio,
                z,
                weight: loss.weight(z),
            }
        };
        compared.iter().zip(self.samples).map(rest).collect()
    }

    fn equations(
        &self,
        compared: &[Compared],
        noise: &Noise,
        loss: Loss,
        at: Unknowns,
    ) -> NormalEquations {
        let mut equations = NormalEquations::default();
        let rests = self.rests(compared, noise, loss);
        for ((rest, c), s) in rests.iter().zip(compared).zip(self.samples) {
            let variance = (s.sigma_ratio * noise.scatter).powi(2) * noise.inflation;
            equations.add(&c.derivatives, c.residual_ratio, rest.weight / variance);
        }
        for (unknown, value) in [
            (SKY, at.sky),
            (SPECTRUM, at.spectrum),
            (DIFFUSE, at.diffuse),
        ] {
            let mut prior = [0.0; UNKNOWNS];
            prior[unknown] = 1.0;
            equations.add(&prior, -value, 1.0); // N(0, 1)
        }
        equations
    }
}

impl Settled {
    pub fn has_come_to_rest(&self) -> bool {
        self.last_step_deg < LAST_STEP_DEG
    }
}

impl Unknowns {
    /// Moved along a step, no further than the longest one; and how far the lean went [deg].
    fn moved(self, step: &Vector) -> (Self, f64) {
        let wanted_deg = step[NORTH].hypot(step[EAST]);
        let part = (LONGEST_STEP_DEG / wanted_deg).min(1.0);
        let moved = Self {
            ln_gain: self.ln_gain + part * step[GAIN],
            lean: Lean {
                north_deg: self.lean.north_deg + part * step[NORTH],
                east_deg: self.lean.east_deg + part * step[EAST],
            },
            sky: self.sky + part * step[SKY],
            spectrum: self.spectrum + part * step[SPECTRUM],
            diffuse: self.diffuse + part * step[DIFFUSE],
        };
        (moved, part * wanted_deg)
    }
}

/// What the mean of a piece of the day may be off by.
fn piece_ratio(compared: &[Compared]) -> f64 {
    let n = compared.len() as f64;
    let other = |c: &Compared| c.derivatives[SKY];
    let mean = compared.iter().map(other).sum::<f64>() / n;
    let square = |c: &Compared| (other(c) - mean).powi(2);
    let spread = (compared.iter().map(square).sum::<f64>() / n).sqrt();
    PIECE_RATIO.hypot(OTHER_SHAPE_RATIO * spread)
}
