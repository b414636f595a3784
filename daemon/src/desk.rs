//! The desk where what arrives is analysed, stored, said and reported, in this order.
//!
//! Nothing is said before it is stored. A store that refuses (full, read-only) is tried again and
//! everything waits in memory; one that turns out damaged is set aside and a new one goes on with
//! what stands. Never in here: sockets, queues, asking what time it is.

use crate::alert::Post;
use crate::analyse::{Analyst, Refused};
use crate::report::{self, ReportError};
use crate::store::{Event, Keep, Said, StoreError, Thinned, date};
use crate::written::Written;
use analysis::diagnose::Finding;
use analysis::plant::GridSettings;
use analysis::reading::{DeviceId, Reading, Span, Time};
use std::path::PathBuf;
use std::sync::Arc;
use thiserror::Error;
use tokio::sync::{mpsc, oneshot};
use tracing::{error, info, warn};

/// Longest wait of readings for the store, and from one try to the next while it refuses. Each
/// commit is flushed to the disk, and small cards bear only so many of them (common practice: a few
/// a minute). A finding does not wait.
const STORE_EVERY: Span = Span::from_s(10);
/// How often the summary is redrawn, by the site's clock.
const REPORT_EVERY: Span = Span::from_min(15);

/// How often it is looked for something to thin while there was nothing the last time. While there is
/// something, each second brings a step of it.
const THIN_EVERY: Span = Span::from_h(1);

/// Why work ends before it is told to. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum DeskError {
    /// What waits cannot be stored.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The findings cannot be written at the end.
    #[error(transparent)]
    Report(#[from] ReportError),
}

/// What a person said on the page, on its way to the store; whoever asked waits for the answer.
#[derive(Debug)]
pub struct Word {
    /// What was said.
    pub said: Said,
    /// Whether it is stored now.
    pub stored: oneshot::Sender<bool>,
}

/// Asks a desk to store what waits before the time for it has come.
#[derive(Debug)]
pub struct Ask(mpsc::Sender<oneshot::Sender<bool>>);

/// Where a desk is asked so.
#[derive(Debug)]
pub struct Asked(mpsc::Receiver<oneshot::Sender<bool>>);

/// The two ends.
pub fn ask() -> (Ask, Asked) {
    let (ask, asked) = mpsc::channel(1);
    (Ask(ask), Asked(asked))
}

impl Ask {
    /// Whether all that had arrived is stored now; not where the store refuses, or nobody works any more.
    pub async fn stored(&self) -> bool {
        let (stored, answer) = oneshot::channel();
        self.0.send(stored).await.is_ok() && answer.await.unwrap_or(false)
    }
}

/// One site's desk.
#[derive(Debug)]
pub struct Desk {
    analyst: Analyst,
    /// Looked at with every step, as what people say.
    asked: Option<Asked>,
    /// What people say; looked at with every step, so at least once a second.
    words: Option<mpsc::Receiver<Word>>,
    /// For whoever keeps what was made of slots.
    written: Arc<Written>,
    store_file: PathBuf,
    reports: report::Writer,
    /// Findings that began or ended and are not stored yet.
    unsaid: Vec<Finding>,
    refused: Refused,
    store_refuses: bool,
    tried_to_store: Option<Time>,
    reported: Option<Time>,
    keep: Keep,
    /// Nobody is told anything where there is none.
    post: Option<Post>,
    /// When there was nothing to thin.
    all_thinned: Option<Time>,
    /// The day whose thinning was said last.
    thinned_day: Option<i64>,
}

impl Desk {
    /// A desk over the store in `store_file`, which `analyst` has open and keeps as `keep` says.
    pub fn new(
        analyst: Analyst,
        store_file: PathBuf,
        reports: report::Writer,
        keep: Keep,
        post: Option<Post>,
    ) -> Self {
        Self {
            refused: analyst.refused(),
            analyst,
            asked: None,
            words: None,
            written: Arc::default(),
            store_file,
            reports,
            unsaid: Vec::new(),
            store_refuses: false,
            tried_to_store: None,
            reported: None,
            keep,
            post,
            all_thinned: None,
            thinned_day: None,
        }
    }

