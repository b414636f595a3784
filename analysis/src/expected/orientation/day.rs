//! Tilt and azimuth of a plane from one clear day.
//!
//! Model:   two searches (`search`): with Huber's weights from the stated orientation, with Tukey's
//!          from where that ends. Lean to tilt and azimuth: d beta = (cos gamma, sin gamma) d lean,
//!          d gamma = (-sin gamma, cos gamma) d lean / beta
//! Symbols: beta, gamma  tilt, azimuth of the plane
//! Range:   sun 15 deg up and within 70 deg of the normal, both as stated and as found: below, the
//!          horizon, the glass and the air mass say more than the plane. 16 samples, 40 deg of sun
//!          azimuth; 15 deg from what is stated; everything else is a typed refusal.
//! Source:  own. Limits are engineering judgement.
//! Check:   `ensemble_tests` (coverage), tests/reference/orientation.rs (another code's days, a
//!          measured plane).
//!
//! What a day cannot say. At an equinox the sun runs along a great circle: to turn a plane that
//! faces the equator about the east-west axis changes the beam by one factor all day, and tilt and
//! gain are one. That comes out as `NotDetermined`. Two strings in parallel on planes that both see
//! the sun are, to the beam, one plane between them: its orientation is what comes out, mostly
//! outside the bounds or without an azimuth.

use super::clear_day::{self, Raw};
use super::outcome::{OrientationRefusal, Refined};
use super::receiver::{Lean, Receiver, Turned};
use super::robust::Loss;
use super::sample::{self, OrientationSample, Ready, turned_deg};
use super::search::{
    DIFFUSE, EAST, GAIN, MAX_STEPS, NORTH, SKY, SPECTRUM, Search, Settled, Unknowns,
};
use crate::plant::Plane;
use crate::reading::{Angle, median};

/// Furthest from what is stated [deg], in tilt and in azimuth.
const BOUND_DEG: f64 = 15.0;
/// Largest standard deviation of a day's tilt or azimuth [deg].
const MAX_SIGMA_DEG: f64 = 5.0;

/// Fits days.
#[derive(Debug, Clone)]
pub struct OrientationFit {
    receiver: Receiver,
}

impl OrientationFit {
    /// With this receiver in the plane.
    pub fn new(receiver: Receiver) -> Self {
        Self { receiver }
    }

    /// How the plane lay on the day of these samples, which stand in order of time.
    pub fn day(
        &self,
        stated: &Plane,
        samples: &[OrientationSample],
    ) -> Result<Refined, OrientationRefusal> {
        let ready: Vec<Ready> = samples.iter().map(Ready::of).collect();
        let start = Lean::of(stated.tilt, stated.azimuth);
        let as_stated = self.receiver.turned(stated, start);
        let usable = sample::usable(&ready, &[as_stated])?;
        let raw = raw(&usable, &as_stated);
        clear_day::before_the_fit(&raw)?;
        let clear = clear_day::clear_indices(&raw);
        let usable = sample::unclouded(usable, &clear)?;
        let raw = self::raw(&usable, &as_stated);
        let from_afar = Unknowns {
            ln_gain: median(raw.iter().map(|s| s.level))
                .expect("there are usable samples")
                .ln(),
            lean: start,
            sky: 0.0,
            spectrum: 0.0,
            diffuse: 0.0,
        };
        let near = self.search(stated, &usable, from_afar, Loss::Huber)?;
        let as_found = self.receiver.turned(stated, near.unknowns.lean);
        let usable = sample::usable(&ready, &[as_stated, as_found])?;
        let usable = sample::unclouded(usable, &clear)?;
        let settled = self.search(stated, &usable, near.unknowns, Loss::Tukey)?;
        clear_day::after_the_fit(&settled.rests, settled.scatter_ratio)?;
        let refined = refined(&settled);
        is_determined(&refined)?;
        is_within_bounds(&refined, stated)?;
        Ok(refined)
    }

