//! The report of some days at the site: `findings.jsonl`, `ledger.csv`, `kpi.csv`, `summary.svg`,
//! `summary.png` and `report.html`.
//! Never in here: what they hold.

use super::page::{Gathered, PAGE_NAME};
use super::{About, ReportError, chart_files, figures_files, findings_file, ledger_file, touching};
use crate::store::Store;
use crate::text;
use analysis::chart::{Digest, Size, SummaryInput, shows_days};
use analysis::reading::{Span, Time};
use analysis::review::local_day;
use chrono::{Days as CountOfDays, NaiveDate};
use chrono_tz::Tz;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Days at a site, both of them part of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Days {
    /// First day.
    pub from: NaiveDate,
    /// Last day.
    pub to: NaiveDate,
}

/// Why there is no report of a period. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum PeriodError {
    /// The last day lies before the first.
    #[error("report from {from} to {to}: the last day is before the first")]
    Reversed {
        /// First day.
        from: NaiveDate,
        /// Last day.
        to: NaiveDate,
    },
    /// The store has nothing of it.
    #[error("report from {from} to {to}: the store has nothing of these days; {held}")]
    Empty {
        /// First day.
        from: NaiveDate,
        /// Last day.
        to: NaiveDate,
        /// What it has instead.
        held: String,
    },
    /// The report could not be written.
    #[error(transparent)]
    Report(#[from] ReportError),
}

impl Days {
    /// Whether the last day does not lie before the first.
    ///
    /// # Errors
    /// If it does.
    pub fn in_order(self) -> Result<(), PeriodError> {
        let Days { from, to } = self;
        if to < from {
            return Err(PeriodError::Reversed { from, to });
        }
        Ok(())
    }

    /// From the beginning of the first to the end of the last, as far as a store reaches.
    fn period(self, timezone: Tz, held: Option<(Time, Time)>) -> Result<(Time, Time), PeriodError> {
        self.in_order()?;
        let Days { from, to } = self;
        let empty = |held| PeriodError::Empty { from, to, held };
        let Some((first, last)) = held else {
            return Err(empty("it has no slots yet".to_owned()));
        };
        let after = to.checked_add_days(CountOfDays::new(1)).unwrap_or(to);
        let begin = text::midnight(from, timezone).max(first);
        let end = text::midnight(after, timezone).min(last);
        if begin < end {
            return Ok((begin, end));
        }
        let (first, last) = (text::local(first, timezone), text::local(last, timezone));
        Err(empty(format!("it has {first} to {last}")))
    }
}

/// Writes the report of some days; returns the files. `step` is told how much of the period has been
/// read.
///
/// # Errors
/// If the days are wrong, the store cannot be read or a file cannot be written.
pub fn write_period(
    folder: &Path,
    about: About<'_>,
    store: &Store,
    days: Days,
    step: &mut dyn FnMut(Span, Span),
) -> Result<Vec<PathBuf>, PeriodError> {
    let held = store.span().map_err(ReportError::from)?;
    let period = days.period(about.timezone, held)?;
    Ok(write(folder, about, store, period, step)?)
}

fn write(
    folder: &Path,
    about: About<'_>,
    store: &Store,
    (from, to): (Time, Time),
    step: &mut dyn FnMut(Span, Span),
) -> Result<Vec<PathBuf>, ReportError> {
    let About { plant, timezone } = about;
    let findings = store.findings()?;
    let touching = touching(&findings, (from, to));
    let path = |name: &str| folder.join(name);
    let findings_path = path("findings.jsonl");
    findings_file::write(&findings_path, &touching, &plant.site)?;
    let utc_offset = |at: Time| text::utc_offset(at, timezone);
    let mut gathered = Gathered::new(about, &touching, (from, to), &utc_offset);
    // Where the picture shows a day as one point, the slots of a year need not be in memory.
    let by_day = shows_days((from, to), Size::default(), &utc_offset);
    let mut digest = Digest::default();
    let ledger_path = path("ledger.csv");
    ledger_file::write(
        &ledger_path,
        plant,
        store,
        &touching,
        (from, to),
        &mut |slot, ended| {
            gathered.take(slot, ended);
            if let Some(slot) = slot.filter(|_| by_day) {
                digest.add(slot, local_day(slot.start, &utc_offset));
            }
            if let Some(slot) = slot.filter(|_| !ended.is_empty()) {
                step(slot.start - from, to - from);
            }
        },
    )?;
    let kpi_path = path("kpi.csv");
    figures_files::write_kpi(&kpi_path, plant, &gathered.performance().figures())?;
    let slots = if by_day {
        digest.finish()
    } else {
        store.slots(from, to)?
    };
    let input = SummaryInput {
        site_name: &plant.site.name,
        plant,
        slots: &slots,
        findings: &touching,
        utc_offset: &utc_offset,
    };
    let [svg_path, png_path] = chart_files::write(&input, Size::default(), folder)?;
    drop(slots);
    let page_path = path(PAGE_NAME);
    gathered.write(&page_path, store)?;
    Ok(vec![
        page_path,
        findings_path,
        ledger_path,
        kpi_path,
        svg_path,
        png_path,
    ])
}
