//! Whether a day is clear enough, and shaped like one plane's, to say how the plane lies.
//!
//! Model:   before the fit, of all samples: share of clouded ones, median level, share of restless
//!          steps; after it: share of samples left out, scatter, and shape, the root mean square of
//!          the mean residuals of eight pieces of the day
//! Symbols: level = response / E under the stated orientation [-]    clear index = GHI / clear GHI
//!          [-] a sample is clouded where the index is far from one or from the day's; a step is
//!          restless where ln level or ln index changes by more than a limit from one sample to the
//!          next
//! Range:   at least eight samples, in order of time.
//! Source:  own, of scatter and steps of the clear-sky index. Not the five-criteria detector of
//!          M. Reno and C. Hansen, Renewable Energy 90, 2016: that one wants the expected curve in
//!          absolute terms, and here gain and orientation are what is unknown. Every limit is
//!          engineering judgement, set on the worlds of `ensemble_tests`.
//! Check:   `day_tests` (cumulus, overcast, two wings), `ensemble_tests` (what is let through).

use crate::reading::median;
use serde::{Deserialize, Serialize};
use std::ops::RangeInclusive;

/// Clear index of a clear day [-]: what turbidity and sensors explain.
const CLEAR_INDEX: RangeInclusive<f64> = 0.8..=1.25;
/// Clear index of a slot over that of its day [-]: a wrong turbidity bends it by as much.
const CLEAR_WITHIN_DAY: RangeInclusive<f64> = 0.9..=1.1;
/// Largest part of slots outside [-]: an hour in a summer's day. Beside more cloud the rest is
/// hazy.
const MAX_CLOUDED_SHARE: f64 = 0.15;
/// Why a median is there.
const USABLE: &str = "days without enough usable samples are refused before";
/// Bounds of the median level [-]: soiling, ratings and sensors explain no more.
const LEVEL: RangeInclusive<f64> = 0.6..=1.5;
/// A step beyond three times the noise of a difference of two samples [-] (2 % each).
const RESTLESS_STEP: f64 = 0.085;
/// Largest part of such steps [-]: the edges of some clouds.
const MAX_RESTLESS_SHARE: f64 = 0.15;
/// Largest part of samples that the fit leaves out [-]: two hours in eight.
const MAX_LEFT_OUT_SHARE: f64 = 0.25;
/// Largest scatter of the rest [-].
const MAX_SCATTER_RATIO: f64 = 0.03;
/// Largest shape left [-].
const MAX_SHAPE_RATIO: f64 = 0.012;
/// Residual over scatter, and residual, from which a sample counts as left out [-].
const LEFT_OUT_FROM: f64 = 3.0;
const LEFT_OUT_FROM_RATIO: f64 = 0.02;
const PIECES: usize = 8;

/// What keeps a day from saying how its plane lies.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, thiserror::Error)]
#[serde(rename_all = "snake_case")]
pub enum NotClear {
    /// Too much of the day is far from a clear sky.
    #[error("{share:.2} of the samples are clouded, allowed {MAX_CLOUDED_SHARE}")]
    Clouded {
        /// Of all samples [-].
        share: f64,
    },
    /// Far from what a clear sky gives, whatever the orientation.
    #[error("the response is {level:.2} of a clear day's")]
    OffLevel {
        /// Median [-].
        level: f64,
    },
    /// Clouds come and go.
    #[error("{share:.2} of the steps are restless, allowed {MAX_RESTLESS_SHARE}")]
    Restless {
        /// Of all steps [-].
        share: f64,
    },
    /// A plane fits a part of the day only: clouds, shade, or two planes on one input.
    #[error("{share:.2} of the samples fit no plane, allowed {MAX_LEFT_OUT_SHARE}")]
    LeftOut {
        /// Of all samples [-].
        share: f64,
    },
    /// Haze, or a noisy response.
    #[error("samples scatter by {ratio:.4}, allowed {MAX_SCATTER_RATIO}")]
    Scattered {
        /// One standard deviation [-].
        ratio: f64,
    },
    /// Smooth, but no plane's day: two planes on one input, shade, a wrong sky.
    #[error("pieces of the day are off by {ratio:.4}, allowed {MAX_SHAPE_RATIO}")]
    Misshapen {
        /// Root mean square of the pieces' mean residuals [-].
        ratio: f64,
    },
}

