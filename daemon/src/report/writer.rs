//! The daemon's report writer: a thread of its own, so that a picture never delays a poll.
//!
//! Asking while a report is being written asks for one more after it, not for many.
//! Never in here: when to ask.

use super::{About, ReportError, Tally, commissioning, write};
use crate::store::{Layout, Store};
use crate::text::line;
use analysis::diagnose::Finding;
use analysis::plant::Plant;
use analysis::reading::Span;
use chrono_tz::Tz;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;
use tracing::warn;

/// What the daemon's picture and ledger show; its figures show everything.
const LATEST: Span = Span::from_h(72);

/// Writes reports when asked.
#[derive(Debug)]
pub struct Writer {
    ask: SyncSender<()>,
    thread: JoinHandle<Result<(), ReportError>>,
    timezone: Tz,
}

impl Writer {
    /// Reports of the store in `store_file`, into `folder`.
    pub fn start(folder: PathBuf, store_file: PathBuf, plant: Arc<Plant>, timezone: Tz) -> Self {
        let (ask, asked) = sync_channel(1);
        let thread = std::thread::spawn(move || {
            let mut tally = Tally::new(&plant);
            let mut once = || {
                let store = Store::open_to_read(&store_file, &Layout::of(&plant))?;
                let about = About {
                    plant: &plant,
                    timezone,
                };
                write(&folder, about, &store, Some(LATEST), &mut tally)?;
                commissioning::write_if_due(&folder, about, &store).map(drop)
            };
            while asked.recv().is_ok() {
                if let Err(error) = once() {
                    warn!(%error, "report not written; tried again with the next one");
                }
            }
            once()
        });
        Self {
            ask,
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

    /// Writes the last report.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn finish(self) -> Result<(), ReportError> {
        drop(self.ask);
        self.thread
            .join()
            .expect("the report thread does not panic")
    }
}
