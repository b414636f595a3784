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
    /// Bypass sections or whole modules missing from a string's voltage.
    SectionLost,
    /// Voltage deficit that grows with the current: a joint or a cable with resistance.
    ResistanceHigh,
    /// Steady loss of current on one input.
    CurrentLow,
    /// Loss that returns at the same position of the sun.
    Shade,
    /// Slow loss on all inputs of a plane, undone by rain or cleaning.
    Soiling,
    /// Modules covered after snow or frost.
    Snow,
    /// Yearly loss of power, with its interval.
    Degradation,
    /// On the healthy curve, but away from its peak with no allowed reason.
    TrackerOffPeak,
    /// Two inputs show each other's strings.
    InputsSwapped,
    /// More or fewer parallel strings or modules than described.
    StringCountDiffers,
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
    /// Any other protection of the inverter acted.
    ProtectionActed,
    /// A limit held the inverter back for more than a little of the day.
    Limited,
    /// The inverter does not produce in good light.
    InverterOff,
    /// AC power under what the inverter's efficiency makes of its DC power.
    EfficiencyLow,
    /// A device does not answer.
    LinkLost,
    /// Values that stand still where they cannot.
    ValueFrozen,
    /// Values that cannot be.
    ValueImpossible,
    /// Times of readings that do not fit the sun.
    ClockOff,
    /// A weather sensor that healthy inputs contradict.
    SensorWrong,
}

/// How a finding costs energy, in the order in which a ledger charges what is missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cost {
    /// All that an inverter misses while it does not produce.
    Standstill,
    /// Modules are covered: told of an inverter it is a standstill, of an input what that misses.
    Cover,
    /// What an input misses.
    Input,
    /// What inputs miss slowly or daily, after every fault.
    Slow,
    /// What is missing between the DC and the AC side.
    Conversion,
    /// Nothing that is not charged to something else.
    Nothing,
}

impl Cost {
    const ALL: [Cost; 5] = [
        Cost::Standstill,
        Cost::Cover,
        Cost::Input,
        Cost::Slow,
        Cost::Conversion,
    ];
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
        Kind::SectionLost,
        Kind::ResistanceHigh,
        Kind::CurrentLow,
        Kind::Shade,
        Kind::Soiling,
        Kind::Snow,
        Kind::Degradation,
        Kind::TrackerOffPeak,
        Kind::InputsSwapped,
        Kind::StringCountDiffers,
        Kind::IsolationLow,
        Kind::IsolationFalling,
        Kind::ResidualCurrentHigh,
        Kind::GridTrip,
        Kind::GridTripsRepeated,
        Kind::GridVoltageHigh,
        Kind::SupplyResistanceHigh,
        Kind::ProtectionActed,
        Kind::Limited,
        Kind::InverterOff,
        Kind::EfficiencyLow,
        Kind::LinkLost,
        Kind::ValueFrozen,
        Kind::ValueImpossible,
        Kind::ClockOff,
        Kind::SensorWrong,
    ];

    /// The name in `findings.jsonl`.
    pub const fn name(self) -> &'static str {
        match self {
            Kind::InputDead => "input_dead",
            Kind::StringOpen => "string_open",
            Kind::SectionLost => "section_lost",
            Kind::ResistanceHigh => "resistance_high",
            Kind::CurrentLow => "current_low",
            Kind::Shade => "shade",
            Kind::Soiling => "soiling",
            Kind::Snow => "snow",
            Kind::Degradation => "degradation",
            Kind::TrackerOffPeak => "tracker_off_peak",
            Kind::InputsSwapped => "inputs_swapped",
            Kind::StringCountDiffers => "string_count_differs",
            Kind::IsolationLow => "isolation_low",
            Kind::IsolationFalling => "isolation_falling",
            Kind::ResidualCurrentHigh => "residual_current_high",
            Kind::GridTrip => "grid_trip",
            Kind::GridTripsRepeated => "grid_trips_repeated",
            Kind::GridVoltageHigh => "grid_voltage_high",
            Kind::SupplyResistanceHigh => "supply_resistance_high",
            Kind::ProtectionActed => "protection_acted",
            Kind::Limited => "limited",
            Kind::InverterOff => "inverter_off",
            Kind::EfficiencyLow => "efficiency_low",
            Kind::LinkLost => "link_lost",
            Kind::ValueFrozen => "value_frozen",
            Kind::ValueImpossible => "value_impossible",
            Kind::ClockOff => "clock_off",
            Kind::SensorWrong => "sensor_wrong",
        }
    }

    /// How it costs energy.
    pub const fn cost(self) -> Cost {
        match self {
            Kind::InverterOff
            | Kind::IsolationLow
            | Kind::ResidualCurrentHigh
            | Kind::ProtectionActed
            | Kind::GridTrip => Cost::Standstill,
            Kind::Snow => Cost::Cover,
            // Strings that are described and not there are missed like any other.
            Kind::InputDead
            | Kind::StringOpen
            | Kind::SectionLost
            | Kind::ResistanceHigh
            | Kind::CurrentLow
            | Kind::TrackerOffPeak
            | Kind::StringCountDiffers => Cost::Input,
            Kind::Shade | Kind::Soiling => Cost::Slow,
            Kind::EfficiencyLow => Cost::Conversion,
            // A pattern of others, a warning, limits and gaps, which have names of their own, the
            // measuring itself, or a loss whose rate says all: slot by slot age cannot be told from
            // whatever else nobody has explained.
            Kind::Degradation
            | Kind::IsolationFalling
            | Kind::GridTripsRepeated
            | Kind::GridVoltageHigh
            | Kind::SupplyResistanceHigh
            | Kind::InputsSwapped
            | Kind::Limited
            | Kind::LinkLost
            | Kind::ValueFrozen
            | Kind::ValueImpossible
            | Kind::ClockOff
            | Kind::SensorWrong => Cost::Nothing,
        }
    }

    /// Every kind that costs energy, in the order in which it is charged.
    pub fn costly() -> impl Iterator<Item = Kind> {
        let of = |cost| {
            Kind::ALL
                .iter()
                .copied()
                .filter(move |kind| kind.cost() == cost)
        };
        Cost::ALL.into_iter().flat_map(of)
    }

    /// How urgent it is.
    pub const fn severity(self) -> Severity {
        match self {
            Kind::Snow | Kind::Degradation | Kind::Limited => Severity::Note,
            Kind::SectionLost
            | Kind::CurrentLow
            | Kind::Shade
            | Kind::Soiling
            | Kind::TrackerOffPeak
            | Kind::InputsSwapped
            | Kind::StringCountDiffers
            | Kind::IsolationFalling
            | Kind::GridTrip
            | Kind::GridVoltageHigh
            | Kind::EfficiencyLow
            | Kind::ValueFrozen
            | Kind::ValueImpossible
            | Kind::ClockOff
            | Kind::SensorWrong => Severity::Plan,
            Kind::InputDead
            | Kind::StringOpen
            | Kind::ResistanceHigh
            | Kind::GridTripsRepeated
            | Kind::ProtectionActed
            | Kind::InverterOff
            | Kind::LinkLost => Severity::Soon,
            // A joint with resistance heats up whenever the sun shines: a hazard.
            Kind::IsolationLow | Kind::ResidualCurrentHigh | Kind::SupplyResistanceHigh => {
                Severity::Now
            }
        }
    }
}
