//! The words of the picture: trade terms for sources, gates and severities, and names made safe.

use super::canvas::Fill;
use super::style::{INK, STRIP};
use crate::detect::{Gate, Kind, Severity};
use crate::diagnose::Subject;
use crate::expected::WeatherRung;

/// Text that every SVG reader takes: no control characters, no characters that XML forbids.
pub fn plain(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\u{fffe}' | '\u{ffff}' => '\u{fffd}',
            c if c.is_control() => ' ',
            c => c,
        })
        .collect()
}

/// Where the irradiance in a plane came from.
pub fn rung(rung: WeatherRung) -> &'static str {
    match rung {
        WeatherRung::PlaneSensor => "sensor in the plane",
        WeatherRung::HorizontalWithDiffuse => "horizontal with diffuse",
        WeatherRung::HorizontalOnly => "horizontal sensor only",
        WeatherRung::ScaledClearSky => "scaled clear sky",
    }
}

/// The gates in the order of the legend, without the valid one.
pub const UNTESTED_GATES: [Gate; 6] = [
    Gate::Dark,
    Gate::Unsteady,
    Gate::Limited,
    Gate::NotProducing,
    Gate::NoWeather,
    Gate::NotMeasured,
];

/// Why a slot is not tested.
pub fn gate(gate: Gate) -> &'static str {
    match gate {
        Gate::Valid => "tested",
        Gate::Dark => "dark",
        Gate::Unsteady => "light unsteady",
        Gate::Limited => "inverter limited",
        Gate::NotProducing => "not producing",
        Gate::NoWeather => "no irradiance",
        Gate::NotMeasured => "not measured",
    }
}

/// The pattern of a gate in the strip under an input.
pub fn gate_fill(gate: Gate) -> Fill {
    match gate {
        Gate::Valid => Fill::None,
        Gate::Dark => Fill::Solid(STRIP),
        Gate::Unsteady => Fill::Upright(4.0),
        Gate::Limited => Fill::Rising(4.0),
        Gate::NotProducing => Fill::Crossed(6.0),
        Gate::NoWeather => Fill::Level(4.0),
        Gate::NotMeasured => Fill::None,
    }
}

/// The severities in the order of the legend.
pub const SEVERITIES: [Severity; 4] = [
    Severity::Now,
    Severity::Soon,
    Severity::Plan,
    Severity::Note,
];

/// The pattern of a bar: the more urgent, the darker.
pub fn severity_fill(severity: Severity) -> Fill {
    match severity {
        Severity::Note => Fill::None,
        Severity::Plan => Fill::Rising(7.0),
        Severity::Soon => Fill::Crossed(6.0),
        Severity::Now => Fill::Solid(INK),
    }
}

/// The kind in words: its name in `findings.jsonl` with spaces.
pub fn kind(kind: Kind) -> String {
    kind.name().replace('_', " ")
}

/// `inv-1 input 2, string B`
pub fn subject(subject: &Subject) -> String {
    let input = subject.input.map(|n| format!(" input {n}"));
    let string = subject.string.as_ref().map(|s| format!(", string {s}"));
    let (input, string) = (input.unwrap_or_default(), string.unwrap_or_default());
    plain(&format!("{}{input}{string}", subject.device))
}
