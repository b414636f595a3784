//! Gates: the conditions under which a test of an array against its expected value is valid.
//!
//! The light, elevation and incidence limits are common practice; each is a named constant.
//! Never in here: a verdict on the array.

use crate::expected::InputExpected;
use crate::plant::Input;
use serde::{Deserialize, Serialize};

/// Why an array test on a slot is valid or not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Gate {
    /// Everything holds.
    Valid,
    /// Too little light, or light that only grazes the plane.
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

/// Least plane irradiance for a test [W/m2].
pub(crate) const MIN_POA_W_M2: f64 = 100.0;
/// Least sun elevation for a test [deg].
const MIN_ELEVATION_DEG: f64 = 8.0;
/// Largest angle of incidence for a test [deg].
const MAX_INCIDENCE_DEG: f64 = 75.0;
/// Largest relative change of the light in a slot, as its stamps may disagree [-].
pub(crate) const MAX_UNSTEADY_RATIO: f64 = 0.06;
/// AC power over rated power from which clipping is assumed [-].
pub(super) const CLIPPING_RATIO: f64 = 0.97;
/// Input current over its operating limit from which the limit is assumed to act [-].
pub(super) const CURRENT_LIMIT_RATIO: f64 = 0.98;
/// Voltage over expected peak voltage above which the inverter holds the array back: at least the
/// ratio, and as many standard deviations of the expected voltage.
pub(crate) const HELD_BACK_RATIO: f64 = 1.06;
const HELD_BACK_SIGMAS: f64 = 3.0;
/// Current over expected current below which an input carries nothing [-].
const NOTHING_RATIO: f64 = 0.02;

/// What the gate of one input in one slot depends on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GateFacts {
    /// Irradiance in the plane [W/m2], if any rung of the ladder was valid.
    pub poa_w_m2: Option<f64>,
    /// Sun above the horizon [deg].
    pub elevation_deg: f64,
    /// Between sun and plane normal [deg].
    pub incidence_deg: f64,
    /// Relative standard error from light that changes during the slot [-].
    pub unsteady_ratio: f64,
    /// Whether the inverter is connected and was for the whole slot; `None` if nothing tells.
    pub producing: Option<bool>,
    /// Whether the inverter says that it is throttled.
    pub throttled: bool,
    /// AC power over rated power [-].
    pub load_ratio: Option<f64>,
    /// Power limit in force over rated power [-].
    pub power_limit_ratio: Option<f64>,
    /// Measured input voltage [V].
    pub voltage_v: Option<f64>,
    /// Measured input current [A].
    pub current_a: Option<f64>,
    /// Expected at the peak.
    pub expected: Option<InputExpected>,
}

/// The gate of one input in one slot.
pub fn gate(facts: &GateFacts, input: &Input) -> Gate {
    let Some(poa) = facts.poa_w_m2 else {
        return if facts.elevation_deg < MIN_ELEVATION_DEG {
            Gate::Dark
        } else {
            Gate::NoWeather
        };
    };
    if poa < MIN_POA_W_M2
        || facts.elevation_deg < MIN_ELEVATION_DEG
        || facts.incidence_deg > MAX_INCIDENCE_DEG
    {
        return Gate::Dark;
    }
    let (Some(voltage), Some(current)) = (facts.voltage_v, facts.current_a) else {
        return Gate::NotMeasured;
    };
    if facts.producing == Some(false) {
        return Gate::NotProducing;
    }
    if is_limited(facts, input, voltage, current) {
        return Gate::Limited;
    }
    if facts.unsteady_ratio > MAX_UNSTEADY_RATIO {
        return Gate::Unsteady;
    }
    Gate::Valid
}

fn is_limited(facts: &GateFacts, input: &Input, voltage_v: f64, current_a: f64) -> bool {
    let at_ceiling = |ceiling: f64| {
        facts
            .load_ratio
            .is_some_and(|l| l >= CLIPPING_RATIO * ceiling)
    };
    let commanded = facts
        .power_limit_ratio
        .is_some_and(|limit| limit < 1.0 && at_ceiling(limit));
    let at_current_limit = current_a >= CURRENT_LIMIT_RATIO * input.max_operating_current.a();
    // An open input sits at its open-circuit voltage too, but carries nothing: that is no limit.
    let held_back = facts.expected.is_some_and(|peak| {
        voltage_v > held_back_above_v(&peak) && current_a > NOTHING_RATIO * peak.current.a()
    });
    facts.throttled || at_ceiling(1.0) || commanded || at_current_limit || held_back
}

/// Voltage [V] above which an input is surely not at this peak.
pub(crate) fn held_back_above_v(peak: &InputExpected) -> f64 {
    let peak_v = peak.voltage.v();
    let surely = peak_v + HELD_BACK_SIGMAS * peak.sigma_voltage.v();
    surely.max(HELD_BACK_RATIO * peak_v)
}
