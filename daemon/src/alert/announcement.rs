//! What programs are told: news of a finding, as JSON.
//!
//! `{"id", "event", "at", "site", "finding"}`; the finding is its line of `findings.jsonl`, as it is known
//! when it leaves. Described for whoever receives it in `book/src/announcements.md`.
//! Never in here: how it travels.

use crate::report::{FindingsFileError, finding_line};
use crate::store::{News, Store, StoreError};
use crate::text::utc;
use analysis::diagnose::FindingId;
use analysis::plant::Site;
use analysis::reading::Time;
use serde_json::json;
use thiserror::Error;

/// Why it cannot be told. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum AnnouncementError {
    /// The store cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The finding cannot be said in JSON.
    #[error(transparent)]
    Finding(#[from] FindingsFileError),
    /// What is new is not in the store any more.
    #[error("read what delivery {delivery} tells: it is not in the store")]
    Nothing {
        /// Its number.
        delivery: i64,
    },
}

/// News of one finding.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Announcement {
    /// Which.
    pub finding: FindingId,
    /// The line of the finding.
    pub line: String,
    /// The whole body.
    pub body: String,
}

impl Announcement {
    /// What a delivery tells.
    ///
    /// # Errors
    /// If the store does not say, or the finding has a number that JSON has not.
    pub fn of(delivery: i64, store: &Store, site: &Site) -> Result<Self, AnnouncementError> {
        let told = store.told(delivery)?;
        let (news, finding) = told
            .first()
            .ok_or(AnnouncementError::Nothing { delivery })?;
        let line = finding_line(finding, site)?;
        Ok(Self {
            finding: finding.id.clone(),
            body: body(&id(news), news.what.name(), news.at, site, &line),
            line,
        })
    }
}

/// By what a receiver knows that it was told of something before, on whatever way.
pub fn id(news: &News) -> String {
    let News {
        finding, what, at, ..
    } = news;
    format!("{finding}.{}.{}", what.name(), at.unix_ms())
}

/// A body that says only that bodies arrive.
pub fn trial(now: Time, site: &Site) -> String {
    let id = format!("trial.{}", now.unix_ms());
    body(&id, "trial", now, site, "null")
}

/// The line stands in it as it is in the file, to the byte.
fn body(id: &str, event: &str, at: Time, site: &Site, line: &str) -> String {
    let [id, event, site] = [json!(id), json!(event), json!(site.name)];
    let at = json!(utc(at));
    format!("{{\"id\":{id},\"event\":{event},\"at\":{at},\"site\":{site},\"finding\":{line}}}")
}
