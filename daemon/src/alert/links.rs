//! Links of mails into the page.
//! Never in here: what they open (`web`).

use crate::web::link::{self, Key, Purpose};
use analysis::diagnose::Finding;
use analysis::reading::{Span, Time};

/// Links into the page.
#[derive(Debug, Clone)]
pub struct Links {
    /// Scheme and host of the page.
    pub page: String,
    /// What the page knows its own links by.
    pub key: Key,
}

/// How long a link of a mail opens something.
const LINK_LASTS: Span = Span::from_h(24 * 30);

impl Links {
    /// A link by which somebody without a password says that he has seen a finding.
    pub fn acknowledge(&self, finding: &Finding, now: Time) -> String {
        let (purpose, id) = (Purpose::Acknowledge, finding.id.as_str());
        let token = link::sign(&self.key, purpose, id, now + LINK_LASTS);
        format!("{}{}", self.page, link::path(purpose, id, &token))
    }
}