/// One sample before anything is fitted.
#[derive(Debug, Clone, Copy)]
pub(super) struct Raw {
    pub clear_index: f64,
    /// Response over that of the stated orientation [-].
    pub level: f64,
}

/// One sample after the fit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rest {
    /// Measured over fitted, minus one [-].
    pub residual_ratio: f64,
    /// The same over the scatter [-].
    pub z: f64,
    /// 0 for a sample that does not count [-].
    pub weight: f64,
}

/// Clear indices that count as clear on the day of these samples.
pub(super) fn clear_indices(samples: &[Raw]) -> RangeInclusive<f64> {
    let middle = median(samples.iter().map(|s| s.clear_index)).expect(USABLE);
    let (least, most) = (
        CLEAR_WITHIN_DAY.start() * middle,
        CLEAR_WITHIN_DAY.end() * middle,
    );
    least.max(*CLEAR_INDEX.start())..=most.min(*CLEAR_INDEX.end())
}

/// Judges the samples alone.
pub(super) fn before_the_fit(samples: &[Raw]) -> Result<(), NotClear> {
    let clear = clear_indices(samples);
    let is_clouded = |s: &&Raw| !clear.contains(&s.clear_index);
    let clouded = samples.iter().filter(is_clouded).count();
    let share = clouded as f64 / samples.len() as f64;
    if share > MAX_CLOUDED_SHARE {
        return Err(NotClear::Clouded { share });
    }
    let level = median(samples.iter().map(|s| s.level)).expect(USABLE);
    if !LEVEL.contains(&level) {
        return Err(NotClear::OffLevel { level });
    }
    let is_restless = |pair: &&[Raw]| {
        let of_level = (pair[1].level / pair[0].level).ln();
        let of_index = (pair[1].clear_index / pair[0].clear_index).ln();
        // A response of nothing gives no number, and no rest.
        !(of_level.abs() <= RESTLESS_STEP && of_index.abs() <= RESTLESS_STEP)
    };
    let restless = samples.windows(2).filter(is_restless).count();
    let share = restless as f64 / samples.len() as f64;
    if share > MAX_RESTLESS_SHARE {
        return Err(NotClear::Restless { share });
    }
    Ok(())
}

/// Judges what the fit has left; `scatter_ratio` is its own measure of the bulk.
pub(super) fn after_the_fit(rests: &[Rest], scatter_ratio: f64) -> Result<(), NotClear> {
    let is_left_out =
        |r: &&Rest| r.z.abs() > LEFT_OUT_FROM && r.residual_ratio.abs() > LEFT_OUT_FROM_RATIO;
    let left_out = rests.iter().filter(is_left_out).count();
    let share = left_out as f64 / rests.len() as f64;
    if share > MAX_LEFT_OUT_SHARE {
        return Err(NotClear::LeftOut { share });
    }
    if scatter_ratio.is_nan() || scatter_ratio > MAX_SCATTER_RATIO {
        return Err(NotClear::Scattered {
            ratio: scatter_ratio,
        });
    }
    let ratio = shape(rests);
    if ratio.is_nan() || ratio > MAX_SHAPE_RATIO {
        return Err(NotClear::Misshapen { ratio });
    }
    Ok(())
}

fn shape(rests: &[Rest]) -> f64 {
    let mean = |piece: &[Rest]| {
        let weights: f64 = piece.iter().map(|r| r.weight).sum();
        let sum: f64 = piece.iter().map(|r| r.weight * r.residual_ratio).sum();
        // A piece under a cloud says nothing.
        (weights > 0.0).then(|| sum / weights)
    };
    let pieces: Vec<f64> = rests
        .chunks(rests.len().div_ceil(PIECES).max(1))
        .filter_map(mean)
        .collect();
    let square = pieces.iter().map(|m| m * m).sum::<f64>() / pieces.len().max(1) as f64;
    square.sqrt()
}
