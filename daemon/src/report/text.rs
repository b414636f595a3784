//! A finding in one line for a terminal or a log, in the site's time.
//! Never in here: wording of what was found.

use analysis::detect::Severity;
use analysis::diagnose::Finding;
use analysis::reading::{Span, Time};
use chrono::{DateTime, Offset, TimeZone, Utc};
use chrono_tz::Tz;

/// When, how urgent, what, and what it has cost so far.
pub fn line(finding: &Finding, timezone: Tz) -> String {
    let word = match finding.severity {
        Severity::Note => "note",
        Severity::Plan => "plan",
        Severity::Soon => "soon",
        Severity::Now => "NOW ",
    };
    let kwh = finding.lost.wh() / 1000.0;
    let kind = finding.kind.name();
    match finding.ended {
        None => {
            let first = finding.causes.first();
            let cause = first
                .map(|c| {
                    format!(
                        " Most likely: {} ({:.0} %).",
                        c.cause,
                        100.0 * c.probability
                    )
                })
                .unwrap_or_default();
            let at = local(finding.found, timezone);
            format!("{at}  {word}  {kind}: {}{cause}", finding.summary)
        }
        Some(end) => {
            let lost = if kwh > 0.0 {
                format!(" Lost: {kwh:.1} kWh.")
            } else {
                String::new()
            };
            let since = local(finding.began, timezone);
            let at = local(end, timezone);
            format!(
                "{at}  ended {kind}, since {since}: {}{lost}",
                finding.summary
            )
        }
    }
}

/// Date and time at the site.
pub fn local(at: Time, timezone: Tz) -> String {
    at_site(at, timezone).map_or_else(
        || format!("{} ms", at.unix_ms()),
        |date| date.format("%Y-%m-%d %H:%M").to_string(),
    )
}

/// Local time minus UTC.
pub fn utc_offset(at: Time, timezone: Tz) -> Span {
    let seconds = at_site(at, timezone).map_or(0, |d| d.offset().fix().local_minus_utc());
    Span::from_s(i64::from(seconds))
}

fn at_site(at: Time, timezone: Tz) -> Option<DateTime<Tz>> {
    let utc = DateTime::<Utc>::from_timestamp_millis(at.unix_ms())?;
    Some(timezone.from_utc_datetime(&utc.naive_utc()))
}
