//! `report.html`: one file for people, without a reference to any other.
//!
//! The slots of the period are looked at once, while the ledger is written; then those of the few
//! days of which curves are shown are read again.
//! Never in here: what is wrong (`analysis`), or how a picture is drawn (`analysis::chart`).

mod findings;
mod inputs;
mod supply;
mod view;
mod words;

pub use inputs::on_curve;

use super::whole_file::{WriteError, write_whole};
use super::{About, ReportError};
use crate::store::Store;
use crate::text;
use analysis::detect::Slot;
use analysis::diagnose::Finding;
use analysis::ledger::{Entry, Performance};
use analysis::reading::{Span, Time};
use analysis::review::Review;
use askama::Template;
use std::path::Path;
use thiserror::Error;

/// Name of the page in the folder.
pub const PAGE_NAME: &str = "report.html";

/// Why the page is not in the folder.
#[derive(Debug, Error)]
pub enum PageError {
    /// A picture could not be drawn.
    #[error(transparent)]
    Draw(#[from] analysis::chart::ChartError),
    /// The page could not be put together.
    #[error("put the page together")]
    Page(#[from] askama::Error),
    /// The file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// What is gathered for a page while the slots go by.
pub struct Gathered<'a> {
    about: About<'a>,
    findings: &'a [Finding],
    period: (Time, Time),
    review: Review<'a>,
    performance: Performance,
}

impl<'a> Gathered<'a> {
    /// Nothing yet, of a period `[from, to)` with the findings that touch it.
    pub fn new(
        about: About<'a>,
        findings: &'a [Finding],
        period: (Time, Time),
        utc_offset: &'a dyn Fn(Time) -> Span,
    ) -> Self {
        Self {
            about,
            findings,
            period,
            review: Review::new(about.plant, findings, period, utc_offset),
            performance: Performance::new(about.plant),
        }
    }

    /// Takes what the ledger has seen.
    pub fn take(&mut self, slot: Option<&Slot>, ended: &[Entry]) {
        match slot {
            Some(slot) => {
                self.review.add(slot, ended);
                self.performance.add(slot);
            }
            None => self.review.add_entries(ended),
        }
    }

    /// The figures of the period.
    pub fn performance(&self) -> &Performance {
        &self.performance
    }

    /// Writes the page in place of an earlier one.
    ///
    /// # Errors
    /// If the store cannot be read, or the page cannot be drawn or written.
    pub fn write(mut self, path: &Path, store: &Store) -> Result<(), ReportError> {
        self.review.finish();
        let timezone = self.about.timezone;
        let utc_offset = |at: Time| text::utc_offset(at, timezone);
        let whole = Whole {
            about: self.about,
            findings: self.findings,
            period: self.period,
            review: &self.review,
            utc_offset: &utc_offset,
            store,
        };
        let page = view::page(&whole, &self.performance)?;
        let html = page.render().map_err(PageError::from)?;
        write_whole(path, html.as_bytes()).map_err(PageError::from)?;
        Ok(())
    }
}

/// Everything that a page is made of.
struct Whole<'a> {
    about: About<'a>,
    /// Those that touch the period, by their beginning.
    findings: &'a [Finding],
    period: (Time, Time),
    review: &'a Review<'a>,
    utc_offset: &'a dyn Fn(Time) -> Span,
    store: &'a Store,
}

impl Whole<'_> {
    /// A time at the site.
    fn local(&self, at: Time) -> String {
        text::local(at, self.about.timezone)
    }

    /// Whether a finding had not ended when the period did.
    fn stands(&self, finding: &Finding) -> bool {
        finding.ended.is_none_or(|ended| ended >= self.period.1)
    }
}
