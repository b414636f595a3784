//! What is known about every input in one slot: measured, expected, and whether tests are valid.
//! Never in here: a verdict.

use super::Gate;
use crate::array::Limit;
use crate::expected::{InputExpected, WeatherRung};
use crate::reading::{Current, Irradiance, Power, Span, Temperature, Time, Voltage};
use serde::{Deserialize, Serialize};

/// One slot of the whole plant. The vectors follow the order of the plant's planes and inverters.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Slot {
    /// Where it begins.
    pub start: Time,
    /// How long it is.
    pub span: Span,
    /// One for each plane of the plant.
    pub planes: Vec<PlaneSlot>,
    /// One for each inverter of the plant.
    pub inverters: Vec<InverterSlot>,
}

/// The light and the heat on one plane.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PlaneSlot {
    /// Irradiance in the plane and where it came from; `None` where no rung was valid.
    pub poa: Option<(Irradiance, WeatherRung)>,
    /// Cell temperature used.
    pub cell: Option<Temperature>,
}

/// One inverter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct InverterSlot {
    /// Mean active power.
    pub ac_power: Option<Power>,
    /// Expected active power, after efficiency and rated power.
    pub expected_ac_power: Option<Power>,
    /// What shade that is known, and so no part of the expected power, takes; `None` where there is none.
    pub shade_ac_power: Option<Power>,
    /// Which limit acts on it as a whole.
    pub limit: Option<Limit>,
    /// One for each input.
    pub inputs: Vec<InputSlot>,
}

/// One input.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct InputSlot {
    /// Mean voltage.
    pub voltage: Option<Voltage>,
    /// Mean current.
    pub current: Option<Current>,
    /// At maximum power, after calibration; `None` where there is no weather.
    pub expected: Option<InputExpected>,
    /// Whether array tests on this slot are valid, and if not, why.
    pub gate: Gate,
    /// Which limit acts on this input alone.
    pub limit: Option<Limit>,
}

impl InputSlot {
    /// Whether it gives less than it could because of a limit, its own or its inverter's.
    pub fn is_held_back(&self, of_inverter: Option<Limit>) -> bool {
        let limit = self.limit.or(of_inverter);
        self.gate == Gate::Limited || limit.is_some_and(Limit::holds_back)
    }
}
