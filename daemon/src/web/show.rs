//! Numbers, times and names as people read them: in the site's time, with units, no more digits than
//! mean something.
//! Never in here: what is shown.

use crate::text;
use analysis::reading::{Place, Quantity, Span, Time};
use chrono_tz::Tz;

/// Where nothing is known.
pub const NOTHING: &str = "–";

/// A number with a unit, or the dash.
pub fn number(value: Option<f64>, decimals: usize, unit: &str) -> String {
    match value {
        None => NOTHING.to_owned(),
        // Without a sign where nothing is left.
        Some(value) => format!("{:.decimals$} {unit}", rounded(value, decimals)),
    }
}

fn rounded(value: f64, decimals: usize) -> f64 {
    let per_unit = 10f64.powi(decimals as i32);
    (value * per_unit).round() / per_unit + 0.0
}

/// An energy in kWh, or MWh from a thousand of them.
pub fn energy(wh: f64) -> String {
    if wh.abs() < 1e6 {
        number(Some(wh / 1e3), if wh.abs() < 1e4 { 2 } else { 1 }, "kWh")
    } else {
        number(Some(wh / 1e6), 2, "MWh")
    }
}

/// A power in W, or kW from a thousand of them.
pub fn power(w: Option<f64>) -> String {
    match w {
        Some(watts) if watts.abs() >= 1000.0 => number(Some(watts / 1000.0), 2, "kW"),
        other => number(other, 0, "W"),
    }
}

/// A share as a percentage.
pub fn percent(ratio: Option<f64>) -> String {
    number(ratio.map(|ratio| ratio * 100.0), 1, "%")
}

/// A resistance.
pub fn resistance(ohm: Option<f64>) -> String {
    match ohm {
        Some(ohm) if ohm >= 1e6 => number(Some(ohm / 1e6), 2, "Mohm"),
        other => number(other.map(|ohm| ohm / 1e3), 0, "kohm"),
    }
}

/// Money.
pub fn money(value: Option<f64>, currency: Option<&str>) -> Option<String> {
    value
        .zip(currency)
        .map(|(value, currency)| format!("{:.2} {currency}", rounded(value, 2)))
}

/// How long ago, roughly.
pub fn ago(span: Span) -> String {
    let seconds = span.ms().max(0) / 1000;
    match seconds {
        0..90 => format!("{seconds} s ago"),
        90..5400 => format!("{} min ago", (seconds + 30) / 60),
        5400..129_600 => format!("{} h ago", (seconds + 1800) / 3600),
        _ => format!("{} days ago", (seconds + 43_200) / 86_400),
    }
}

/// Date and time at the site.
pub fn local(at: Time, timezone: Tz) -> String {
    text::local(at, timezone)
}

/// A value of a channel.
pub fn value(quantity: Quantity, value: f64) -> String {
    match quantity {
        Quantity::DcPower | Quantity::AcPower => power(Some(value)),
        Quantity::EnergyTotal => energy(value),
        Quantity::IsolationResistance => resistance(Some(value)),
        Quantity::PowerLimit | Quantity::RelativeHumidity => percent(Some(value)),
        Quantity::State => analysis::plant::State::from_number(value).map_or_else(
            || format!("{value:.0}"),
            |state| state_word(state).to_owned(),
        ),
        Quantity::EventBits => format!("{:#x}", value as u32),
        other => {
            let (decimals, unit) = digits(other);
            number(Some(value), decimals, unit)
        }
    }
}

fn digits(quantity: Quantity) -> (usize, &'static str) {
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
pub fn channel_name(place: Place, quantity: Quantity) -> String {
    let what = quantity_name(quantity);
    match place {
        Place::Device => what.to_owned(),
        Place::Input(n) => format!("input {n}: {what}"),
        Place::String(n, k) => format!("input {n}, string {k}: {what}"),
    }
}

fn quantity_name(quantity: Quantity) -> &'static str {
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

/// The state of an inverter in trade words.
pub fn state_word(state: analysis::plant::State) -> &'static str {
    use analysis::plant::State;
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_the_digits_that_mean_something() {
        assert_eq!(energy(-0.2), "0.00 kWh");
        assert_eq!(energy(23_456.0), "23.5 kWh");
        assert_eq!(energy(2_345_600.0), "2.35 MWh");
        assert_eq!(power(Some(999.4)), "999 W");
        assert_eq!(power(None), NOTHING);
        assert_eq!(percent(Some(0.9876)), "98.8 %");
        assert_eq!(resistance(Some(1.5e6)), "1.50 Mohm");
    }
}
