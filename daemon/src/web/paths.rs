//! Where each page is. Never in here: what it shows.

use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};

/// Whether the program is at work, for a supervisor.
pub const HEALTH: &str = "/health";
/// Numbers for a collector.
pub const METRICS: &str = "/metrics";
/// Answers for programs.
pub const API: &str = "/api/";
/// Style, scripts.
pub const ASSETS: &str = "/assets/";
/// Where passwords are asked for.
pub const SIGN_IN: &str = "/sign-in";
/// Where another language is chosen.
pub const LANGUAGE: &str = "/language";
/// What links in mails open.
pub const LINK: &str = "/link/";

const PLAIN: &AsciiSet = &NON_ALPHANUMERIC.remove(b'-').remove(b'_').remove(b'.');

/// A name as one part of a path or query.
pub fn encoded(name: &str) -> String {
    utf8_percent_encode(name, PLAIN).to_string()
}

/// Signing in, and then on to a page of ours.
pub fn sign_in(then: &str) -> String {
    format!("{SIGN_IN}?to={}", encoded(then))
}

/// Where to go after signing in: only to a page of ours.
pub fn ours(to: &str) -> &str {
    // Browsers take a backslash for a slash, and leave out tabs and ends of lines.
    let is_ours = to.starts_with('/')
        && !to.starts_with("//")
        && !to.contains(|c: char| c == '\\' || c.is_control())
        && !to.starts_with(SIGN_IN);
    if is_ours { to } else { "/" }
}

/// Where to stay in another language: a page of ours, also that for signing in.
pub fn ours_or_sign_in(to: &str) -> &str {
    match to.strip_prefix(SIGN_IN) {
        Some(rest) if rest.is_empty() || rest.starts_with('?') => to,
        _ => ours(to),
    }
}

/// An inverter on a day.
pub fn inverter_day(inverter: &str, date: &str) -> String {
    format!("/inverters/{}/days/{date}", encoded(inverter))
}

/// What a device has answered, register by register.
pub fn registers(device: &str) -> String {
    format!("/devices/{}/registers", encoded(device))
}

/// A finding.
pub fn finding(id: &str) -> String {
    format!("/findings/{}", encoded(id))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_sent_elsewhere_after_signing_in() {
        assert_eq!(ours("/findings/a?b=c"), "/findings/a?b=c");
        for to in [
            "//evil.example",
            "https://evil.example",
            "/\\evil.example",
            "/\t/evil.example",
            "/\n/evil.example",
            "",
            "/sign-in?to=/",
        ] {
            assert_eq!(ours(to), "/", "{to}");
        }
    }

    #[test]
    fn any_label_is_one_part_of_a_path() {
        assert_eq!(
            finding("barn.string-A/1 ü.5"),
            "/findings/barn.string-A%2F1%20%C3%BC.5"
        );
    }
}
