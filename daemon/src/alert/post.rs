//! At the desk: mails are made when they are due, and what became of them is noted.
//!
//! The desk is the only writer of the store, so what the sender reports comes here through a queue.
//! Never in here: what is due (`policy`), or a connection.

use super::pack::message_id;
use super::policy::{Answers, LOOK_BACK, Situation, decide};
use crate::store::{About, NewMail, Store, StoreError, Try};
use analysis::reading::{Span, Time};
use chrono_tz::Tz;
use config::checked::{Alerts, MailServer};
use std::sync::Arc;
use tokio::sync::{Notify, mpsc};

/// How often it is looked for what is due. Mails gather for longer.
const LOOK_EVERY: Span = Span::from_s(30);
/// Tries that may wait to be noted; a full queue holds the sender back.
const TRIES_QUEUE: usize = 64;

/// Where mails are made and noted.
#[derive(Debug)]
pub struct Post {
    alerts: Arc<Alerts>,
    timezone: Tz,
    /// Address of the sender.
    from: String,
    looked: Option<Time>,
    tries: mpsc::Receiver<Try>,
    made: Arc<Notify>,
}

/// The sender's ends of the two ways between it and the desk.
#[derive(Debug)]
pub struct ToPost {
    /// What became of a mail.
    pub tries: mpsc::Sender<Try>,
    /// Told whenever a mail was made.
    pub made: Arc<Notify>,
}

impl Post {
    /// A post that makes mails for the readers, and the ends for who sends them.
    pub fn new(alerts: Arc<Alerts>, server: &MailServer, timezone: Tz) -> (Self, ToPost) {
        let (sender, tries) = mpsc::channel(TRIES_QUEUE);
        let made = Arc::new(Notify::new());
        let post = Self {
            alerts,
            timezone,
            from: server.from.clone(),
            looked: None,
            tries,
            made: made.clone(),
        };
        let ends = ToPost {
            tries: sender,
            made,
        };
        (post, ends)
    }

    /// Notes what the sender has reported.
    ///
    /// # Errors
    /// If the store refuses; what was reported is lost then, and the mail goes out again.
    pub fn note(&mut self, store: &mut Store) -> Result<(), StoreError> {
        while let Ok(tried) = self.tries.try_recv() {
            store.note_try(&tried)?;
        }
        Ok(())
    }

    /// Makes the mails that are due. Says how many.
    ///
    /// # Errors
    /// If the store cannot be read or refuses; they are made the next time.
    pub fn make(&mut self, store: &mut Store, now: Time) -> Result<usize, StoreError> {
        let looked = self.looked.replace(now);
        if looked.is_some_and(|at| at <= now && now - at < LOOK_EVERY) {
            return Ok(0);
        }
        let from = now - LOOK_BACK;
        let (news, mails) = (store.news(from)?, store.mails_since(from)?);
        let findings = store.findings_in_news(from)?;
        let maintenance = store.maintenance_after(from)?;
        let answers = Answers::of(&store.responses()?, maintenance);
        let decision = decide(&Situation {
            now,
            timezone: self.timezone,
            alerts: &self.alerts,
            news: &news,
            findings: &findings.into_iter().map(|f| (f.id.clone(), f)).collect(),
            mails: &mails,
            answers: &answers,
            first_slot: store.span()?.map(|(first, _)| first),
        });
        for finding in &decision.unanswered {
            store.note_unanswered(finding, now)?;
        }
        for due in &decision.mails {
            store.make_mail(&NewMail {
                reader: self.alerts.readers[due.reader].email.clone(),
                message_id: self.message_id(now, due.reader, due.about),
                about: due.about,
                at: now,
                news: due.news.clone(),
            })?;
        }
        if !decision.mails.is_empty() {
            self.made.notify_one();
        }
        Ok(decision.mails.len())
    }

    fn message_id(&self, now: Time, reader: usize, about: About) -> String {
        let period = about.period();
        let sort = period.as_deref().unwrap_or("news");
        message_id(now, reader, sort, &self.from)
    }
}
