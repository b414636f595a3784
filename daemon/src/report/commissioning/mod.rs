//! `commissioning.html`: what the first weeks of readings say of a plant beside its design, to be
//! looked through and signed.
//!
//! It is written when asked for, and by the daemon when seven and thirty whole days have passed since the
//! handover or the first readings, whichever is later.
//! Never in here: the rules themselves (`lines`).

mod array_lines;
mod lines;
mod supply_lines;

use super::ahead::each_slot;
use super::whole_file::{WriteError, write_whole};
use super::{About, ReportError};
use crate::store::Store;
use crate::text;
use analysis::detect::Severity;
use analysis::diagnose::Finding;
use analysis::ledger::CapacityTest;
use analysis::plant::design;
use analysis::reading::Time;
use analysis::review::Review;
use askama::Template;
use chrono::{Days, NaiveDate};
use chrono_tz::Tz;
use lines::{Line, Verdict};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Name of the page in the folder.
pub const COMMISSIONING_NAME: &str = "commissioning.html";

/// Days after which the daemon writes it.
const DUE_DAYS: [i64; 2] = [7, 30];
/// More than the first days says nothing of the handover.
const MOST_DAYS: u64 = 30;

/// Why there is no such page. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum CommissioningError {
    /// There is nothing to judge by.
    #[error("report on the commissioning: the store has no slot from {from} on")]
    Empty {
        /// The day on which the plant was handed over.
        from: String,
    },
    /// The page could not be put together.
    #[error("put the page of the commissioning together")]
    Page(#[from] askama::Error),
    /// The file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// A part of the page.
struct Part {
    title: String,
    lines: Vec<Line>,
}

#[derive(Template)]
#[template(path = "report/commissioning.html")]
struct Page {
    site: String,
    days: i64,
    from: String,
    to: String,
    zone: String,
    handed_over: String,
    counts: [(&'static str, usize); 3],
    parts: Vec<Part>,
    open: Vec<[String; 3]>,
}

/// Writes the page of the first days, in place of an earlier one.
///
/// # Errors
/// If the store has nothing of them or cannot be read, or the file cannot be written.
pub fn write(folder: &Path, about: About<'_>, store: &Store) -> Result<PathBuf, ReportError> {
    let About { plant, timezone } = about;
    let local = |at: Time| text::local(at, timezone);
    let handed_over = handover(about).map_or_else(String::new, |day| day.to_string());
    let Some(FirstDays { from, to, whole }) = first_days(about, store)? else {
        return Err(CommissioningError::Empty { from: handed_over }.into());
    };
    let period = (from, to);
    let utc_offset = |at: Time| text::utc_offset(at, timezone);
    let findings = as_of(store.findings()?, to);
    let mut review = Review::new(plant, &findings, period, &utc_offset);
    let mut capacity = CapacityTest::new(plant);
    each_slot(store, period, |slot| {
        review.add(slot, &[]);
        capacity.add(slot);
        Ok::<_, ReportError>(())
    })?;
    review.finish();
    let learned = store.learned()?;
    let mornings = store.mornings()?;
    let mut parts = Vec::new();
    for (i, inverter) in plant.inverters.iter().enumerate() {
        let first: Vec<_> = mornings
            .iter()
            .filter(|(of, morning)| *of == i && (from..to).contains(&morning.at))
            .map(|(_, morning)| *morning)
            .collect();
        let mut lines = supply_lines::of_inverter(plant, i, &first, &learned, timezone);
        lines.push(supply_lines::capacity(plant, i, &capacity));
        lines.push(array_lines::order(inverter, &findings));
        parts.push(Part {
            title: inverter.id.to_string(),
            lines,
        });
        for (k, input) in inverter.inputs.iter().enumerate() {
            parts.push(Part {
                title: format!("{} input {}", inverter.id, input.number),
                lines: array_lines::of_input(
                    plant,
                    (i, k),
                    &learned,
                    &findings,
                    &review.inputs[i][k],
                ),
            });
        }
    }
    parts.push(Part {
        title: "Planes".to_owned(),
        lines: array_lines::planes(plant, &learned),
    });
    parts.push(Part {
        title: "Limits of the design".to_owned(),
        lines: design::check(plant).iter().map(lines::of_design).collect(),
    });
    let all = || parts.iter().flat_map(|part| &part.lines);
    let count = |verdict| all().filter(|line| line.verdict == verdict).count();
    let open = findings
        .iter()
        .filter(|f| f.ended.is_none() && f.severity > Severity::Note);
    let page = Page {
        site: plant.site.name.clone(),
        days: whole,
        from: local(from),
        to: local(to),
        zone: timezone.to_string(),
        handed_over,
        counts: [Verdict::Pass, Verdict::Look, Verdict::Fail].map(|v| (v.word(), count(v))),
        open: open
            .map(|f| [f.title(), local(f.began), f.summary.clone()])
            .collect(),
        parts,
    };
    let html = page.render().map_err(CommissioningError::from)?;
    let path = folder.join(COMMISSIONING_NAME);
    write_whole(&path, html.as_bytes()).map_err(CommissioningError::from)?;
    Ok(path)
}

/// What began before a time, as it stood then: what came or ended later is of another page.
fn as_of(mut findings: Vec<Finding>, to: Time) -> Vec<Finding> {
    findings.retain(|finding| finding.began < to);
    for finding in &mut findings {
        finding.ended = finding.ended.filter(|ended| *ended <= to);
    }
    findings
}

/// Writes the page if seven or thirty days are over and it is not there for as many yet.
///
/// # Errors
/// Those of [`write`].
pub fn write_if_due(
    folder: &Path,
    about: About<'_>,
    store: &Store,
) -> Result<Option<PathBuf>, ReportError> {
    let Some(FirstDays { whole, .. }) = first_days(about, store)? else {
        return Ok(None);
    };
    let Some(due) = DUE_DAYS.iter().rev().find(|days| whole >= **days) else {
        return Ok(None);
    };
    let there = std::fs::read_to_string(folder.join(COMMISSIONING_NAME)).unwrap_or_default();
    let written = there.split("data-days=\"").nth(1);
    let days = written.and_then(|text| text.split('"').next()?.parse::<i64>().ok());
    if days.is_some_and(|days| days >= *due) {
        return Ok(None);
    }
    write(folder, about, store).map(Some)
}

/// The time that the page is of.
struct FirstDays {
    from: Time,
    to: Time,
    /// Days of the site's calendar that lie in it as a whole.
    whole: i64,
}

/// From the handover, or the first readings if they are later, over the first days and the part of a day
/// before them.
fn first_days(about: About<'_>, store: &Store) -> Result<Option<FirstDays>, ReportError> {
    let Some((first, last)) = store.span()? else {
        return Ok(None);
    };
    let handed_over = handover(about).map(|day| text::midnight(day, about.timezone));
    let from = handed_over.map_or(first, |at| at.max(first));
    Ok((from < last)
        .then(|| up_to(from, last, about.timezone))
        .flatten())
}

/// The day of the handover, which the plant has as its midnight in UTC.
fn handover(about: About<'_>) -> Option<NaiveDate> {
    text::day_at(about.plant.site.commissioned, Tz::UTC)
}

/// The first days of `[from, last)`; `None` outside the calendar.
fn up_to(from: Time, last: Time, timezone: Tz) -> Option<FirstDays> {
    let begun = text::day_at(from, timezone)?;
    let part = u64::from(text::midnight(begun, timezone) < from);
    let first_whole = begun.checked_add_days(Days::new(part))?;
    let after = first_whole.checked_add_days(Days::new(MOST_DAYS))?;
    let to = last.min(text::midnight(after, timezone));
    let whole = (text::day_at(to, timezone)? - first_whole)
        .num_days()
        .max(0);
    Some(FirstDays { from, to, whole })
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::reading::Span;
    use chrono_tz::Australia::Melbourne;

    const HOUR: Span = Span::from_h(1);
    /// 2026-09-10T14:00Z, midnight at Melbourne; on 4 October the clock is put forward.
    const MIDNIGHT: Time = Time::from_unix_ms(1_789_048_800_000);

    fn whole_days(from: Time, last: Time) -> (String, i64) {
        let days = up_to(from, last, Melbourne).expect("in the calendar");
        (text::local(days.to, Melbourne), days.whole)
    }

    #[test]
    fn thirty_days_of_the_calendar_are_the_most_whatever_the_clock_does() {
        assert_eq!(text::local(MIDNIGHT, Melbourne), "2026-09-11 00:00");
        let years_later = MIDNIGHT + HOUR * 20_000;
        let cases = [
            (MIDNIGHT, "2026-10-11 00:00"),
            (MIDNIGHT + HOUR * 13, "2026-10-12 00:00"),
        ];
        for (from, to) in cases {
            assert_eq!(whole_days(from, years_later), (to.to_owned(), 30));
        }
        // The day with an hour less is over an hour earlier.
        let evening = MIDNIGHT + HOUR * (30 * 24 - 1);
        assert_eq!(whole_days(MIDNIGHT, evening).1, 30);
        assert_eq!(whole_days(MIDNIGHT, evening - HOUR).1, 29);
    }

    #[test]
    fn a_day_that_has_begun_is_no_whole_one() {
        let noon = MIDNIGHT + HOUR * 12;
        assert_eq!(whole_days(noon, noon + HOUR * 3).1, 0);
        assert_eq!(whole_days(noon, noon + HOUR * 24).1, 0);
        assert_eq!(whole_days(noon, noon + HOUR * 36).1, 1);
        assert_eq!(whole_days(MIDNIGHT, noon).1, 0);
    }
}
