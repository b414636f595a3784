//! What the expected chain says about one input in one slot.

use crate::reading::{Current, Power, Voltage};
use serde::{Deserialize, Serialize};

/// Expected operating point of one input at maximum power, with one standard deviation of what its
/// inverter would measure there.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct InputExpected {
    /// Voltage at the input's terminals.
    pub voltage: Voltage,
    /// Current of the input.
    pub current: Current,
    /// Standard deviation of the voltage.
    pub sigma_voltage: Voltage,
    /// Standard deviation of the current.
    pub sigma_current: Current,
    /// Standard deviation of their product; voltage and current err together.
    pub sigma_power: Power,
}

/// Where the irradiance in a plane came from, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WeatherRung {
    /// A sensor in the plane.
    PlaneSensor,
    /// Global horizontal with direct or diffuse.
    HorizontalWithDiffuse,
    /// Global horizontal alone, split by a decomposition.
    HorizontalOnly,
    /// Clear sky, scaled by what the rest of the plant shows: sensors in other planes, inputs.
    ScaledClearSky,
}

impl WeatherRung {
    /// All of them, best first.
    pub const ALL: [Self; 4] = [
        Self::PlaneSensor,
        Self::HorizontalWithDiffuse,
        Self::HorizontalOnly,
        Self::ScaledClearSky,
    ];

    /// Whether it is of a sensor that lies horizontally, for all planes.
    pub fn is_horizontal(self) -> bool {
        matches!(self, Self::HorizontalWithDiffuse | Self::HorizontalOnly)
    }

    /// Whether a sensor measured it, and not the array itself.
    pub fn is_measured(self) -> bool {
        self != Self::ScaledClearSky
    }

    /// Its name in files.
    pub fn name(self) -> &'static str {
        match self {
            Self::PlaneSensor => "plane_sensor",
            Self::HorizontalWithDiffuse => "horizontal_with_diffuse",
            Self::HorizontalOnly => "horizontal_only",
            Self::ScaledClearSky => "scaled_clear_sky",
        }
    }
}

/// Relative standard deviations, with what all inputs of a plane share kept apart from what is an
/// input's own: siblings cancel the first and never the second.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Uncertain {
    /// Shared by all inputs of the plane [-].
    pub common_ratio: f64,
    /// This input's own [-].
    pub own_ratio: f64,
}

impl Uncertain {
    /// Both together [-].
    pub fn total_ratio(self) -> f64 {
        self.common_ratio.hypot(self.own_ratio)
    }
}
