//! The rows of an inverter's page: inputs, supply, mornings.
//! Never in here: the day and its chart.

use crate::web::texts::Texts;
use crate::web::view::inverter::{Compared, InputNow, Inverter, MorningSeen};
use crate::web::{Page, show};
use analysis::detect::Gate;

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
pub fn input_row(t: &'static Texts, input: &InputNow) -> InputRow {
    let power = input
        .dc_voltage_v
        .zip(input.dc_current_a)
        .map(|(v, i)| v * i);
    let volts = |value| show::number(t, value, 1, "V");
    let amps = |value| show::number(t, value, 2, "A");
    let strings = input.strings.iter().map(|s| {
        let current = s
            .dc_current_a
            .map(|i| format!(", {}", show::number(t, Some(i), 2, "A")));
        let current = current.unwrap_or_default();
        format!(
            "{}: {} × {}, {}{current}",
            s.label, s.count, s.module, s.plane
        )
    });
    let gate = match input.gate {
        Gate::Valid => String::new(),
        other => format!("{}: {}.", t.why_not_tested, (t.words.gate)(other)),
    };
    let limit = input
        .limit
        .map(|limit| format!(" {}: {}.", t.limit, t.limit(limit)));
    InputRow {
        number: input.input,
        strings: strings.collect(),
        rows: vec![
            row(
                t,
                t.voltage,
                volts(input.dc_voltage_v),
                input.voltage,
                input.gate,
                volts,
            ),
            row(
                t,
                t.current,
                amps(input.dc_current_a),
                input.current,
                input.gate,
                amps,
            ),
            row(
                t,
                t.power,
                show::power(t, power),
                input.power,
                input.gate,
                |w| show::power(t, w),
            ),
        ],
        note: format!("{gate}{}", limit.unwrap_or_default()),
    }
}

/// A limit moves the inverter along the curve, so that voltage and current alone say nothing; only
/// what was tested is judged.
fn row(
    t: &'static Texts,
    name: &'static str,
    now: String,
    c: Compared,
    gate: Gate,
    text: impl Fn(Option<f64>) -> String,
) -> ComparedRow {
    let tested = (gate == Gate::Valid)
        .then_some(())
        .and(c.measured.zip(c.low).zip(c.high));
    let (class, shape, verdict) = match tested {
        None => ("soft", "–", t.not_compared),
        Some(((measured, low), _)) if measured < low => ("off", "▼", t.below),
        Some(((measured, _), high)) if measured > high => ("off", "▲", t.above),
        Some(_) => ("good", "✓", t.within),
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
pub fn supply(t: &Texts, now: &Inverter) -> Vec<(String, String)> {
    let volts = now.supply.voltage_v.iter().zip(1..);
    let volts = volts.map(|(v, n)| (format!("{} {n}", t.phase), show::number(t, *v, 1, "V")));
    let frequency = (
        t.frequency.to_owned(),
        show::number(t, now.supply.frequency_hz, 2, "Hz"),
    );
    volts.chain([frequency]).collect()
}

/// What the rules allow.
pub fn rules(t: &Texts, now: &Inverter) -> String {
    let supply = &now.supply;
    let volts = |value| show::number(t, value, 1, "V");
    let mut text = format!(
        "{} {}: {} {} – {}",
        t.rules,
        supply.rules,
        t.allowed,
        volts(supply.lowest_v),
        volts(supply.highest_v)
    );
    if supply.sustained_highest_v.is_some() {
        text += &format!("; {} {}", t.sustained, volts(supply.sustained_highest_v));
    }
    text
}

/// A morning as it is shown.
pub fn morning(page: &Page, t: &'static Texts, morning: &MorningSeen) -> MorningRow {
    MorningRow {
        at: show::local(t, morning.at, page.site.timezone),
        resistance: show::resistance(t, morning.isolation_resistance_ohm),
        is_low: morning.is_low,
        weather: match morning.is_wet {
            Some(true) => t.wet,
            Some(false) => t.dry,
            None => show::NOTHING,
        },
        lost: match morning.lost_min {
            0 => show::NOTHING.to_owned(),
            minutes => format!("{minutes} min"),
        },
    }
}
