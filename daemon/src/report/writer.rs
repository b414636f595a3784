//! The daemon's report writer: a thread of its own, so that a picture never delays a poll.
//!
//! Asking while a report is being written asks for one more after it, not for many. At the end only
//! the findings are written: tables, pictures and pages of a large site take seconds, and what they lack is
//! drawn after the next start.
//! Never in here: when to ask.

use super::{About, ReportError, Tally, commissioning, write, write_findings};
use crate::store::{Layout, Store};
use crate::text::line;
use analysis::diagnose::Finding;
use analysis::plant::Plant;
use analysis::reading::Span;
use chrono_tz::Tz;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;
use tracing::warn;

/// What the daemon's picture and ledger show; its figures show everything.
const LATEST: Span = Span::from_h(72);

/// Writes reports when asked.
#[derive(Debug)]
pub struct Writer {
    ask: SyncSender<()>,
    /// Whether what was asked for and is not begun is left.
    ends: Arc<AtomicBool>,
    thread: JoinHandle<Result<(), ReportError>>,
    timezone: Tz,
}

impl Writer {
    /// Reports of the store in `store_file`, into `folder`, with the figures of `tally`.
    pub fn start(
        folder: PathBuf,
        store_file: PathBuf,
        (plant, timezone): (Arc<Plant>, Tz),
        tally: Arc<Tally>,
    ) -> Self {
        let (ask, asked) = sync_channel(1);
        let ends = Arc::new(AtomicBool::new(false));
        let ended = ends.clone();
        let thread = std::thread::spawn(move || {
            let open = || Store::open_to_read(&store_file, &Layout::of(&plant));
            let once = || {
                let store = open()?;
                let about = About {
                    plant: &plant,
                    timezone,
                };
                write(&folder, about, &store, Some(LATEST), &tally)?;
                commissioning::write_if_due(&folder, about, &store).map(drop)
            };
            while asked.recv().is_ok() && !ended.load(Ordering::Relaxed) {
                if let Err(error) = once() {
                    warn!(%error, "report not written; tried again with the next one");
                }
            }
            write_findings(&folder, &plant.site, &open()?).map(drop)
        });
        Self {
            ask,
            ends,
            thread,
            timezone,
        }
    }

    /// Asks for a report soon.
    pub fn ask(&self) {
        match self.ask.try_send(()) {
            // Full means that one is asked for already.
            Ok(()) | Err(TrySendError::Full(())) => {}
            Err(TrySendError::Disconnected(())) => panic!("the report thread does not panic"),
        }
    }

    /// A finding in one line.
    pub fn line(&self, finding: &Finding) -> String {
        line(finding, self.timezone)
    }

    /// Finishes the report that is being written, and writes the findings as they are now.
    ///
    /// # Errors
    /// If they cannot be written.
    pub fn finish(self) -> Result<(), ReportError> {
        self.ends.store(true, Ordering::Relaxed);
        drop(self.ask);
        self.thread
            .join()
            .expect("the report thread does not panic")
    }
}
