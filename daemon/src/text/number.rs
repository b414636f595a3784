//! Energies and shares as people read them.
//! Never in here: what a number means.

use analysis::reading::Energy;

/// What [`kwh`] shows as `0.1 kWh` at least: less is not worth a line of its own [Wh].
pub const LEAST_SHOWN_WH: f64 = 50.0;

/// `1 234.5 kWh`
pub fn kwh(energy: Energy) -> String {
    format!("{} kWh", grouped(energy.wh() / 1000.0))
}

/// A number with one decimal and thin spaces between thousands.
fn grouped(number: f64) -> String {
    // Nothing lost has no sign.
    let text = format!("{:.1}", (number * 10.0).round() / 10.0 + 0.0);
    let (whole, decimals) = text.split_once('.').unwrap_or((&text, "0"));
    let (sign, digits) = whole
        .strip_prefix('-')
        .map_or(("", whole), |digits| ("\u{2212}", digits));
    let mut spaced = String::new();
    for (n, digit) in digits.chars().enumerate() {
        if n > 0 && (digits.len() - n) % 3 == 0 {
            spaced.push('\u{202f}');
        }
        spaced.push(digit);
    }
    format!("{sign}{spaced}.{decimals}")
}

/// `12.3 %`
pub fn percent(ratio: f64) -> String {
    let text = format!("{:.1} %", (1000.0 * ratio).round() / 10.0 + 0.0);
    text.replace('-', "\u{2212}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_are_set_apart_and_nothing_has_no_sign() {
        let kwh = |wh: f64| kwh(Energy::from_wh(wh));
        assert_eq!(kwh(1_234_567_890.0), "1\u{202f}234\u{202f}567.9 kWh");
        assert_eq!(kwh(-20.0), "0.0 kWh");
        assert_eq!(kwh(-4_321_000.0), "\u{2212}4\u{202f}321.0 kWh");
        assert_eq!(kwh(999_950.0), "1\u{202f}000.0 kWh");
    }
}
