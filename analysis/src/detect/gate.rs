//! Gates: the conditions under which a test of an array against its expected value is valid.

use serde::{Deserialize, Serialize};

/// Why an array test on a slot is valid or not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Gate {
    /// Everything holds.
    Valid,
    /// Too little light.
    Dark,
    /// The light changes faster than the stamps agree.
    Unsteady,
    /// The inverter takes less than the array could give: clipping, a limit, a command.
    Limited,
    /// The inverter is not connected or not yet at its peak.
    NotProducing,
    /// No irradiance for the plane.
    NoWeather,
    /// Voltage or current is missing.
    NotMeasured,
}
