//! What people and other programs get to see: findings, ledger and summary picture in a folder.
//!
//! Everything is made from the store, live as after a replay.
//! Never in here: what is wrong with a plant, or sending anything.

mod ahead;
mod calibration_file;
pub mod chart_files;
pub mod commissioning;
mod figures_files;
mod findings_file;
mod ledger_file;
pub mod page;
mod period;
mod tally;
mod whole_file;
mod writer;

pub use ahead::each_slot;
pub use calibration_file::CalibrationFileError;
use chart_files::ChartFilesError;
pub use commissioning::CommissioningError;
pub use figures_files::FiguresFileError;
pub use findings_file::{FindingsFileError, line as finding_line};
pub use ledger_file::LedgerFileError;
pub use page::PageError;
pub use period::{Days, PeriodError, write_period};
pub use tally::Tally;
pub use whole_file::{WriteError, write_pieces, write_whole};
pub use writer::Writer;

use crate::store::{Store, StoreError};
use crate::text;
use analysis::chart::{Size, SummaryInput};
use analysis::diagnose::Finding;
use analysis::plant::{Plant, Site};
use analysis::reading::{Span, Time};
use chrono_tz::Tz;
use page::Gathered;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why a report is not in its folder.
#[derive(Debug, Error)]
pub enum ReportError {
    /// The store cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The findings.
    #[error(transparent)]
    Findings(#[from] FindingsFileError),
    /// The ledger.
    #[error(transparent)]
    Ledger(#[from] LedgerFileError),
    /// The figures of performance.
    #[error(transparent)]
    Figures(#[from] FiguresFileError),
    /// What was learned.
    #[error(transparent)]
    Calibration(#[from] CalibrationFileError),
    /// The picture.
    #[error(transparent)]
    Chart(#[from] ChartFilesError),
    /// The page.
    #[error(transparent)]
    Page(#[from] PageError),
    /// The page of the commissioning.
    #[error(transparent)]
    Commissioning(#[from] CommissioningError),
}

/// Whose report it is.
#[derive(Debug, Clone, Copy)]
pub struct About<'a> {
    /// The plant as it was analysed.
    pub plant: &'a Plant,
    /// Time zone of its readers.
    pub timezone: Tz,
}

/// Writes `findings.jsonl`, `ledger.csv`, `kpi.csv`, `capacity.csv`, `calibration.csv`, `summary.svg`,
/// `summary.png` and `report.html` of everything in the store; ledger, picture and page of the latest
/// `latest` of it, or of all. `tally` is kept from one report of a store to the next, so that each slot is
/// added up once.
/// Returns what was written; there is no picture while no slot has been closed.
///
/// # Errors
/// If the store cannot be read or a file cannot be written.
pub fn write(
    folder: &Path,
    about: About<'_>,
    store: &Store,
    latest: Option<Span>,
    tally: &Tally,
) -> Result<Vec<PathBuf>, ReportError> {
    let About { plant, timezone } = about;
    let (findings, findings_path) = write_findings(folder, &plant.site, store)?;
    let mut written = vec![findings_path];
    let Some((first, last)) = store.span()? else {
        return Ok(written);
    };
    // By whole hours, so that no line of the ledger is a part of one.
    let from = latest.map_or(first, |latest| {
        first.max((last - latest).slot_start(Span::from_h(1)))
    });
    let ledger_path = folder.join("ledger.csv");
    let utc_offset = |at: Time| text::utc_offset(at, timezone);
    let touching = touching(&findings, (from, last));
    let mut gathered = Gathered::new(about, &touching, (from, last), &utc_offset);
    ledger_file::write(
        &ledger_path,
        plant,
        store,
        &findings,
        (from, last),
        &mut |slot, ended| gathered.take(slot, ended),
    )?;
    written.push(ledger_path);
    tally.go_on(store)?;
    let kpi_path = folder.join("kpi.csv");
    figures_files::write_kpi(&kpi_path, plant, &tally.figures())?;
    written.push(kpi_path);
    let capacity_path = folder.join("capacity.csv");
    let capacity = tally.capacity(|test| figures_files::capacity_rows(plant, test));
    figures_files::write_capacity(&capacity_path, capacity)?;
    written.push(capacity_path);
    let calibration_path = folder.join("calibration.csv");
    calibration_file::write(&calibration_path, plant, &store.learned()?)?;
    written.push(calibration_path);
    let slots = store.slots(from, last)?;
    let input = SummaryInput {
        site_name: &plant.site.name,
        plant,
        slots: &slots,
        findings: &findings,
        utc_offset: &utc_offset,
    };
    written.extend(chart_files::write(&input, Size::default(), folder)?);
    drop(slots);
    let page_path = folder.join(page::PAGE_NAME);
    gathered.write(&page_path, store)?;
    written.push(page_path);
    Ok(written)
}

/// Writes `findings.jsonl` alone, of everything in the store; gives them and the file.
///
/// # Errors
/// If the store cannot be read or the file cannot be written.
pub fn write_findings(
    folder: &Path,
    site: &Site,
    store: &Store,
) -> Result<(Vec<Finding>, PathBuf), ReportError> {
    let findings = store.findings()?;
    let path = folder.join("findings.jsonl");
    findings_file::write(&path, &findings, site)?;
    Ok((findings, path))
}

/// The findings of which any part lies in a period.
fn touching(findings: &[Finding], (from, to): (Time, Time)) -> Vec<Finding> {
    let touches = |f: &&Finding| f.began < to && f.ended.is_none_or(|ended| ended >= from);
    findings.iter().filter(touches).cloned().collect()
}
