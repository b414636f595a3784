//! What a finding is called in a heading, what it means in words that everybody understands, and the
//! tools for whoever is sent. Never in here: numbers, or what to do (`advice`).

use super::Finding;
use crate::detect::{Kind, Severity};

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

    /// What it means, for somebody who knows nothing of the trade.
    pub const fn meaning(self) -> &'static str {
        match self {
            Kind::InputDead => "A part of the modules gives nothing, although the sun shines.",
            Kind::StringOpen => {
                "One of several rows of modules that work side by side gives nothing; the others go on."
            }
            Kind::SectionLost => "Some modules of a row do not take part any more.",
            Kind::ResistanceHigh => {
                "A joint in the cables of the modules has become bad. It gets hot while the sun shines, \
                 and a hot joint can start a fire."
            }
            Kind::CurrentLow => "A part of the modules gives less than its neighbours.",
            Kind::Shade => "Something casts a shadow on the modules that was not there before.",
            Kind::Soiling => "Dirt on the modules takes a part of the light.",
            Kind::Snow => "Snow or frost lies on the modules. It goes by itself.",
            Kind::Degradation => "The modules give a little less from year to year.",
            Kind::TrackerOffPeak => {
                "The inverter does not take from the modules all that they could give."
            }
            Kind::InputsSwapped => {
                "The modules are not connected as described. It may cost nothing, but a fault would be \
                 looked for in the wrong place."
            }
            Kind::StringCountDiffers => "There are more or fewer rows of modules than described.",
            Kind::IsolationLow => {
                "The modules or their cables are not insulated as they must be. Whoever touches a frame or \
                 a damaged cable can get an electric shock."
            }
            Kind::IsolationFalling => {
                "The insulation of the modules and their cables gets worse from week to week; mostly water \
                 gets in somewhere. It is still above its limit."
            }
            Kind::ResidualCurrentHigh => {
                "Current flows to earth where none should. Touching modules or cables can be dangerous."
            }
            Kind::GridTrip => {
                "The public supply was outside its limits, and the inverter switched itself off, as it must."
            }
            Kind::GridTripsRepeated => {
                "The inverter switches itself off again and again because the supply is outside its limits. \
                 Each time nothing is fed in for a while."
            }
            Kind::GridVoltageHigh => {
                "The voltage of the supply is high while the plant feeds in, so that the inverter may have \
                 to feed in less or to switch itself off."
            }
            Kind::SupplyResistanceHigh => {
                "A joint between the inverter and the public supply has become bad. It gets hot while the \
                 plant feeds in, and a hot joint can start a fire."
            }
            Kind::ProtectionActed => "The inverter's own protection has stopped it.",
            Kind::Limited => {
                "The inverter was held back by its size, by the supply or by a setting. It is no fault."
            }
            Kind::InverterOff => "The inverter feeds in nothing, although there is light enough.",
            Kind::EfficiencyLow => {
                "The inverter makes less of what the modules give than it should."
            }
            Kind::LinkLost => "A device sends no data. Whether it works is not known.",
            Kind::ValueFrozen | Kind::ValueImpossible => {
                "A value that is measured is wrong. Nothing is lost by that, but a fault could stay unseen."
            }
            Kind::ClockOff => {
                "The clock of a device is wrong. Nothing is lost by that, but what is measured cannot be \
                 compared with the sun."
            }
            Kind::SensorWrong => {
                "A weather sensor shows too much or too little. Nothing is lost by that, but a fault could \
                 stay unseen."
            }
        }
    }

    /// What a technician takes along (common practice).
    pub const fn tools(self) -> &'static [&'static str] {
        match self {
            Kind::InputDead | Kind::StringOpen | Kind::InputsSwapped | Kind::StringCountDiffers => {
                &[CLAMP, METER, GLOVES]
            }
            Kind::SectionLost => &[METER, CAMERA, GLOVES],
            Kind::ResistanceHigh => &[CAMERA, CLAMP, METER, GLOVES],
            Kind::CurrentLow | Kind::TrackerOffPeak | Kind::Degradation => &[CLAMP, CURVES, CAMERA],
            Kind::Shade | Kind::Soiling => &["a camera, and the time of day of the loss"],
            Kind::IsolationLow | Kind::IsolationFalling | Kind::ResidualCurrentHigh => {
                &[INSULATION, METER, GLOVES]
            }
            Kind::GridTrip
            | Kind::GridTripsRepeated
            | Kind::GridVoltageHigh
            | Kind::SupplyResistanceHigh => &[SUPPLY, CAMERA],
            Kind::ProtectionActed | Kind::InverterOff => &[METER, CLAMP, "the inverter's manual"],
            Kind::EfficiencyLow => &["a power analyser, or a DC clamp meter and the revenue meter"],
            Kind::LinkLost | Kind::ValueFrozen | Kind::ValueImpossible | Kind::ClockOff => {
                &["a laptop with the device's service program"]
            }
            Kind::SensorWrong => &["a reference irradiance sensor", "a cloth and clean water"],
            Kind::Snow | Kind::Limited => &[],
        }
    }
}

const CLAMP: &str = "a DC clamp meter";
const METER: &str = "a multimeter for the array's highest voltage";
const GLOVES: &str = "insulating gloves and eye protection";
const CAMERA: &str = "a thermal camera";
const CURVES: &str = "an I-V curve tracer with an irradiance sensor";
const INSULATION: &str = "an insulation tester for the array's voltage";
const SUPPLY: &str = "a multimeter for the supply (CAT IV)";

impl Severity {
    /// The word, as in `findings.jsonl`.
    pub const fn name(self) -> &'static str {
        match self {
            Severity::Note => "note",
            Severity::Plan => "plan",
            Severity::Soon => "soon",
            Severity::Now => "now",
        }
    }

    /// What the word asks for.
    pub const fn meaning(self) -> &'static str {
        match self {
            Severity::Note => "recorded only",
            Severity::Plan => "at the next visit",
            Severity::Soon => "within days",
            Severity::Now => "within hours, or a hazard",
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
