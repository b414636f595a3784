//! At the desk: what is due is put into the outbox, and what became of it is noted.
//!
//! The desk is the only writer of the store, so what the senders report comes here through a queue.
//! Never in here: what is due to people (`policy`), or a connection.

use super::announcement;
use super::pack::message_id;
use super::policy::{Answers, LOOK_BACK, Situation, decide};
use crate::store::{About, NewDelivery, Outcome, Store, StoreError, Target, Try};
use analysis::detect::Severity;
use analysis::reading::{Span, Time};
use chrono_tz::Tz;
use config::checked::Alerts;
use std::sync::Arc;
use tokio::sync::{mpsc, watch};

/// How often it is looked for what is due. Mails gather for longer.
const LOOK_EVERY: Span = Span::from_s(30);
/// Tries that may wait to be noted; a full queue holds the senders back.
const TRIES_QUEUE: usize = 64;
/// What was new longer ago than this was so before somebody wanted to be told.
const FRESH: Span = Span::from_h(24);

/// Where what leaves is made and noted.
#[derive(Debug)]
pub struct Post {
    alerts: Arc<Alerts>,
    timezone: Tz,
    /// Programs, and the least urgent finding that each is told.
    machines: Vec<(Target, Severity)>,
    looked: Option<Time>,
    /// Whether what waited at the start for nobody was seen to.
    strangers_given_up: bool,
    /// When programs were told all that was new; none yet since the start.
    announced: Option<Time>,
    tries: mpsc::Receiver<Try>,
    /// A try that the store would not take yet.
    refused: Option<Try>,
    made: watch::Sender<()>,
}

/// A sender's ends of the two ways between it and the desk.
#[derive(Debug, Clone)]
pub struct ToPost {
    /// What became of a delivery.
    pub tries: mpsc::Sender<Try>,
    /// Told whenever one was made.
    pub made: watch::Receiver<()>,
}

impl Post {
    /// A post that makes what leaves for everybody who is told, and the ends for who sends it.
    pub fn new(alerts: Arc<Alerts>, timezone: Tz) -> (Self, ToPost) {
        let (sender, tries) = mpsc::channel(TRIES_QUEUE);
        let (made, told) = watch::channel(());
        let post = Self {
            machines: machines(&alerts),
            alerts,
            timezone,
            looked: None,
            strangers_given_up: false,
            announced: None,
            tries,
            refused: None,
            made,
        };
        let ends = ToPost {
            tries: sender,
            made: told,
        };
        (post, ends)
    }

    /// Notes what the senders have reported.
    ///
    /// # Errors
    /// If the store refuses; it is noted the next time then.
    pub fn note(&mut self, store: &mut Store) -> Result<(), StoreError> {
        while let Some(tried) = self.refused.take().or_else(|| self.tries.try_recv().ok()) {
            if let Err(error) = store.note_try(&tried) {
                self.refused = Some(tried);
                return Err(error);
            }
        }
        Ok(())
    }

    /// Makes what is due. Says how much.
    ///
    /// # Errors
    /// If the store cannot be read or refuses; it is made the next time.
    pub fn make(&mut self, store: &mut Store, now: Time) -> Result<usize, StoreError> {
        if self
            .looked
            .is_some_and(|at| at <= now && now - at < LOOK_EVERY)
        {
            return Ok(0);
        }
        self.looked = Some(now);
        if !self.strangers_given_up {
            self.give_up_strangers(store, now)?;
            self.strangers_given_up = true;
        }
        let made = self.mails(store, now)? + self.announcements(store, now)?;
        if made > 0 {
            // Senders that have ended need not know.
            let _ = self.made.send(());
        }
        Ok(made)
    }

    fn mails(&self, store: &mut Store, now: Time) -> Result<usize, StoreError> {
        let from = now - LOOK_BACK;
        let news = store.news_in_question(from)?;
        // Where programs alone are told, it is they from whom an answer is awaited.
        let told = match self.alerts.readers.is_empty() {
            true => store.announcements_in_question(from)?,
            false => store.mails_in_question(from)?,
        };
        let findings = store.findings_in_question(from)?;
        let maintenance = store.maintenance_after(from)?;
        let answers = Answers::of(&store.responses_in_question(from)?, maintenance, &news);
        let decision = decide(&Situation {
            now,
            timezone: self.timezone,
            alerts: &self.alerts,
            news: &news,
            findings: &findings.into_iter().map(|f| (f.id.clone(), f)).collect(),
            told: &told,
            answers: &answers,
            first_slot: store.span()?.map(|(first, _)| first),
        });
        for finding in &decision.unanswered {
            store.note_unanswered(finding, now)?;
        }
        for due in &decision.mails {
            store.post(&NewDelivery {
                target: Target::Mail(self.alerts.readers[due.reader].email.clone()),
                about: due.about,
                stable_id: self.message_id(now, due.reader, due.about),
                at: now,
                news: due.news.clone(),
            })?;
        }
        Ok(decision.mails.len())
    }

    /// Programs are told everything at once, each piece alone: they neither sleep nor get tired.
    /// Time in which nobody looked makes nothing old: what was found right before a power cut is told
    /// after it, however long it was.
    fn announcements(&mut self, store: &mut Store, now: Time) -> Result<usize, StoreError> {
        let before = match self.announced {
            Some(at) => at,
            None => store.span()?.map_or(now, |(_, last)| last),
        };
        let from = before.min(now) - FRESH;
        let mut made = 0;
        for (target, told_from) in &self.machines {
            let mut untold = store.untold(target, from)?;
            untold.retain(|(_, finding)| finding.severity >= *told_from);
            for (news, _) in untold {
                let id = announcement::id(&news);
                store.post(&NewDelivery {
                    target: target.clone(),
                    about: About::News,
                    stable_id: format!("{}:{}:{id}", target.way().name(), target.name()),
                    at: now,
                    news: vec![news.id],
                })?;
                made += 1;
            }
        }
        self.announced = Some(now);
        Ok(made)
    }

    /// What waits for somebody whom the site file does not name any more would wait for ever.
    fn give_up_strangers(&self, store: &mut Store, now: Time) -> Result<(), StoreError> {
        let is_known = |target: &Target| match target {
            // The one who writes mails knows the readers.
            Target::Mail(_) => self.alerts.mail.is_some(),
            other => self.machines.iter().any(|(target, _)| target == other),
        };
        for waiting in store.waiting()? {
            if !is_known(&waiting.made.target) {
                let why = format!(
                    "the site file does not name {} any more",
                    waiting.made.target
                );
                store.note_try(&Try {
                    delivery: waiting.id,
                    stable_id: waiting.made.stable_id,
                    at: now,
                    outcome: Outcome::GivenUp(why),
                })?;
            }
        }
        Ok(())
    }

    fn message_id(&self, now: Time, reader: usize, about: About) -> String {
        let period = about.period();
        let sort = period.as_deref().unwrap_or("news");
        let from = self.alerts.mail.as_ref().map_or("", |mail| &mail.from);
        message_id(now, reader, sort, from)
    }
}

fn machines(alerts: &Alerts) -> Vec<(Target, Severity)> {
    let webhooks = alerts.webhooks.iter();
    let webhooks = webhooks.map(|w| (Target::Webhook(w.id.clone()), w.told_from));
    let mqtt = alerts.mqtt.iter().map(|m| (Target::Mqtt, m.told_from));
    webhooks.chain(mqtt).collect()
}