    /// A search that comes to rest, or why it does not.
    fn search(
        &self,
        stated: &Plane,
        samples: &[&Ready],
        start: Unknowns,
        loss: Loss,
    ) -> Result<Settled, OrientationRefusal> {
        let search = Search {
            receiver: &self.receiver,
            plane: stated,
            samples,
        };
        let settled = search.settle(start, loss)?;
        if settled.has_come_to_rest() {
            return Ok(settled);
        }
        // It went astray along an open direction, or beyond the bounds, or round in a circle.
        let there = refined(&settled);
        is_determined(&there)?;
        is_within_bounds(&there, stated)?;
        Err(OrientationRefusal::DidNotConverge {
            steps: MAX_STEPS,
            last_step_deg: settled.last_step_deg,
        })
    }
}

fn is_determined(refined: &Refined) -> Result<(), OrientationRefusal> {
    let sigma_tilt_deg = refined.sigma_tilt.deg();
    let sigma_azimuth_deg = refined.sigma_azimuth.deg();
    if sigma_tilt_deg <= MAX_SIGMA_DEG && sigma_azimuth_deg <= MAX_SIGMA_DEG {
        return Ok(());
    }
    Err(OrientationRefusal::NotDetermined {
        sigma_tilt_deg,
        sigma_azimuth_deg,
    })
}

fn is_within_bounds(refined: &Refined, stated: &Plane) -> Result<(), OrientationRefusal> {
    let (tilt_deg, azimuth_deg) = (refined.tilt.deg(), refined.azimuth.deg());
    let off_tilt_deg = (tilt_deg - stated.tilt.deg()).abs();
    let off_azimuth_deg = turned_deg(stated.azimuth.deg(), azimuth_deg).abs();
    if off_tilt_deg <= BOUND_DEG && off_azimuth_deg <= BOUND_DEG {
        return Ok(());
    }
    Err(OrientationRefusal::OutsideBounds {
        tilt_deg,
        azimuth_deg,
        bound_deg: BOUND_DEG,
    })
}

fn raw(samples: &[&Ready], as_stated: &Turned) -> Vec<Raw> {
    let raw = |sample: &&Ready| Raw {
        clear_index: sample.clear_index,
        level: sample.response_ratio / sample.likely(as_stated),
    };
    samples.iter().map(raw).collect()
}

/// The covariance of the lean, turned to tilt and azimuth.
fn refined(settled: &Settled) -> Refined {
    let Unknowns { ln_gain, lean, .. } = settled.unknowns;
    let (tilt, azimuth) = (lean.tilt(), lean.azimuth());
    let (sin, cos) = azimuth.rad().sin_cos();
    // A flat plane has no azimuth: the sigma becomes as wide as the turn.
    let turn = (1.0 / tilt.rad()).min(360.0);
    let (to_tilt, to_azimuth) = ([cos, sin], [-sin * turn, cos * turn]);
    let c = &settled.covariance;
    let with = |a: &[f64; 2], other: usize| a[0] * c[NORTH][other] + a[1] * c[EAST][other];
    let between = |a: &[f64; 2], b: &[f64; 2]| b[0] * with(a, NORTH) + b[1] * with(a, EAST);
    // A true t, u or v of one, against the prior's zero, moves the estimate by minus its column.
    let moved = |a: &[f64; 2], by: usize| Angle::from_deg(-with(a, by));
    let sigma_tilt = between(&to_tilt, &to_tilt).sqrt();
    let sigma_azimuth = between(&to_azimuth, &to_azimuth).sqrt();
    let sigma_gain_ratio = c[GAIN][GAIN].sqrt();
    Refined {
        tilt,
        azimuth,
        gain: ln_gain.exp(),
        sigma_tilt: Angle::from_deg(sigma_tilt),
        sigma_azimuth: Angle::from_deg(sigma_azimuth),
        sigma_gain_ratio,
        correlation: between(&to_tilt, &to_azimuth) / (sigma_tilt * sigma_azimuth),
        tilt_gain_correlation: with(&to_tilt, GAIN) / (sigma_tilt * sigma_gain_ratio),
        sky: [moved(&to_tilt, SKY), moved(&to_azimuth, SKY)],
        spectrum: [moved(&to_tilt, SPECTRUM), moved(&to_azimuth, SPECTRUM)],
        diffuse: [moved(&to_tilt, DIFFUSE), moved(&to_azimuth, DIFFUSE)],
        model_share: settled.model_share,
        scatter_ratio: settled.scatter_ratio,
        samples: settled.rests.len(),
    }
}
