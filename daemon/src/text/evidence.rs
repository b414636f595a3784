//! The evidence of a finding as a table: each number in words and with its unit, beside what was
//! expected or allowed where the evidence has that.
//!
//! Names end in the unit; a name that is not known is shown as it stands, so that no number is lost.
//! Never in here: which numbers a finding carries.

use super::{limit, local};
use analysis::array::Limit;
use analysis::diagnose::Evidence;
use analysis::reading::Time;
use chrono_tz::Tz;

/// A number of a finding.
#[derive(Debug, PartialEq, Eq)]
pub struct Row {
    /// In words.
    pub name: String,
    /// With its unit.
    pub value: String,
    /// What was expected or is allowed; empty where the evidence has none.
    pub beside: String,
}

/// What a number is held against: another number of the same evidence, and what that is.
const BESIDE: &[(&str, &str, &str)] = &[
    ("isolation_resistance_ohm", "isolation_limit_ohm", "limit"),
    (
        "isolation_best_of_latest_mornings_ohm",
        "isolation_limit_ohm",
        "limit",
    ),
    ("residual_current_a", "residual_current_limit_a", "limit"),
    (
        "highest_phase_ten_minute_mean_v",
        "limit_in_force_v",
        "limit",
    ),
    ("highest_ten_minute_mean_v", "sustained_limit_v", "limit"),
    ("highest_phase_before_v", "limit_in_force_v", "limit"),
    ("frequency_before_hz", "limit_in_force_hz", "limit"),
    (
        "reconnect_after_good_supply_s",
        "reconnect_delay_wanted_s",
        "wanted",
    ),
];

/// Shares of what is expected: healthy is one.
const HEALTHY_IS_ONE: &[&str] = &[
    "current_ratio",
    "voltage_ratio",
    "current_over_curve_ratio",
    "share_of_siblings_ratio",
];

/// Readings of a counter of energy: what tells them apart stands in their last digits.
const OF_A_COUNTER: &[&str] = &["highest_possible_wh", "lowest_possible_wh", "shown_wh"];

/// The rows of a finding; those that are held against another number come first.
pub fn rows(evidence: &Evidence, timezone: Tz) -> Vec<Row> {
    let expected_of = |name: &str| evidence.get(&format!("expected_{name}"));
    let is_beside = |name: &str| {
        let of_other = name.strip_prefix("expected_");
        let in_table = BESIDE
            .iter()
            .any(|(of, beside, _)| *beside == name && evidence.contains_key(*of));
        in_table || of_other.is_some_and(|of| evidence.contains_key(of))
    };
    let mut rows: Vec<Row> = evidence
        .iter()
        .filter(|(name, _)| !is_beside(name))
        .map(|(name, number)| {
            let beside = BESIDE
                .iter()
                .find(|(of, beside, _)| of == name && evidence.contains_key(*beside));
            let beside = match (expected_of(name), beside) {
                (Some(expected), _) => format!("expected {}", value(name, *expected, timezone)),
                (None, Some((_, other, what))) => {
                    format!("{what} {}", value(other, evidence[*other], timezone))
                }
                (None, None) if HEALTHY_IS_ONE.contains(&name.as_str()) => {
                    "expected 100 %".to_owned()
                }
                (None, None) => String::new(),
            };
            Row {
                name: words(name),
                value: value(name, *number, timezone),
                beside,
            }
        })
        .collect();
    rows.sort_by_key(|row| row.beside.is_empty());
    rows
}

/// Units by the end of a name, the longer first.
const UNITS: &[(&str, &str)] = &[
    ("_unix_s", "time"),
    ("_per_k", "1/K"),
    ("_w_m2", "W/m²"),
    ("_degc", "°C"),
    ("_ratio", "%"),
    ("_count", ""),
    ("_ohm", "Ω"),
    ("_kwh", "kWh"),
    ("_wh", "Wh"),
    ("_min", "min"),
    ("_deg", "°"),
    ("_hz", "Hz"),
    ("_mm", "mm"),
    ("_va", "VA"),
    ("_s", "s"),
    ("_h", "h"),
    ("_a", "A"),
    ("_v", "V"),
    ("_w", "W"),
    ("_k", "K"),
];