    /// The same desk, which also writes down what people say, and says what it has written.
    pub fn hearing(self, words: mpsc::Receiver<Word>, written: Arc<Written>) -> Self {
        Self {
            words: Some(words),
            written,
            ..self
        }
    }

    /// The same desk, which can be asked to store what waits.
    pub fn asked(self, asked: Asked) -> Self {
        Self {
            asked: Some(asked),
            ..self
        }
    }

    /// Goes on after a time in which nobody looked, or after the clock was set.
    pub fn resumed(&mut self, at: Time) {
        self.unsaid.extend(self.analyst.resumed(at));
    }

    /// Takes what an inverter says of how it is set; it is stored with the engine's state.
    pub fn settings(&mut self, device: &DeviceId, at: Time, settings: &GridSettings) {
        self.analyst.settings(device, at, settings);
    }

    /// Takes readings and the watermark.
    ///
    /// # Errors
    /// If the store is damaged and no new one can be started.
    pub fn take(&mut self, readings: &[Reading], watermark: Time) -> Result<(), DeskError> {
        self.hear();
        let asked = self
            .asked
            .as_mut()
            .and_then(|asked| asked.0.try_recv().ok());
        let changed = self.analyst.take(readings, watermark);
        let is_due = asked.is_some() || is_over(self.tried_to_store, STORE_EVERY, watermark);
        if changed.is_empty() && !is_due {
            self.tell(watermark)?;
            return self.thin(watermark);
        }
        self.unsaid.extend(changed);
        self.tried_to_store = Some(watermark);
        let refusal = self.save(watermark)?;
        // Whoever asked may have gone.
        asked.map(|asked| asked.send(refusal.is_none()));
        match refusal {
            None => self.say_and_report(watermark),
            Some(refusal) => self.note_refusal(&refusal),
        }
        // Also where steps take so long that each of them has to be stored.
        self.tell(watermark)
    }

    /// Makes what is due to leave, of what is stored. A store that refuses has said so.
    fn tell(&mut self, now: Time) -> Result<(), DeskError> {
        let Some(post) = self.post.as_mut().filter(|_| !self.store_refuses) else {
            return Ok(());
        };
        let store = self.analyst.store_mut();
        let made = post.note(store).and_then(|()| post.make(store, now));
        match made {
            Ok(_) => Ok(()),
            Err(reason @ StoreError::Corrupt { .. }) => self.start_new_store(&reason, now),
            Err(error) => {
                warn!(%error, "nobody is told yet; tried again");
                Ok(())
            }
        }
    }

    /// Writes down what people have said since the last step. A store that turns out damaged here is
    /// dealt with at the next commit.
    fn hear(&mut self) {
        while let Some(word) = self.words.as_mut().and_then(|words| words.try_recv().ok()) {
            // Whoever gave up waiting was told to say it again, and would stand there twice.
            if word.stored.is_closed() {
                continue;
            }
            let result = self.analyst.hear(&word.said);
            if let Err(error) = &result {
                warn!(%error, "what was said on the page is not stored");
            }
            // Whoever asked may have gone.
            let _ = word.stored.send(result.is_ok());
        }
    }

    /// A step of thinning between two commits, if something is due and the store takes it. A store
    /// that refuses has said so at the last commit, or says so at the next.
    fn thin(&mut self, now: Time) -> Result<(), DeskError> {
        if self.store_refuses || !is_over(self.all_thinned, THIN_EVERY, now) {
            return Ok(());
        }
        match self.analyst.thin(now, self.keep) {
            Ok(done) if done.is_nothing() => self.all_thinned = Some(now),
            Ok(done) => self.note_thinned(&done),
            Err(reason @ StoreError::Corrupt { .. }) => self.start_new_store(&reason, now)?,
            Err(error) => {
                warn!(%error, "old readings not thinned; tried again in an hour");
                self.all_thinned = Some(now);
            }
        }
        Ok(())
    }

