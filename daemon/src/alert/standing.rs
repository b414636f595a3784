//! What a broker is to know of all findings: their lines while they stand and for a week after; then
//! nothing.
//! Never in here: a connection.

use super::announcement::AnnouncementError;
use super::policy::LOOK_BACK;
use super::sender::AtStore;
use crate::mqtt::{Message, Prefix};
use crate::report::finding_line;
use analysis::detect::Severity;
use analysis::diagnose::{Finding, FindingId};
use analysis::reading::{Span, Time};
use config::checked::Announcer;
use std::collections::BTreeSet;
use tracing::warn;

/// So long the line of a finding stays after its end: whoever was away for a holiday still sees it.
pub const CLEAR_AFTER: Span = Span::from_h(24 * 7);

/// Knows what the broker is to know.
#[derive(Debug)]
pub struct Standing {
    prefix: Prefix,
    told_from: Severity,
    at_store: AtStore,
    /// Cleared since the last connection.
    cleared: BTreeSet<FindingId>,
}

impl Standing {
    /// Of the findings in a store.
    pub fn new(told: &Announcer, at_store: AtStore) -> Self {
        Self {
            prefix: Prefix::of(told),
            told_from: told.told_from,
            at_store,
            cleared: BTreeSet::new(),
        }
    }

    /// All of it, for a broker of which nothing is known.
    pub async fn all(&mut self, now: Time) -> Vec<Message> {
        self.cleared.clear();
        self.messages(now).await
    }

    /// What is to be cleared since the last look.
    pub async fn over(&mut self, now: Time) -> Vec<Message> {
        let mut messages = self.messages(now).await;
        messages.retain(|message| message.payload.is_empty());
        messages
    }

    /// A store that cannot be read just now is looked at the next time.
    async fn messages(&mut self, now: Time) -> Vec<Message> {
        let (prefix, told_from) = (self.prefix.clone(), self.told_from);
        let (cleared, plant) = (self.cleared.clone(), self.at_store.plant.clone());
        let read = self.at_store.with(move |store| {
            let mut findings = store.findings()?;
            findings.retain(|finding| {
                let is_known = finding.ended.is_none_or(|ended| now - ended < LOOK_BACK);
                finding.severity >= told_from
                    && is_known
                    && !(is_over(finding, now) && cleared.contains(&finding.id))
            });
            let message = |finding: &Finding| {
                let line = match is_over(finding, now) {
                    true => String::new(),
                    false => finding_line(finding, &plant.site)?,
                };
                let message = Message {
                    topic: prefix.finding(&finding.id),
                    payload: line,
                    is_retained: true,
                };
                Ok((finding.id.clone(), message))
            };
            let all: Result<Vec<_>, AnnouncementError> = findings.iter().map(message).collect();
            all
        });
        let messages = read.await.unwrap_or_else(|error| {
            warn!(%error, "the broker is not told what stands; tried again");
            Vec::new()
        });
        for (id, message) in &messages {
            // One that stands again is cleared again after its next end.
            match message.payload.is_empty() {
                true => self.cleared.insert(id.clone()),
                false => self.cleared.remove(id),
            };
        }
        messages.into_iter().map(|(_, message)| message).collect()
    }
}

fn is_over(finding: &Finding, now: Time) -> bool {
    finding
        .ended
        .is_some_and(|ended| now - ended >= CLEAR_AFTER)
}
