//! What a finding is called in a heading: short, in words that everybody understands.
//! Never in here: numbers, or what to do (`advice`).

use super::Finding;
use crate::detect::Kind;

impl Kind {
    /// What it is called in a heading.
    pub const fn title(self) -> &'static str {
        match self {
            Kind::InputDead => "No current on an input",
            Kind::StringOpen => "A string carries nothing",
            Kind::SectionLost => "Part of a string has dropped out",
            Kind::ResistanceHigh => "A bad joint in the DC wiring",
            Kind::CurrentLow => "An input gives too little current",
            Kind::Shade => "New shade",
            Kind::Soiling => "Dirt on the modules",
            Kind::Snow => "Snow on the modules",
            Kind::Degradation => "Modules age",
            Kind::TrackerOffPeak => "The inverter works beside the best point",
            Kind::InputsSwapped => "Inputs are swapped",
            Kind::StringCountDiffers => "The number of strings is not as described",
            Kind::IsolationLow => "Insulation too low",
            Kind::IsolationFalling => "Insulation is getting worse",
            Kind::ResidualCurrentHigh => "Leakage to earth",
            Kind::GridTrip => "Disconnected by the supply",
            Kind::GridTripsRepeated => "Disconnected by the supply again and again",
            Kind::GridVoltageHigh => "Supply voltage high",
            Kind::SupplyResistanceHigh => "A bad joint in the supply",
            Kind::ProtectionActed => "A protection has acted",
            Kind::Limited => "Held back by a limit",
            Kind::InverterOff => "Does not produce in good light",
            Kind::EfficiencyLow => "Converts less than it should",
            Kind::LinkLost => "Does not answer",
            Kind::ValueFrozen => "A value stands still",
            Kind::ValueImpossible => "A value that cannot be",
            Kind::ClockOff => "A clock is wrong",
            Kind::SensorWrong => "A sensor is wrong",
        }
    }
}

impl Finding {
    /// Its heading: what, and where.
    pub fn title(&self) -> String {
        let what = self.kind.title();
        let device = &self.subject.device;
        match (self.subject.input, &self.subject.string) {
            (Some(input), Some(string)) => {
                format!("{what}: {device} input {input}, string {string}")
            }
            (Some(input), None) => format!("{what}: {device} input {input}"),
            (None, _) => format!("{what}: {device}"),
        }
    }
}
