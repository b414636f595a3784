//! `noonmark replay SITE --out DIR`: recorded data through the same engine, as fast as it goes.
//! Never in here: what a finding is, or how a CSV is read.

use super::exit;
use super::meter::Meter;
use crate::analyse::{AnalyseError, Analyst};
use crate::report::{self, ReportError};
use crate::source::recording::{Recording, RecordingError, RecordingSettings, spacing};
use crate::store::{Layout, Progress, Store, StoreError};
use crate::text;
use analysis::diagnose::Finding;
use analysis::plant::Plant;
use analysis::reading::{DeviceId, Reading, Span, Time, Value};
use config::checked::SiteFile;
use std::collections::BTreeSet;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thiserror::Error;

/// Rows between two commits: one commit per row would cost more than the analysis.
const ROWS_PER_STEP: usize = 500;
/// Rows between two looks at the bar.
const ROWS_PER_PROGRESS: usize = 50;

/// Why a replay stopped. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum ReplayError {
    /// The site file describes no recording.
    #[error("replay {}: the site file has no [recording]", .site.display())]
    NoRecording {
        /// The site file.
        site: PathBuf,
    },
    /// The recording cannot be read.
    #[error(transparent)]
    Recording(#[from] RecordingError),
    /// The plant cannot be modelled.
    #[error(transparent)]
    Analyse(#[from] AnalyseError),
    /// The store in memory refused.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The reports cannot be written.
    #[error(transparent)]
    Report(#[from] ReportError),
    /// The terminal cannot be written to.
    #[error("write to the terminal: {0}")]
    Print(#[from] io::Error),
}

impl ReplayError {
    /// The exit code that says the same.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::NoRecording { .. } | Self::Analyse(AnalyseError::Engine(_)) => {
                exit::BAD_SITE_FILE
            }
            Self::Recording(_) => exit::BAD_DATA,
            Self::Store(_) | Self::Analyse(AnalyseError::Store(_)) => exit::INTERNAL,
            Self::Report(_) => exit::CANNOT_CREATE,
            Self::Print(_) => exit::CANNOT_WRITE,
        }
    }
}

/// Replays the recording of a site file; prints findings as they come, what was skipped, and where
/// the reports are.
///
/// # Errors
/// If the recording, the plant or the output folder cannot be used.
pub fn replay(
    path: &Path,
    site: &SiteFile,
    into: &Path,
    out: &mut dyn Write,
) -> Result<(), ReplayError> {
    let Some(recording) = &site.recording else {
        return Err(ReplayError::NoRecording {
            site: path.to_owned(),
        });
    };
    let mut settings = RecordingSettings::of(recording, &site.plant);
    if recording.interval.is_none() {
        settings.interval_span = spacing(&settings)?;
    }
    let plant = Arc::new(site.replay_plant(settings.interval_span));
    let mut rows = Recording::open(&settings)?;
    let store = Store::in_memory(&Layout::of(&plant))?;
    let mut analyst = Analyst::open(plant.clone(), store, false)?;
    let mut latest: Option<Time> = None;
    let mut unsaved = 0;
    let mut meter = Meter::new();
    // Without its size the bar has no end.
    let all = std::fs::metadata(&settings.file).map_or(0, |file| file.len());
    while let Some(row) = rows.next() {
        let row = row?;
        let now = latest.map_or(row.at, |latest| latest.max(row.at));
        latest = Some(now);
        // Rows may share a stamp: the time of the latest one is only over when a later one comes.
        let readings = answered(&row.readings, &plant);
        let found = analyst.take(&readings, now - Span::from_ms(1));
        if !found.is_empty() {
            meter.aside(|| say(&found, site, out))?;
        }
        unsaved += 1;
        if unsaved % ROWS_PER_PROGRESS == 0 {
            meter.show(Progress {
                doing: "replaying",
                done: rows.bytes_read(),
                all,
            });
        }
        if unsaved == ROWS_PER_STEP {
            analyst.save()?;
            unsaved = 0;
        }
    }
    drop(meter);
    if let Some(latest) = latest {
        // The slot that holds the last row ends here.
        let found = analyst.finish(latest + plant.timing.slot);
        say(&found, site, out)?;
    }
    analyst.save()?;
    for finding in analyst.standing() {
        writeln!(
            out,
            "{}",
            text::standing_line(finding, &plant.site, site.timezone)
        )?;
    }
    writeln!(out, "{}", rows.report())?;
    let refused = analyst.refused();
    if refused != Default::default() {
        writeln!(
            out,
            "not analysed: {} repeated, {} conflicting, {} too late",
            refused.repeated, refused.conflicting, refused.too_late
        )?;
    }
    let tally = report::Tally::new(&plant);
    let about = report::About {
        plant: &plant,
        timezone: site.timezone,
    };
    for file in report::write(into, about, analyst.store(), None, &tally)? {
        writeln!(out, "{}", file.display())?;
    }
    Ok(())
}

/// The readings of devices that answered: in a joined table, a device of which every cell of a row is
/// empty was silent, as it would have been live.
fn answered(readings: &[Reading], plant: &Plant) -> Vec<Reading> {
    let device = |reading: &Reading| &plant.channels.channel(reading.channel).device;
    let spoke: BTreeSet<&DeviceId> = readings
        .iter()
        .filter(|reading| reading.value != Value::Missing)
        .map(device)
        .collect();
    let by_one_that_spoke = |reading: &&Reading| spoke.contains(device(reading));
    readings.iter().filter(by_one_that_spoke).copied().collect()
}

fn say(findings: &[Finding], site: &SiteFile, out: &mut dyn Write) -> io::Result<()> {
    for finding in findings {
        writeln!(out, "{}", text::line(finding, site.timezone))?;
    }
    Ok(())
}
