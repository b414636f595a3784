//! Adds up what pages of long periods show, before anybody asks: piece by piece, so that whoever asks
//! meanwhile takes a turn between two pieces.
//! Never in here: what is added up.

use super::Page;
use super::calendar::{self, Length};
use super::reading::Unavailable;
use crate::store::{Store, StoreError};
use analysis::reading::Time;
use chrono::NaiveDate;
use std::sync::Arc;
use tracing::debug;

/// From the start of the page on, until everything in the store has been seen once.
pub async fn add_up(page: Arc<Page>) {
    if let Err(error) = pieces(&page).await {
        debug!(%error, "not added up ahead; pages do it when they are asked for");
    }
}

async fn pieces(page: &Arc<Page>) -> Result<(), Unavailable> {
    while page.view(|page, store| page.tally.step(store)).await? {}
    page.view(|page, _| Ok(page.tally.figures())).await?;
    let Some((first, last)) = page.view(|_, store| store.span()).await? else {
        return Ok(());
    };
    let mut date = calendar::day_at(last, page.site.timezone);
    while page
        .view(move |page, store| day(page, store, date, first))
        .await?
    {
        date = calendar::before(date, Length::Day);
    }
    Ok(())
}

/// A day; whether there is one before it.
fn day(page: &Page, store: &Store, date: NaiveDate, first: Time) -> Result<bool, StoreError> {
    let span = calendar::span(date, Length::Day, page.site.timezone);
    let findings = store.findings_in(span.0, span.1)?;
    let plant = &page.site.plant;
    page.balances
        .of_day((plant, store), date, span, &findings)?;
    Ok(span.0 > first)
}
