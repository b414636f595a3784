//! What a slot of a clear day gives to the fit, and which slots are fit for it.
//! Never in here: the unknowns.

use super::outcome::OrientationRefusal;
use super::receiver::{Parts, Turned};
use crate::reading::Irradiance;
use crate::sky::{Components, Dome, SunDirection, Sunlight};
use std::ops::RangeInclusive;

const MIN_ELEVATION_DEG: f64 = 15.0;
const MAX_INCIDENCE_DEG: f64 = 70.0;
const MIN_SAMPLES: usize = 16;
const MIN_ARC_DEG: f64 = 40.0;
/// Irradiance at which a response is rated [W/m2].
const RATED_W_M2: f64 = 1000.0;
/// One standard deviation of the sky's diffuse light in a plane, from the model of Perez (0) to
/// that of Hay and Davies (1), which errs itself (engineering judgement).
const OTHER_MODEL_RATIO: f64 = 0.5;

/// One slot of a clear day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OrientationSample {
    /// The sun in the middle of the slot.
    pub sunlight: Sunlight,
    /// Light on the ground, measured or of a clear sky.
    pub components: Components,
    /// The same light if the sky were one standard deviation different: a more turbid one for a
    /// clear sky, another split for global irradiance alone, always to the same side. Equal to
    /// `components` where nothing is in doubt.
    pub other_components: Components,
    /// Global irradiance under a clear sky: what says how clear the slot was.
    pub clear_ghi: Irradiance,
    /// Median over the plane's healthy inputs of current over rated current [-], so that it is
    /// proportional to effective irradiance. Slots in which an inverter limits stay out.
    pub response_ratio: f64,
    /// One standard deviation of it [-]; only its changes over the day count.
    pub sigma_ratio: f64,
}

/// A sample, ready for any orientation and any sky between its two.
pub(super) struct Ready {
    pub sun: SunDirection,
    dome: Dome,
    other_dome: Dome,
    components: Components,
    /// ln of the other global and direct irradiance over the likely one.
    ln_other_ghi: f64,
    ln_other_dni: f64,
    /// Global irradiance over that of a clear sky [-].
    pub clear_index: f64,
    pub response_ratio: f64,
    pub sigma_ratio: f64,
}

impl Ready {
    pub fn of(sample: &OrientationSample) -> Self {
        let (likely, other) = (&sample.components, &sample.other_components);
        Self {
            sun: sample.sunlight.direction,
            dome: Dome::new(likely, &sample.sunlight),
            other_dome: Dome::new(other, &sample.sunlight),
            components: *likely,
            ln_other_ghi: ln_ratio(other.ghi, likely.ghi),
            ln_other_dni: ln_ratio(other.dni, likely.dni),
            clear_index: likely.ghi.w_m2() / sample.clear_ghi.w_m2(),
            response_ratio: sample.response_ratio,
            sigma_ratio: sample.sigma_ratio,
        }
    }

    /// What a receiver gets of both skies.
    pub fn parts(&self, turned: &Turned) -> Parts {
        turned.parts(&self.dome, &self.other_dome, &self.components, &self.sun)
    }

    /// E under the sky that is `t` standard deviations from the likely one towards the other, and
    /// `v` from the model of its diffuse light towards another. The diffuse light in the plane is
    /// linear in `t`: the rows of Perez's table make steps, over which a search would stumble.
    pub fn effective(&self, parts: &Parts, t: f64, v: f64) -> f64 {
        let (to_ghi, to_dni) = ((t * self.ln_other_ghi).exp(), (t * self.ln_other_dni).exp());
        let by_sky = t * (parts.sky_of_other - parts.sky);
        let by_model = v * OTHER_MODEL_RATIO * (parts.sky_by_other_model - parts.sky);
        let sky = (parts.sky + by_sky + by_model).max(0.0);
        (parts.beam * to_dni + sky + parts.ground * to_ghi) / RATED_W_M2
    }

    /// E under the likely sky.
    pub fn likely(&self, turned: &Turned) -> f64 {
        self.effective(&self.parts(turned), 0.0, 0.0)
    }
}

fn ln_ratio(other: Irradiance, likely: Irradiance) -> f64 {
    let ratio = other.w_m2() / likely.w_m2();
    // No beam has no other beam.
    if ratio.is_finite() && ratio > 0.0 {
        ratio.ln()
    } else {
        0.0
    }
}

/// Samples with the sun high and before every one of these planes.
pub(super) fn usable<'a>(
    ready: &'a [Ready],
    planes: &[Turned],
) -> Result<Vec<&'a Ready>, OrientationRefusal> {
    let (least_up, least_cos) = (
        MIN_ELEVATION_DEG.to_radians().sin(),
        MAX_INCIDENCE_DEG.to_radians().cos(),
    );
    let is_usable = |sample: &&Ready| {
        sample.sun.up >= least_up
            && planes.iter().all(|p| p.cos_incidence(&sample.sun) >= least_cos)
            // Without light there is no ratio to it.
            && planes.iter().all(|p| sample.likely(p) > 0.0)
    };
    enough(ready.iter().filter(is_usable).collect())
}

/// The same without slots that are far from a clear sky.
pub(super) fn unclouded<'a>(
    samples: Vec<&'a Ready>,
    clear_indices: &RangeInclusive<f64>,
) -> Result<Vec<&'a Ready>, OrientationRefusal> {
    let is_clear = |sample: &&Ready| clear_indices.contains(&sample.clear_index);
    enough(samples.into_iter().filter(is_clear).collect())
}

fn enough(samples: Vec<&Ready>) -> Result<Vec<&Ready>, OrientationRefusal> {
    if samples.len() < MIN_SAMPLES {
        return Err(OrientationRefusal::TooFewSamples {
            found: samples.len(),
            wanted: MIN_SAMPLES,
        });
    }
    let arc_deg = arc_deg(&samples);
    if arc_deg < MIN_ARC_DEG {
        return Err(OrientationRefusal::ShortArc {
            arc_deg,
            wanted_deg: MIN_ARC_DEG,
        });
    }
    Ok(samples)
}

/// How far the sun moves along the horizon, however it goes round.
fn arc_deg(samples: &[&Ready]) -> f64 {
    let azimuth_deg = |s: &Ready| s.sun.east.atan2(s.sun.north).to_degrees();
    let turns = samples
        .windows(2)
        .map(|pair| turned_deg(azimuth_deg(pair[0]), azimuth_deg(pair[1])));
    let (mut at, mut least, mut most) = (0.0_f64, 0.0_f64, 0.0_f64);
    for turn in turns {
        at += turn;
        (least, most) = (least.min(at), most.max(at));
    }
    most - least
}

/// From one azimuth to another, the short way round.
pub(super) fn turned_deg(from_deg: f64, to_deg: f64) -> f64 {
    (to_deg - from_deg + 180.0).rem_euclid(360.0) - 180.0
}
