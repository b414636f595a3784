//! The mails that the demo's readers would get, as files: each as it leaves, and as a page.
//! Never in here: a connection; nothing is sent.

use super::DemoError;
use crate::alert::{Composed, Composer, Post, ToPost};
use crate::report::{WriteError, write_whole};
use crate::store::{About, Delivery, NewDelivery, Outcome, Store, Target, Try};
use crate::text::local;
use analysis::reading::{Span, Time};
use chrono::NaiveDate;
use config::checked::{Role, SiteFile};
use std::path::Path;

/// How often it is looked for mails that are due.
const LOOK_EVERY: Span = Span::from_min(10);

/// The month of the demo, by its first day.
const MONTH: NaiveDate = NaiveDate::from_ymd_opt(2026, 11, 1).expect("a day of the calendar");

pub(super) struct Mails {
    composer: Composer,
    post: Post,
    composed: Vec<(Delivery, Composed)>,
    /// Nobody sends, but the post wants somebody who could.
    _nobody: ToPost,
}

impl Mails {
    pub(super) fn new(site: &SiteFile) -> Self {
        let composer = Composer::of(site).expect("the demo's site file has readers");
        let (post, nobody) = Post::new(composer.alerts.clone(), site.timezone);
        Self {
            composer,
            post,
            composed: Vec::new(),
            _nobody: nobody,
        }
    }

    /// Makes the mails that are due, and writes them as they would leave.
    pub(super) fn make(&mut self, store: &mut Store, now: Time) -> Result<(), DemoError> {
        if now.slot_start(LOOK_EVERY) == now && self.post.make(store, now)? > 0 {
            self.compose(store, now)?;
        }
        Ok(())
    }

    /// Makes the summary that the owner would get after the month.
    pub(super) fn sum_up(&mut self, store: &mut Store, now: Time) -> Result<(), DemoError> {
        let mut readers = self.composer.alerts.readers.iter();
        let owner = readers.find(|reader| reader.role == Role::Owner);
        store.post(&NewDelivery {
            target: Target::Mail(owner.expect("the demo has an owner").email.clone()),
            about: About::Month(MONTH),
            stable_id: format!("<{MONTH}@example.org>"),
            at: now,
            news: Vec::new(),
        })?;
        self.compose(store, now)
    }

    fn compose(&mut self, store: &mut Store, now: Time) -> Result<(), DemoError> {
        for mail in store.waiting()? {
            let composed = self.composer.compose(store, &mail, now)?;
            store.note_try(&Try {
                delivery: mail.id,
                stable_id: mail.made.stable_id.clone(),
                at: now,
                outcome: Outcome::Sent,
            })?;
            self.composed.push((mail, composed));
        }
        Ok(())
    }

    /// Puts all of them into a folder; a line for each.
    pub(super) fn write(&self, into: &Path) -> Result<Vec<String>, WriteError> {
        let mut lines = Vec::new();
        for (n, (mail, composed)) in (1..).zip(&self.composed) {
            let to = mail
                .made
                .target
                .name()
                .split('@')
                .next()
                .unwrap_or_default();
            let page = into.join(format!("mail-{n:02}-{to}.html"));
            let (letter, picture) = (&composed.letter, composed.picture.as_deref());
            write_whole(&page, letter.page(picture).as_bytes())?;
            write_whole(&page.with_extension("eml"), &composed.message.formatted())?;
            let at = local(mail.made.at, self.composer.timezone);
            let (subject, page) = (&letter.subject, page.display());
            lines.push(format!("{at}  mail to {to}: {subject}\n  {page}"));
        }
        Ok(lines)
    }
}