fn split(name: &str) -> (&str, &'static str) {
    let ends = |(end, unit): &(&str, &'static str)| Some((name.strip_suffix(end)?, *unit));
    UNITS.iter().find_map(ends).unwrap_or((name, ""))
}

/// `current own sigma`, with trade words as they are written.
fn words(name: &str) -> String {
    let (name, _) = split(name);
    if let Some(words) = limited(name) {
        return words;
    }
    let word = |word: &str| match word {
        "dc" | "ac" => word.to_uppercase(),
        "sigma" => "standard deviation".to_owned(),
        "poa" => "light in the plane".to_owned(),
        _ => word.to_owned(),
    };
    let words: Vec<_> = name.split('_').map(word).collect();
    words.join(" ")
}

/// What a limit took. Above rated power nothing is expected, so nothing of it is lost.
fn limited(name: &str) -> Option<String> {
    let by = name.strip_prefix("limited_")?;
    let by = Limit::ALL.iter().find(|one| one.name() == by)?;
    Some(match by {
        Limit::RatedPower => "above rated power, neither expected nor lost".to_owned(),
        other => format!("held back: {}", limit(*other)),
    })
}

fn value(name: &str, number: f64, timezone: Tz) -> String {
    let (_, unit) = split(name);
    match unit {
        "time" => local(Time::from_unix_ms((number * 1000.0) as i64), timezone),
        "%" => format!("{} %", digits(100.0 * number)),
        "Wh" if OF_A_COUNTER.contains(&name) => format!("{} Wh", digits(number.round())),
        "Ω" | "W" | "Wh" | "VA" => scaled(number, unit),
        "s" if number >= 120.0 => format!("{} min", digits(number / 60.0)),
        "A" if number.abs() < 1.0 => format!("{} mA", digits(1000.0 * number)),
        "" => digits(number),
        "°" => format!("{}°", digits(number)),
        unit => format!("{} {unit}", digits(number)),
    }
}

fn scaled(number: f64, unit: &str) -> String {
    match number.abs() {
        1e6.. => format!("{} M{unit}", digits(number / 1e6)),
        1e3.. => format!("{} k{unit}", digits(number / 1e3)),
        _ => format!("{} {unit}", digits(number)),
    }
}

/// Three or four digits that mean something; whole numbers as they are.
fn digits(number: f64) -> String {
    let number = number + 0.0;
    let text = match number.abs() {
        _ if number.fract() == 0.0 && number.abs() < 1e6 => format!("{number:.0}"),
        1000.0.. => format!("{number:.0}"),
        100.0.. => format!("{number:.1}"),
        1.0.. => format!("{number:.2}"),
        _ => format!("{number:.3}"),
    };
    text.replace('-', "\u{2212}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::Australia::Melbourne;

    fn row(of: &[(&str, f64)], n: usize) -> (String, String, String) {
        let evidence: Evidence = of.iter().map(|(k, v)| ((*k).to_owned(), *v)).collect();
        let row = rows(&evidence, Melbourne).remove(n);
        (row.name, row.value, row.beside)
    }

    #[test]
    fn a_number_stands_beside_what_was_expected_or_allowed() {
        let limits = [
            ("isolation_resistance_ohm", 19_000.0),
            ("isolation_limit_ohm", 33_333.3),
        ];
        let (name, value, beside) = row(&limits, 0);
        assert_eq!(name, "isolation resistance");
        assert_eq!(
            (value.as_str(), beside.as_str()),
            ("19 kΩ", "limit 33.33 kΩ")
        );
        let pair = [
            ("string_dc_current_a", 4.5),
            ("expected_string_dc_current_a", 9.0),
        ];
        let (name, value, beside) = row(&pair, 0);
        assert_eq!(
            (name.as_str(), value.as_str()),
            ("string DC current", "4.50 A")
        );
        assert_eq!(beside, "expected 9 A");
        assert_eq!(row(&[("current_ratio", 0.50023)], 0).2, "expected 100 %");
    }

    #[test]
    fn what_is_held_against_another_number_stands_first() {
        let numbers = [
            ("current_common_sigma_ratio", 0.01),
            ("current_ratio", 0.5),
            ("samples_count", 6.0),
            ("voltage_ratio", 1.0),
        ];
        let names = [0, 1, 2, 3].map(|n| row(&numbers, n).0);
        let wanted = [
            "current",
            "voltage",
            "current common standard deviation",
            "samples",
        ];
        assert_eq!(names, wanted);
    }

    #[test]
    fn what_lies_above_rated_power_is_said_not_to_be_lost() {
        let taken = [
            ("limited_rated_power_wh", 12_000.0),
            ("limited_volt_watt_wh", 400.0),
            ("limited_days_count", 1.0),
        ];
        let names = [0, 1, 2].map(|n| row(&taken, n).0);
        let wanted = [
            "limited days",
            "above rated power, neither expected nor lost",
            "held back: high supply voltage",
        ];
        assert_eq!(names, wanted);
    }

    #[test]
    fn readings_of_a_counter_keep_the_digits_that_differ() {
        let readings = [
            ("highest_possible_wh", 32_766_952.4),
            ("shown_wh", 32_766_960.0),
        ];
        let values = [0, 1].map(|n| row(&readings, n).1);
        assert_eq!(values, ["32766952 Wh", "32766960 Wh"]);
    }

    #[test]
    fn no_number_is_lost() {
        let (name, value, beside) = row(&[("oddly named", -0.25)], 0);
        assert_eq!(
            (name.as_str(), value.as_str()),
            ("oddly named", "\u{2212}0.250")
        );
        assert_eq!(beside, "");
        assert_eq!(row(&[("off_s", 420.0)], 0).1, "7 min");
        assert_eq!(
            row(&[("reaches_limit_unix_s", 1_775_318_400.0)], 0).1,
            "2026-04-05 02:00"
        );
    }
}
