//! The rows of an inverter's page: inputs, supply, mornings.
//! Never in here: the day and its chart.

use super::T;
use crate::web::view::inverter::{Compared, InputNow, Inverter, MorningSeen};
use crate::web::{Page, show};

/// One input.
pub struct InputRow {
    pub number: u8,
    pub strings: Vec<String>,
    pub rows: Vec<ComparedRow>,
    pub note: String,
}

/// Voltage, current or power of an input.
pub struct ComparedRow {
    pub name: &'static str,
    pub now: String,
    pub measured: String,
    pub expected: String,
    pub band: String,
    pub class: &'static str,
    pub shape: &'static str,
    pub verdict: &'static str,
}

/// A morning of insulation.
pub struct MorningRow {
    pub at: String,
    pub resistance: String,
    pub is_low: bool,
    pub weather: &'static str,
    pub lost: String,
}

/// An input with what it gives beside what is expected.
pub fn input_row(input: &InputNow) -> InputRow {
    let power = input
        .dc_voltage_v
        .zip(input.dc_current_a)
        .map(|(v, i)| v * i);
    let volts = |value| show::number(value, 1, "V");
    let amps = |value| show::number(value, 2, "A");
    let strings = input.strings.iter().map(|s| {
        let current = s
            .dc_current_a
            .map(|i| format!(", {}", show::number(Some(i), 2, "A")));
        let current = current.unwrap_or_default();
        format!(
            "{}: {} × {}, {}{current}",
            s.label, s.count, s.module, s.plane
        )
    });
    let gate = match input.gate {
        "valid" => String::new(),
        other => format!("{}: {}.", T.why_not_tested, T.gate(other)),
    };
    let limit = input
        .limit
        .map(|limit| format!(" {}: {}.", T.limit, T.limit(limit)));
    InputRow {
        number: input.input,
        strings: strings.collect(),
        rows: vec![
            row(
                T.voltage,
                volts(input.dc_voltage_v),
                input.voltage,
                input.gate,
                volts,
            ),
            row(
                T.current,
                amps(input.dc_current_a),
                input.current,
                input.gate,
                amps,
            ),
            row(
                T.power,
                show::power(power),
                input.power,
                input.gate,
                show::power,
            ),
        ],
        note: format!("{gate}{}", limit.unwrap_or_default()),
    }
}

/// A limit moves the inverter along the curve, so that voltage and current alone say nothing; only
/// what was tested is judged.
fn row(
    name: &'static str,
    now: String,
    c: Compared,
    gate: &str,
    text: impl Fn(Option<f64>) -> String,
) -> ComparedRow {
    let tested = (gate == "valid")
        .then_some(())
        .and(c.measured.zip(c.low).zip(c.high));
    let (class, shape, verdict) = match tested {
        None => ("soft", "–", T.not_compared),
        Some(((measured, low), _)) if measured < low => ("off", "▼", T.below),
        Some(((measured, _), high)) if measured > high => ("off", "▲", T.above),
        Some(_) => ("good", "✓", T.within),
    };
    let band = match (c.low, c.high) {
        (Some(low), Some(high)) => format!("({} – {})", text(Some(low)), text(Some(high))),
        _ => String::new(),
    };
    ComparedRow {
        name,
        now,
        measured: text(c.measured),
        expected: text(c.expected),
        band,
        class,
        shape,
        verdict,
    }
}

/// Phases and frequency.
pub fn supply(now: &Inverter) -> Vec<(String, String)> {
    let volts = now.supply.voltage_v.iter().zip(1..);
    let volts = volts.map(|(v, n)| (format!("{} {n}", T.phase), show::number(*v, 1, "V")));
    let frequency = (
        T.frequency.to_owned(),
        show::number(now.supply.frequency_hz, 2, "Hz"),
    );
    volts.chain([frequency]).collect()
}

/// What the rules allow.
pub fn rules(now: &Inverter) -> String {
    let supply = &now.supply;
    let volts = |value| show::number(value, 1, "V");
    let mut text = format!(
        "{} {}: {} {} – {}",
        T.rules,
        supply.rules,
        T.allowed,
        volts(supply.lowest_v),
        volts(supply.highest_v)
    );
    if supply.sustained_highest_v.is_some() {
        text += &format!("; {} {}", T.sustained, volts(supply.sustained_highest_v));
    }
    text
}

/// A morning as it is shown.
pub fn morning(page: &Page, morning: &MorningSeen) -> MorningRow {
    MorningRow {
        at: show::local(morning.at, page.site.timezone),
        resistance: show::resistance(morning.isolation_resistance_ohm),
        is_low: morning.is_low,
        weather: match morning.is_wet {
            Some(true) => T.wet,
            Some(false) => T.dry,
            None => show::NOTHING,
        },
        lost: match morning.lost_min {
            0 => show::NOTHING.to_owned(),
            minutes => format!("{minutes} min"),
        },
    }
}
