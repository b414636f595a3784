//! Numbers of evidence as people read them: the name without its unit, the number with it.
//! Never in here: which numbers a finding carries.

use analysis::diagnose::Evidence;

/// Units as they end a name, how many of them make the shown one, and how that is written.
const UNITS: &[(&str, f64, &str)] = &[
    ("w_m2", 1.0, "W/m²"),
    ("m_s", 1.0, "m/s"),
    ("s_per_day", 1.0, "s a day"),
    ("kwh", 1.0, "kWh"),
    ("wh", 1e-3, "kWh"),
    ("ratio", 100.0, "%"),
    ("degc", 1.0, "°C"),
    ("deg", 1.0, "°"),
    ("ohm", 1.0, "Ω"),
    ("hz", 1.0, "Hz"),
    ("min", 60.0, "s"),
    ("count", 1.0, ""),
    ("number", 1.0, ""),
    ("k", 1.0, "K"),
    ("s", 1.0, "s"),
    ("v", 1.0, "V"),
    ("a", 1.0, "A"),
    ("w", 1.0, "W"),
];

/// Every number as name and value; times of the calendar are left out, they have places of their own.
pub fn shown(evidence: &Evidence) -> Vec<(String, String)> {
    let dates = |name: &str| name.ends_with("_unix_s");
    let numbers = evidence.iter().filter(|(name, _)| !dates(name));
    numbers.map(|(name, number)| one(name, *number)).collect()
}

fn one(name: &str, number: f64) -> (String, String) {
    let known = UNITS.iter().find_map(|(end, per, unit)| {
        let rest = name.strip_suffix(end)?.strip_suffix('_')?;
        Some((rest, number * per, *unit))
    });
    let (rest, number, unit) = known.unwrap_or((name, number, ""));
    let name = match name {
        "current_ratio" => "current of what is expected".to_owned(),
        "voltage_ratio" => "voltage of what is expected".to_owned(),
        _ => rest.replace('_', " "),
    };
    let (number, unit) = match unit {
        "Ω" if number.abs() >= 1e6 => (number / 1e6, "MΩ"),
        "Ω" if number.abs() >= 1e3 => (number / 1e3, "kΩ"),
        "W" if number.abs() >= 1e4 => (number / 1e3, "kW"),
        "s" if number.abs() >= 10_800.0 => (number / 3600.0, "h"),
        "s" if number.abs() >= 180.0 => (number / 60.0, "min"),
        "s a day" => (number / 60.0, "min a day"),
        _ => (number, unit),
    };
    let gap = if unit.is_empty() || unit == "°" {
        ""
    } else {
        " "
    };
    (name, format!("{}{gap}{unit}", digits(number)))
}

/// Three digits that mean something.
fn digits(number: f64) -> String {
    let size = number.abs();
    if number == number.trunc() && size < 1e6 {
        format!("{number:.0}")
    } else if size >= 100.0 {
        format!("{number:.0}")
    } else if size >= 10.0 {
        format!("{number:.1}")
    } else if size >= 0.1 {
        format!("{number:.2}")
    } else {
        format!("{number:.4}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_shown_in_its_unit() {
        let evidence = [
            ("current_ratio", 0.5002),
            ("silent_s", 600.0),
            ("isolation_resistance_ohm", 1_234_567.0),
            ("lost_wh", 1530.0),
            ("samples_count", 6.0),
            ("reaches_limit_unix_s", 1_782_122_400.0),
            ("dew_point_spread_k", 2.345),
            ("lasts_s_per_day", 5400.0),
            ("poa_w_m2", 812.3),
        ];
        let evidence = evidence.map(|(name, number)| (name.to_owned(), number));
        let shown = shown(&Evidence::from(evidence));
        let shown: Vec<String> = shown.iter().map(|(n, v)| format!("{n}: {v}")).collect();
        let wanted = [
            "current of what is expected: 50.0 %",
            "dew point spread: 2.35 K",
            "isolation resistance: 1.23 MΩ",
            "lasts: 90 min a day",
            "lost: 1.53 kWh",
            "poa: 812 W/m²",
            "samples: 6",
            "silent: 10 min",
        ];
        assert_eq!(shown, wanted);
    }
}
