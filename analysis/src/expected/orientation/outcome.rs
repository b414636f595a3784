//! What one day says about how its plane lies, or why it says nothing.
//! Never in here: how that is found.

use super::clear_day::NotClear;
use crate::reading::Angle;
use serde::{Deserialize, Serialize};

/// How a plane lay on one clear day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Refined {
    /// From horizontal.
    pub tilt: Angle,
    /// Clockwise from north.
    pub azimuth: Angle,
    /// Response over effective irradiance, with soiling, ratings and sensors in it [-].
    pub gain: f64,
    /// One standard deviation of the tilt, the doubt about the sky included.
    pub sigma_tilt: Angle,
    /// One standard deviation of the azimuth, the same.
    pub sigma_azimuth: Angle,
    /// One standard deviation of the gain over it [-].
    pub sigma_gain_ratio: f64,
    /// Of the errors of tilt and azimuth [-].
    pub correlation: f64,
    /// Of the errors of tilt and gain [-]: near one in size where they can hardly be told apart.
    pub tilt_gain_correlation: f64,
    /// By how much tilt and azimuth err for a sky that is off by one standard deviation, signed:
    /// days share a part of that, so that it does not average out. Inside the sigmas.
    pub sky: [Angle; 2],
    /// The same for a spectral response that is off by one standard deviation; days share it all.
    pub spectrum: [Angle; 2],
    /// The same for a diffuse light that is one standard deviation from its model; days share it
    /// all.
    pub diffuse: [Angle; 2],
    /// Part of the rest of the variance that comes from models and returns every day [-].
    pub model_share: f64,
    /// Scatter of the residuals [-].
    pub scatter_ratio: f64,
    /// Samples that were used.
    pub samples: usize,
}

/// Why a day does not say how its plane lies.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, thiserror::Error)]
#[serde(rename_all = "snake_case")]
pub enum OrientationRefusal {
    /// The sun was seldom high and before the plane.
    #[error("{found} usable samples, wanted {wanted}")]
    TooFewSamples {
        /// With the sun high enough and before the plane.
        found: usize,
        /// At least.
        wanted: usize,
    },
    /// The sun did not move far enough.
    #[error("the sun moved {arc_deg:.0} deg along the horizon, wanted {wanted_deg:.0}")]
    ShortArc {
        /// Over the usable samples.
        arc_deg: f64,
        /// At least.
        wanted_deg: f64,
    },
    /// No clear day, or no plane's.
    #[error("not a clear day of one plane: {0}")]
    NotClear(#[from] NotClear),
    /// Other orientations would do as well, as for tilt and gain at an equinox.
    #[error(
        "tilt to {sigma_tilt_deg:.1} deg and azimuth to {sigma_azimuth_deg:.1} deg is too wide"
    )]
    NotDetermined {
        /// One standard deviation.
        sigma_tilt_deg: f64,
        /// One standard deviation.
        sigma_azimuth_deg: f64,
    },
    /// Further from what is stated than an installer errs: wiring, or the site file, is wrong.
    #[error("tilt {tilt_deg:.1}, azimuth {azimuth_deg:.1} deg is over {bound_deg} deg from stated")]
    OutsideBounds {
        /// Where the search ended.
        tilt_deg: f64,
        /// Where the search ended.
        azimuth_deg: f64,
        /// In either angle.
        bound_deg: f64,
    },
    /// No change of the unknowns changes the light.
    #[error("the samples leave the orientation open")]
    Singular,
    /// The search did not come to rest.
    #[error("no rest after {steps} steps, the last of {last_step_deg:.4} deg")]
    DidNotConverge {
        /// That were made.
        steps: u32,
        /// Of the lean.
        last_step_deg: f64,
    },
}
