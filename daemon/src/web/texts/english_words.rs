//! Words in English for what the analysis names. Sentences: `english_sentences.rs`.

use super::english_sentences::{ago, sentence, temperatures, unfit};
use super::{Manner, Words};
use crate::text;
use analysis::detect::{Gate, Kind, Severity};
use analysis::plant::{EventBit, State};
use analysis::reading::Quantity;

pub static WORDS: Words = Words {
    name: "English",
    manner: Manner {
        decimal: '.',
        date: "%Y-%m-%d",
        month: "%Y-%m",
        date_time: "%Y-%m-%d %H:%M",
    },
    severity,
    limit: text::limit,
    loss: text::loss,
    gate,
    kind: Kind::title,
    quantity,
    state,
    event,
    ago,
    inputs: |n| {
        if n == 1 {
            "1 input".to_owned()
        } else {
            format!("{n} inputs")
        }
    },
    late: text::late,
    sure: text::sure,
    checks: |all, wrong, look| format!("{all} checks: {wrong} wrong, {look} to look at."),
    temperatures,
    sentence,
    unfit,
    // As the analysis has worded it.
    caution: |_| None,
};

fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "note",
        Severity::Plan => "next visit",
        Severity::Soon => "within days",
        Severity::Now => "now",
    }
}

fn gate(gate: Gate) -> &'static str {
    match gate {
        Gate::Valid => "tested",
        Gate::Dark => "too dark",
        Gate::Unsteady => "light unsteady",
        Gate::Limited => "the inverter is held back",
        Gate::NotProducing => "not producing",
        Gate::NoWeather => "the light is not known",
        Gate::NotMeasured => "not measured",
    }
}

fn quantity(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::DcVoltage => "DC voltage",
        Quantity::DcCurrent => "DC current",
        Quantity::DcPower => "DC power",
        Quantity::AcPower => "AC power",
        Quantity::AcReactivePower => "reactive power",
        Quantity::AcVoltageL1 => "voltage, phase 1",
        Quantity::AcVoltageL2 => "voltage, phase 2",
        Quantity::AcVoltageL3 => "voltage, phase 3",
        Quantity::AcCurrentL1 => "current, phase 1",
        Quantity::AcCurrentL2 => "current, phase 2",
        Quantity::AcCurrentL3 => "current, phase 3",
        Quantity::Frequency => "frequency",
        Quantity::EnergyTotal => "energy so far",
        Quantity::IsolationResistance => "insulation",
        Quantity::ResidualCurrent => "leakage to earth",
        Quantity::HeatsinkTemperature => "heat sink",
        Quantity::State => "state",
        Quantity::EventBits => "event bits",
        Quantity::PowerLimit => "power limit",
        Quantity::ReconnectWait => "waits to connect",
        Quantity::PvPlusToEarth => "plus pole to earth",
        Quantity::PvMinusToEarth => "minus pole to earth",
        Quantity::Poa => "light in the plane",
        Quantity::Ghi => "light, horizontal",
        Quantity::Dni => "light, direct",
        Quantity::Dhi => "light, diffuse",
        Quantity::AirTemperature => "air",
        Quantity::ModuleTemperature => "back of a module",
        Quantity::WindSpeed => "wind",
        Quantity::RelativeHumidity => "humidity",
        Quantity::Rain => "rain",
        Quantity::SnowDepth => "snow",
    }
}

fn state(state: State) -> &'static str {
    match state {
        State::Off => "off",
        State::Sleeping => "asleep",
        State::Starting => "starting",
        State::Tracking => "tracking the maximum power point",
        State::Throttled => "producing less than it could",
        State::ShuttingDown => "shutting down",
        State::Fault => "stopped by a fault",
        State::Standby => "ready, not producing",
    }
}

fn event(event: EventBit) -> &'static str {
    match event {
        EventBit::GroundFault => "fault to earth",
        EventBit::DcOverVoltage => "DC voltage too high",
        EventBit::AcDisconnect => "AC side disconnected",
        EventBit::DcDisconnect => "DC side disconnected",
        EventBit::GridDisconnect => "supply lost or outside its limits",
        EventBit::CabinetOpen => "cabinet open",
        EventBit::ManualShutdown => "stopped by hand or by command",
        EventBit::OverTemperature => "too hot",
        EventBit::OverFrequency => "supply frequency too high",
        EventBit::UnderFrequency => "supply frequency too low",
        EventBit::AcOverVoltage => "supply voltage too high",
        EventBit::AcUnderVoltage => "supply voltage too low",
        EventBit::BlownStringFuse => "a string fuse has blown",
        EventBit::UnderTemperature => "too cold",
        EventBit::MemoryLoss => "memory or communication lost inside",
        EventBit::HardwareTestFailure => "self-test failed",
        EventBit::MakersAlarm => "an alarm of the maker's own",
        EventBit::ArcDetected => "an arc in the array",
    }
}
