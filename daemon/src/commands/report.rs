//! `noonmark report SITE --from D --to D --out DIR`: the report of some days from the store.
//! Never in here: what a report holds.

use super::at_store::{exit_code, there};
use super::exit;
use super::meter::Meter;
use crate::report::{
    About, CommissioningError, Days, PeriodError, ReportError, commissioning, write_period,
};
use crate::store::{Layout, Progress, Store, StoreError};
use analysis::reading::Span;
use config::checked::SiteFile;
use std::io::{self, Write};
use std::path::Path;
use thiserror::Error;

/// Why there is no report. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum ReportCommandError {
    /// The store cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The days are wrong, or the files cannot be written.
    #[error(transparent)]
    Period(#[from] PeriodError),
    /// The terminal cannot be written to.
    #[error("write to the terminal: {0}")]
    Print(#[from] io::Error),
}

impl ReportCommandError {
    /// The exit code that says the same.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Store(error) | Self::Period(PeriodError::Report(ReportError::Store(error))) => {
                exit_code(error)
            }
            Self::Period(PeriodError::Reversed { .. }) => exit::USAGE,
            Self::Period(PeriodError::Empty { .. }) => exit::BAD_DATA,
            Self::Period(PeriodError::Report(ReportError::Commissioning(
                CommissioningError::Empty { .. },
            ))) => exit::BAD_DATA,
            Self::Period(PeriodError::Report(_)) => exit::CANNOT_CREATE,
            Self::Print(_) => exit::CANNOT_WRITE,
        }
    }
}

/// Writes the report of some days and says where it is.
///
/// # Errors
/// If the days are wrong, the store cannot be read or a file cannot be written.
pub fn report(
    site: &SiteFile,
    store: &Path,
    into: &Path,
    days: Days,
    out: &mut dyn Write,
) -> Result<(), ReportCommandError> {
    // Wrong days are told before a store is looked for.
    days.in_order()?;
    let path = there(store)?;
    let plant = &site.plant;
    let store = Store::open_to_read(&path, &Layout::of(plant))?;
    let about = About {
        plant,
        timezone: site.timezone,
    };
    let mut meter = Meter::new();
    let mut step = |done: Span, all: Span| {
        meter.show(Progress {
            doing: "reading",
            done: done.ms().unsigned_abs(),
            all: all.ms().unsigned_abs(),
        });
    };
    let files = write_period(into, about, &store, days, &mut step)?;
    drop(meter);
    for file in files {
        writeln!(out, "{}", file.display())?;
    }
    Ok(())
}

/// Writes the follow-up after the commissioning and says where it is.
///
/// # Errors
/// If the store has nothing of the first days or cannot be read, or the file cannot be written.
pub fn commissioning(
    site: &SiteFile,
    store: &Path,
    into: &Path,
    out: &mut dyn Write,
) -> Result<(), ReportCommandError> {
    let path = there(store)?;
    let plant = &site.plant;
    let store = Store::open_to_read(&path, &Layout::of(plant))?;
    let about = About {
        plant,
        timezone: site.timezone,
    };
    let file = commissioning::write(into, about, &store).map_err(PeriodError::from)?;
    Ok(writeln!(out, "{}", file.display())?)
}
