//! From weather to the voltage and current that every input should have, with their uncertainty.
//!
//! [`Ladder`] finds the best light and heat for every plane, [`Chain`] turns them into the I-V curve
//! of every input, [`Calibration`] learns how an input differs from its datasheet.
//! Never in here: what a difference between measured and expected means.

mod bright;
mod calibration;
mod chain;
mod course;
mod elsewhere;
mod heat;
mod ladder;
mod light;
mod moment;
mod on_curve;
pub mod orientation;
mod plane_survey;
mod propagation;
mod scaled;
mod sensors;
pub mod shade;
mod shares;
mod sigma;
mod types;
mod typical;
mod validity;

pub use bright::{BRIGHT_POA_W_M2, brighter_half};
pub use calibration::{
    Calibration, CalibrationSample, Factors, Known, Learned, LearnedOf, Own, SupplyNumber,
};
pub use chain::{Chain, ChainError, InputModel, Prediction};
pub use heat::{Heat, Inertia};
pub use ladder::Ladder;
pub use light::{Light, PlaneLight};
pub use moment::Moment;
pub use on_curve::share_on_curve;
pub use plane_survey::{PlaneSurvey, SurveySlot};
pub use scaled::{needs_scaling, scale_clear_sky, with_plane_scaled};
pub use shares::{InputShare, PlaneShare};
pub use sigma::{HeatSigma, Sigma};
pub use types::{InputExpected, Uncertain, WeatherRung};
pub use typical::{TypicalEnergy, TypicalShare};
