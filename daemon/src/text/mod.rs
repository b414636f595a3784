//! A finding in one line for a terminal or a log; times, energy and money as text, in the site's time.
//! Never in here: wording of what was found.

pub mod evidence;
mod loss;
mod number;
mod sure;

pub use analysis::diagnose::count;
pub use loss::{limit, loss};
pub use number::{LEAST_SHOWN_WH, kwh, percent};
pub use sure::{Sureness, sure};

use analysis::detect::Severity;
use analysis::diagnose::Finding;
use analysis::plant::Site;
use analysis::reading::{Energy, SolarDay, Span, Time};
use chrono::{
    DateTime, Days, NaiveDate, NaiveTime, Offset, SecondsFormat, TimeDelta, TimeZone, Utc,
};
use chrono_tz::Tz;
use std::error::Error;

/// When, how urgent, what and since when; of one that has ended, when and what it has cost.
pub fn line(finding: &Finding, timezone: Tz) -> String {
    let (kind, summary) = (finding.kind.name(), &finding.summary);
    let Some(end) = finding.ended else {
        let at = local(finding.found, timezone);
        let since = clock(finding.began, timezone);
        let word = urgency(finding.severity);
        return format!("{at}  {word}  {kind} since {since}: {summary}");
    };
    let (since, at) = (local(finding.began, timezone), local(end, timezone));
    let kwh = finding.lost.wh() / 1000.0;
    let lost = if kwh > 0.0 {
        format!(" Lost: {kwh:.1} kWh.")
    } else {
        String::new()
    };
    format!("{at}  ended {kind}, since {since}: {summary}{lost}")
}

/// A finding that stands, with what it has cost so far.
pub fn standing_line(finding: &Finding, site: &Site, timezone: Tz) -> String {
    let (kind, since) = (finding.kind.name(), local(finding.began, timezone));
    let kwh = finding.lost.wh() / 1000.0;
    let money = money(finding.lost, site).map(|money| format!(", {money}"));
    let money = money.unwrap_or_default();
    let summary = &finding.summary;
    format!("stands: {kind} since {since}: {summary} Lost so far: {kwh:.1} kWh{money}.")
}

/// What an energy is worth at the site's price, as `12.40 EUR`; `None` without a price.
pub fn money(energy: Energy, site: &Site) -> Option<String> {
    let price = site.energy_price.as_ref()?;
    let worth = energy.wh() / 1000.0 * price.per_kwh;
    Some(format!("{worth:.2} {}", price.currency).replace('-', "\u{2212}"))
}

/// The day as a date; empty outside the calendar.
pub fn date(day: SolarDay) -> String {
    let date = self::day(day.number());
    date.map(|date| date.to_string()).unwrap_or_default()
}

fn urgency(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "note",
        Severity::Plan => "plan",
        Severity::Soon => "soon",
        Severity::Now => "NOW ",
    }
}

/// UTC as RFC 3339; `None` outside the calendar.
pub fn utc(at: Time) -> Option<String> {
    let date = DateTime::from_timestamp_millis(at.unix_ms())?;
    Some(date.to_rfc3339_opts(SecondsFormat::AutoSi, true))
}

/// Local time minus UTC.
pub fn utc_offset(at: Time, timezone: Tz) -> Span {
    let seconds = at_site(at, timezone).map_or(0, |d| d.offset().fix().local_minus_utc());
    Span::from_s(i64::from(seconds))
}

/// Date and time at the site.
pub fn local(at: Time, timezone: Tz) -> String {
    shown(at, timezone, "%Y-%m-%d %H:%M")
}

/// Time of day at the site.
pub fn clock(at: Time, timezone: Tz) -> String {
    shown(at, timezone, "%H:%M")
}

fn shown(at: Time, timezone: Tz, format: &str) -> String {
    let date = at_site(at, timezone).map(|date| date.format(format).to_string());
    date.unwrap_or_else(|| format!("{} ms after 1970", at.unix_ms()))
}

/// When a day begins at the site: midnight, or the first moment after it where the clock is put
/// forward at midnight.
pub fn midnight(day: NaiveDate, timezone: Tz) -> Time {
    let midnight = day.and_time(NaiveTime::MIN);
    let quarters = (0..12).map(|n| midnight + TimeDelta::minutes(15 * n));
    let mut local = quarters.filter_map(|time| timezone.from_local_datetime(&time).earliest());
    let first = local.next().map(|date| date.timestamp_millis());
    Time::from_unix_ms(first.unwrap_or_else(|| midnight.and_utc().timestamp_millis()))
}

/// The day of the calendar so many days after 1970-01-01.
pub fn day(number: i64) -> Option<NaiveDate> {
    let days = u64::try_from(number).ok()?;
    NaiveDate::default().checked_add_days(Days::new(days))
}

/// Date and time at the site; `None` outside the calendar.
pub fn at_site(at: Time, timezone: Tz) -> Option<DateTime<Tz>> {
    let utc = DateTime::<Utc>::from_timestamp_millis(at.unix_ms())?;
    Some(timezone.from_utc_datetime(&utc.naive_utc()))
}

/// The day at the site; `None` outside the calendar.
pub fn day_at(at: Time, timezone: Tz) -> Option<NaiveDate> {
    Some(at_site(at, timezone)?.date_naive())
}

/// An error with what is behind it, each said once.
pub fn with_reasons(error: &dyn Error) -> String {
    let mut text = error.to_string();
    let mut reason = error.source();
    while let Some(error) = reason {
        let more = error.to_string();
        if !text.contains(&more) {
            text = format!("{text}: {more}");
        }
        reason = error.source();
    }
    text
}

/// That what should have left does not leave; nothing where it does.
pub fn late(count: usize) -> String {
    let what = match count {
        0 => return String::new(),
        1 => "A mail, call or message has not been taken".to_owned(),
        n => format!("{n} mails, calls or messages have not been taken"),
    };
    format!("{what} for more than a day. The log says why.")
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::Australia::Melbourne;

    #[test]
    fn times_are_the_sites_also_across_the_change_of_clocks() {
        // 2026-04-04T15:59Z is 02:59 in summer time; a minute later it is 02:00 again.
        let before = Time::from_unix_ms(1_775_318_340_000);
        let after = before + Span::from_min(1);
        assert_eq!(local(before, Melbourne), "2026-04-05 02:59");
        assert_eq!(local(after, Melbourne), "2026-04-05 02:00");
        assert_eq!(utc_offset(before, Melbourne), Span::from_h(11));
        assert_eq!(utc_offset(after, Melbourne), Span::from_h(10));
        assert_eq!(utc(before).as_deref(), Some("2026-04-04T15:59:00Z"));
    }
}
