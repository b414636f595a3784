//! `noonmark run SITE`: the daemon of one site, until it is told to stop.
//! Never in here: how it works (`crate::run`).

use super::exit;
use crate::analyse::{AnalyseError, Analyst};
use crate::clock::Clock;
use crate::desk::{Desk, DeskError};
use crate::report;
use crate::run;
use crate::source::modbus::{Poller, Settings};
use crate::store::{Event, Layout, Opened, Store, StoreError};
use analysis::reading::{Span, Time};
use config::checked::{Link, NotReadable, SiteFile, Source};
use std::future::Future;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use thiserror::Error;
use tracing::{error, info, warn};

/// Name of the store in the daemon's folder.
pub const STORE_NAME: &str = "noonmark.sqlite";

/// Why the daemon does not run. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum RunError {
    /// Some device of the site cannot be read by this version.
    #[error("run this site: {}", list(.reasons))]
    NotReadable {
        /// Each of them.
        reasons: Vec<NotReadable>,
    },
    /// Its folder cannot be made.
    #[error("make the folder {}: {source}", .folder.display())]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The store cannot be opened.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The plant cannot be modelled.
    #[error(transparent)]
    Analyse(#[from] AnalyseError),
    /// Work ended before it was told to, or its last step or report cannot be written.
    #[error(transparent)]
    Work(#[from] DeskError),
}

fn list(reasons: &[NotReadable]) -> String {
    reasons
        .iter()
        .map(ToString::to_string)
        .collect::<Vec<_>>()
        .join("; ")
}

impl RunError {
    /// The exit code that says the same.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::NotReadable { .. } | Self::Analyse(AnalyseError::Engine(_)) => {
                exit::BAD_SITE_FILE
            }
            Self::Folder { .. } => exit::CANNOT_CREATE,
            Self::Store(_) | Self::Analyse(AnalyseError::Store(_)) | Self::Work(_) => {
                exit::CANNOT_WRITE
            }
        }
    }
}

/// Runs until `shutdown` is ready.
///
/// # Errors
/// If the site cannot be read live, or its folder cannot be used.
pub async fn run(
    site: &SiteFile,
    folder: &Path,
    clock: Clock,
    shutdown: impl Future<Output = ()>,
) -> Result<(), RunError> {
    let reasons = site.not_readable();
    if !reasons.is_empty() {
        return Err(RunError::NotReadable { reasons });
    }
    std::fs::create_dir_all(folder).map_err(|source| RunError::Folder {
        folder: folder.to_owned(),
        source,
    })?;
    let plant = Arc::new(site.plant.clone());
    let store_file = folder.join(STORE_NAME);
    let opened = Store::open(&store_file, &Layout::of(&plant))?;
    if let Some(aside) = &opened.set_aside {
        error!(kept_as = %aside.display(), "the store was damaged and set aside; a new one starts");
    }
    let store = noted(opened, clock.now());
    let mut analyst = Analyst::open(plant.clone(), store, true)?;
    analyst.resumed(clock.now());
    let table = Arc::new(plant.channels.clone());
    let pollers = site
        .sources
        .iter()
        .filter_map(|source| {
            Some(Poller::new(
                settings(source)?,
                source.device.clone(),
                table.clone(),
            ))
        })
        .collect::<Vec<_>>();
    info!(site = %plant.site.name, devices = pollers.len(), folder = %folder.display(), "running");
    let into = folder.to_owned();
    let reports = report::Writer::start(into, store_file.clone(), plant, site.timezone);
    let desk = Desk::new(analyst, store_file, reports, site.keep);
    Ok(run::run(pollers, desk, clock, shutdown).await?)
}

/// The store, with what opening did to it written down. One that cannot be written to just now is
/// worked with all the same: readings wait for it in memory.
fn noted(opened: Opened, now: Time) -> Store {
    let Opened {
        mut store,
        set_aside,
        migrated_from,
    } = opened;
    let aside = set_aside.map(|aside| (Event::SetAside, aside.display().to_string()));
    let migrated = migrated_from.map(|from| {
        let subject = format!("layout {from} to {}", Store::LAYOUT_VERSION);
        info!(%subject, "the store was brought forward");
        (Event::Migrated, subject)
    });
    let by = (Event::Opened, env!("CARGO_PKG_VERSION").to_owned());
    for (event, subject) in aside.into_iter().chain(migrated).chain([by]) {
        if let Err(error) = store.note(now, event, &subject) {
            warn!(%error, "what was done to the store is not written down");
        }
    }
    store
}

/// How a device is polled; `None` for kinds of source that `not_readable` has refused.
pub fn settings(source: &Source) -> Option<Settings> {
    let Link::ModbusTcp { address, unit } = &source.link else {
        return None;
    };
    let duration = |span: Span| Duration::from_millis(span.ms().unsigned_abs());
    Some(Settings {
        address: address.to_string(),
        unit: *unit,
        timeout: duration(source.timeout),
        every: duration(source.every),
    })
}
