//! The kinds of finding that the detectors can make, and how urgent each is.
//! Never in here: texts for people (`diagnose::advice`).

use serde::{Deserialize, Serialize};

/// What a finding says. The names are a contract with readers of `findings.jsonl`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// No current in daylight on an input that should carry it.
    InputDead,
    /// One or more of several parallel strings carry nothing.
    StringOpen,
    /// Steady loss of current on one input.
    CurrentLow,
    /// Modules covered after snow or frost.
    Snow,
    /// The inverter does not produce in good light.
    InverterOff,
    /// Insulation resistance of the array under its limit.
    IsolationLow,
    /// Insulation resistance that falls towards its limit, on dry mornings.
    IsolationFalling,
    /// Leakage to earth above what it may last at.
    ResidualCurrentHigh,
    /// One disconnection by the supply.
    GridTrip,
    /// Disconnections of one class that return.
    GridTripsRepeated,
    /// Voltage high at the inverter: by its own export, or the network by itself.
    GridVoltageHigh,
    /// Resistance of the supply above what it was: a joint going bad.
    SupplyResistanceHigh,
    /// A device does not answer.
    LinkLost,
}

/// How urgent a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// Recorded, never mailed alone.
    Note,
    /// At the next visit.
    Plan,
    /// Within days.
    Soon,
    /// Within hours, or a hazard.
    Now,
}

impl Kind {
    /// Every kind.
    pub const ALL: &'static [Kind] = &[
        Kind::InputDead,
        Kind::StringOpen,
        Kind::CurrentLow,
        Kind::Snow,
        Kind::InverterOff,
        Kind::IsolationLow,
        Kind::IsolationFalling,
        Kind::ResidualCurrentHigh,
        Kind::GridTrip,
        Kind::GridTripsRepeated,
        Kind::GridVoltageHigh,
        Kind::SupplyResistanceHigh,
        Kind::LinkLost,
    ];

    /// The name in `findings.jsonl`.
    pub const fn name(self) -> &'static str {
        match self {
            Kind::InputDead => "input_dead",
            Kind::StringOpen => "string_open",
            Kind::CurrentLow => "current_low",
            Kind::Snow => "snow",
            Kind::InverterOff => "inverter_off",
            Kind::IsolationLow => "isolation_low",
            Kind::IsolationFalling => "isolation_falling",
            Kind::ResidualCurrentHigh => "residual_current_high",
            Kind::GridTrip => "grid_trip",
            Kind::GridTripsRepeated => "grid_trips_repeated",
            Kind::GridVoltageHigh => "grid_voltage_high",
            Kind::SupplyResistanceHigh => "supply_resistance_high",
            Kind::LinkLost => "link_lost",
        }
    }

    /// How urgent it is.
    pub const fn severity(self) -> Severity {
        match self {
            Kind::Snow => Severity::Note,
            Kind::CurrentLow | Kind::IsolationFalling | Kind::GridTrip | Kind::GridVoltageHigh => {
                Severity::Plan
            }
            Kind::InputDead
            | Kind::StringOpen
            | Kind::InverterOff
            | Kind::GridTripsRepeated
            | Kind::LinkLost => Severity::Soon,
            // A joint with resistance heats up whenever the sun shines: a hazard.
            Kind::IsolationLow | Kind::ResidualCurrentHigh | Kind::SupplyResistanceHigh => {
                Severity::Now
            }
        }
    }
}