    /// Once for each day.
    fn note_thinned(&mut self, done: &Thinned) {
        if done.day.is_some() && done.day != std::mem::replace(&mut self.thinned_day, done.day) {
            let day = done.day.map_or_else(String::new, date);
            info!(%day, "thinning");
        }
    }

    /// Stores what waits and writes the findings.
    ///
    /// # Errors
    /// If one of them cannot be done; the other is done all the same.
    pub fn close(mut self) -> Result<(), DeskError> {
        let saved = self.save(self.tried_to_store.unwrap_or(Time::from_unix_ms(0)));
        if let Ok(None) = saved {
            self.say();
            if let Some(post) = &mut self.post {
                // What cannot be noted goes out again.
                let _ = post.note(self.analyst.store_mut());
            }
        }
        let reported = self.reports.finish();
        if let Some(refusal) = saved? {
            return Err(refusal.into());
        }
        Ok(reported?)
    }

    /// Why the store does not take it now, if it does not. An error means that there is no store to
    /// go on with.
    fn save(&mut self, now: Time) -> Result<Option<StoreError>, DeskError> {
        let mut from = self.analyst.first_waiting();
        let mut saved = self.analyst.save();
        if let Err(reason @ StoreError::Corrupt { .. }) = saved {
            self.start_new_store(&reason, now)?;
            // Of all that was in it, nothing is any more.
            from = Some(Time::from_unix_ms(i64::MIN));
            saved = self.analyst.save();
        }
        match (saved, from) {
            // A new file that is damaged at once means that the disk is.
            (Err(reason @ StoreError::Corrupt { .. }), _) => return Err(reason.into()),
            (Err(reason), _) => return Ok(Some(reason)),
            (Ok(()), Some(from)) => self.written.tell(from),
            (Ok(()), None) => {}
        }
        Ok(None)
    }

    fn start_new_store(&mut self, reason: &StoreError, now: Time) -> Result<(), DeskError> {
        let aside = self.analyst.start_new_store(&self.store_file)?;
        let kept_as = aside.display();
        error!(%reason, %kept_as, "the store was damaged and set aside; a new one starts");
        // What cannot be noted now is in the name of the file.
        let _ = self
            .analyst
            .note(now, Event::SetAside, &kept_as.to_string());
        Ok(())
    }

    /// Said once, not at every try.
    fn note_refusal(&mut self, error: &StoreError) {
        if !std::mem::replace(&mut self.store_refuses, true) {
            error!(%error, "not stored yet; kept in memory and tried again");
        }
    }

    fn say_and_report(&mut self, now: Time) {
        if std::mem::take(&mut self.store_refuses) {
            info!("stored again, with what had waited");
        }
        let is_due = is_over(self.reported, REPORT_EVERY, now);
        if !is_due && self.unsaid.is_empty() {
            return;
        }
        self.say();
        self.note_refused();
        self.reported = Some(now);
        self.reports.ask();
    }

    fn say(&mut self) {
        for finding in self.unsaid.drain(..) {
            info!("{}", self.reports.line(&finding));
        }
    }

    fn note_refused(&mut self) {
        let refused = self.analyst.refused();
        if refused != std::mem::replace(&mut self.refused, refused) {
            warn!(?refused, "readings that take no part in the analysis");
        }
    }
}

/// Whether something is due again; also if the clock was set back behind the last time.
fn is_over(last: Option<Time>, every: Span, now: Time) -> bool {
    last.is_none_or(|last| now < last || now - last >= every)
}

#[cfg(test)]
#[path = "desk_tests.rs"]
mod tests;
