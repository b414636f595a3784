//! Numbers, times and names as people read them: in the site's time, with units, no more digits than
//! mean something.
//! Never in here: what is shown.

use super::texts::Texts;
use crate::text;
use analysis::reading::{Place, Quantity, Span, Time};
use chrono::NaiveDate;
use chrono_tz::Tz;

/// Where nothing is known.
pub const NOTHING: &str = "–";

/// A number with a unit, or the dash.
pub fn number(t: &Texts, value: Option<f64>, decimals: usize, unit: &str) -> String {
    match value {
        None => NOTHING.to_owned(),
        Some(value) => format!("{} {unit}", digits(t, value, decimals)),
    }
}

/// A number as the language writes it; without a sign where nothing is left.
pub fn digits(t: &Texts, value: f64, decimals: usize) -> String {
    in_manner(t, &format!("{:.decimals$}", rounded(value, decimals)))
}

/// A number with all the digits that it has.
pub fn exact(t: &Texts, value: f64) -> String {
    in_manner(t, &value.to_string())
}

/// A number that was written in the English manner.
pub fn in_manner(t: &Texts, number: &str) -> String {
    let mark = |c| match c {
        '.' => t.words.manner.decimal,
        '-' => '\u{2212}',
        other => other,
    };
    number.chars().map(mark).collect()
}

fn rounded(value: f64, decimals: usize) -> f64 {
    let per_unit = 10f64.powi(decimals as i32);
    (value * per_unit).round() / per_unit + 0.0
}

/// An energy in kWh, or MWh from a thousand of them.
pub fn energy(t: &Texts, wh: f64) -> String {
    if wh.abs() < 1e6 {
        let decimals = if wh.abs() < 1e4 { 2 } else { 1 };
        number(t, Some(wh / 1e3), decimals, "kWh")
    } else {
        number(t, Some(wh / 1e6), 2, "MWh")
    }
}

/// A power in W, or kW from a thousand of them.
pub fn power(t: &Texts, w: Option<f64>) -> String {
    match w {
        Some(watts) if watts.abs() >= 1000.0 => number(t, Some(watts / 1000.0), 2, "kW"),
        other => number(t, other, 0, "W"),
    }
}

/// A share as a percentage.
pub fn percent(t: &Texts, ratio: Option<f64>) -> String {
    number(t, ratio.map(|ratio| ratio * 100.0), 1, "%")
}

/// A resistance.
pub fn resistance(t: &Texts, ohm: Option<f64>) -> String {
    match ohm {
        Some(ohm) if ohm >= 1e6 => number(t, Some(ohm / 1e6), 2, "MΩ"),
        other => number(t, other.map(|ohm| ohm / 1e3), 0, "kΩ"),
    }
}

/// Money.
pub fn money(t: &Texts, value: Option<f64>, currency: Option<&str>) -> Option<String> {
    value
        .zip(currency)
        .map(|(value, currency)| number(t, Some(value), 2, currency))
}

/// How long ago, roughly.
pub fn ago(t: &Texts, span: Span) -> String {
    (t.words.ago)(span.ms().max(0) / 1000)
}

/// Date and time at the site.
pub fn local(t: &Texts, at: Time, timezone: Tz) -> String {
    match text::at_site(at, timezone) {
        Some(date) => date.format(t.words.manner.date_time).to_string(),
        None => text::local(at, timezone),
    }
}

/// A day.
pub fn date(t: &Texts, date: NaiveDate) -> String {
    date.format(t.words.manner.date).to_string()
}

/// A value of a channel.
pub fn value(t: &Texts, quantity: Quantity, value: f64) -> String {
    match quantity {
        Quantity::DcPower | Quantity::AcPower => power(t, Some(value)),
        Quantity::EnergyTotal => energy(t, value),
        Quantity::IsolationResistance => resistance(t, Some(value)),
        Quantity::PowerLimit | Quantity::RelativeHumidity => percent(t, Some(value)),
        Quantity::State => analysis::plant::State::from_number(value).map_or_else(
            || format!("{value:.0}"),
            |state| (t.words.state)(state).to_owned(),
        ),
        Quantity::EventBits => format!("{:#x}", value as u32),
        other => {
            let (decimals, unit) = unit(other);
            number(t, Some(value), decimals, unit)
        }
    }
}

fn unit(quantity: Quantity) -> (usize, &'static str) {
    match quantity {
        Quantity::DcVoltage
        | Quantity::AcVoltageL1
        | Quantity::AcVoltageL2
        | Quantity::AcVoltageL3
        | Quantity::PvPlusToEarth
        | Quantity::PvMinusToEarth => (1, "V"),
        Quantity::DcCurrent
        | Quantity::AcCurrentL1
        | Quantity::AcCurrentL2
        | Quantity::AcCurrentL3 => (2, "A"),
        Quantity::ResidualCurrent => (3, "A"),
        Quantity::Frequency => (2, "Hz"),
        Quantity::AcReactivePower => (0, "var"),
        Quantity::HeatsinkTemperature | Quantity::AirTemperature | Quantity::ModuleTemperature => {
            (1, "°C")
        }
        Quantity::Poa | Quantity::Ghi | Quantity::Dni | Quantity::Dhi => (0, "W/m²"),
        Quantity::WindSpeed => (1, "m/s"),
        Quantity::Rain => (1, "mm"),
        Quantity::SnowDepth => (2, "m"),
        Quantity::ReconnectWait => (0, "s"),
        Quantity::DcPower
        | Quantity::AcPower
        | Quantity::EnergyTotal
        | Quantity::IsolationResistance
        | Quantity::PowerLimit
        | Quantity::RelativeHumidity
        | Quantity::State
        | Quantity::EventBits => (3, ""),
    }
}

/// Where on a device, and what: `input 1: DC voltage`.
pub fn channel_name(t: &Texts, place: Place, quantity: Quantity) -> String {
    let what = (t.words.quantity)(quantity);
    let (input, string) = (t.input_word, t.string);
    match place {
        Place::Device => what.to_owned(),
        Place::Input(n) => format!("{input} {n}: {what}"),
        Place::String(n, k) => format!("{input} {n}, {string} {k}: {what}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    use crate::web::texts::{ENGLISH, GERMAN};

    #[test]
    fn numbers_have_the_digits_that_mean_something() {
        let t = &ENGLISH;
        assert_eq!(energy(t, -0.2), "0.00 kWh");
        assert_eq!(energy(t, 23_456.0), "23.5 kWh");
        assert_eq!(energy(t, 2_345_600.0), "2.35 MWh");
        assert_eq!(power(t, Some(999.4)), "999 W");
        assert_eq!(power(t, None), NOTHING);
        assert_eq!(percent(t, Some(0.9876)), "98.8 %");
        assert_eq!(resistance(t, Some(1.5e6)), "1.50 MΩ");
    }

    #[test]
    fn numbers_and_times_are_written_as_the_language_does() {
        let at = Time::from_unix_ms(1_774_000_800_000);
        let vienna = chrono_tz::Europe::Vienna;
        assert_eq!(energy(&GERMAN, -1234.0), "\u{2212}1,23 kWh");
        assert_eq!(local(&ENGLISH, at, vienna), "2026-03-20 11:00");
        assert_eq!(local(&GERMAN, at, vienna), "20.03.2026 11:00");
        assert_eq!(
            money(&GERMAN, Some(0.5), Some("EUR")).as_deref(),
            Some("0,50 EUR")
        );
    }
}
