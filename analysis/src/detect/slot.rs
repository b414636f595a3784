//! What is known about every input in one slot: measured, expected, and whether tests are valid.
//! Never in here: a verdict.

use super::{Gate, Kind};
use crate::array::Limit;
use crate::expected::{InputExpected, WeatherRung};
use crate::reading::{Current, Irradiance, Power, Span, Speed, Temperature, Time, Voltage};
use serde::{Deserialize, Serialize};

/// One slot of the whole plant. The vectors follow the order of the plant's planes and inverters.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Slot {
    /// Where it begins.
    pub start: Time,
    /// How long it is.
    pub span: Span,
    /// Air temperature, if measured.
    pub air: Option<Temperature>,
    /// Wind speed, if measured.
    pub wind: Option<Speed>,
    /// One for each plane of the plant.
    pub planes: Vec<PlaneSlot>,
    /// One for each inverter of the plant.
    pub inverters: Vec<InverterSlot>,
}

impl Slot {
    /// A slot of a plant with so many planes and inverters with so many inputs, in which nothing was
    /// measured.
    pub fn not_measured(
        start: Time,
        span: Span,
        planes: usize,
        inputs: impl IntoIterator<Item = usize>,
    ) -> Self {
        let plane = PlaneSlot {
            poa: None,
            cell: None,
        };
        let input = InputSlot {
            voltage: None,
            current: None,
            expected: None,
            gate: Gate::NotMeasured,
            limit: None,
        };
        let inverter = |inputs| InverterSlot {
            ac_power: None,
            expected_ac_power: None,
            shade_ac_power: None,
            limit: None,
            producing: None,
            inputs: vec![input; inputs],
        };
        Self {
            start,
            span,
            air: None,
            wind: None,
            planes: vec![plane; planes],
            inverters: inputs.into_iter().map(inverter).collect(),
        }
    }
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
    /// Whether it was connected in every poll; `None` if nothing tells.
    pub producing: Option<bool>,
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

impl InverterSlot {
    /// Whether any of its inputs has light enough for a test.
    pub fn is_lit(&self) -> bool {
        let lit = |input: &InputSlot| !matches!(input.gate, Gate::Dark | Gate::NoWeather);
        self.inputs.iter().any(lit)
    }

    /// Power that all of its inputs deliver; `None` where one is not measured.
    pub fn dc_power(&self) -> Option<Power> {
        let watts = |input: &InputSlot| Some((input.voltage? * input.current?).w());
        let all: Option<f64> = self.inputs.iter().map(watts).sum();
        all.map(Power::from_w)
    }

    /// Whether it surely stands still in light that is enough to work in.
    pub fn is_down(&self) -> bool {
        self.producing == Some(false) && self.is_lit()
    }
}

impl InputSlot {
    /// Voltage and current, each over the expected peak's, where they say something about the curve [-].
    pub fn on_curve(&self) -> Option<(f64, f64)> {
        let expected = self
            .expected
            .filter(|_| matches!(self.gate, Gate::Valid | Gate::Limited))?;
        let voltage_ratio = self.voltage?.v() / expected.voltage.v();
        let current_ratio = self.current?.a() / expected.current.a();
        let both = voltage_ratio.is_finite() && current_ratio.is_finite();
        both.then_some((voltage_ratio, current_ratio))
    }

    /// Whether it gives less than it could because of a limit, its own or its inverter's.
    pub fn is_held_back(&self, of_inverter: Option<Limit>) -> bool {
        let limit = self.limit.or(of_inverter);
        self.gate == Gate::Limited || limit.is_some_and(Limit::holds_back)
    }

    /// Whether a finding of this kind on the input costs nothing now, as a limit holds the input back.
    /// What holds one input alone back and has no name is its tracker.
    pub fn is_spared(&self, kind: Kind, of_inverter: Option<Limit>) -> bool {
        let by_tracker = kind == Kind::TrackerOffPeak
            && of_inverter.is_none()
            && self.limit == Some(Limit::NotTold);
        !by_tracker && self.is_held_back(of_inverter)
    }
}
