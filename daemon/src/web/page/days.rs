//! The chart of a day, as a picture and as a table, and which days there are.

use super::files::csv_file;
use super::{Answer, message};
use crate::web::Page;
use crate::web::access::Visit;
use crate::web::view::day;
use crate::web::view::inverter::index;
use analysis::chart::Look;
use axum::Extension;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::IntoResponse;
use chrono::NaiveDate;
use serde::Deserialize;
use std::sync::Arc;

/// Narrowest and widest picture [pixel].
const WIDTHS: std::ops::RangeInclusive<u32> = 280..=1600;
const USUAL_WIDTH: u32 = 860;

/// How the picture is wanted.
#[derive(Debug, Deserialize)]
pub struct Wanted {
    look: Option<String>,
    width: Option<u32>,
}

/// The picture.
pub async fn picture(
    State(page): State<Arc<Page>>,
    Path((id, date)): Path<(String, NaiveDate)>,
    Query(wanted): Query<Wanted>,
    visit: Extension<Visit>,
) -> Answer {
    let t = visit.t;
    let i = index(&page, &id).ok_or_else(|| message::nothing(&page, t))?;
    let look = match wanted.look.as_deref() {
        Some("dark") => Look::Dark,
        _ => Look::Light,
    };
    let width = wanted.width.unwrap_or(USUAL_WIDTH);
    let width = width.clamp(*WIDTHS.start(), *WIDTHS.end());
    let drawn = page.view(move |page, store| day::picture(page, store, i, date, (look, width)));
    let drawn = drawn
        .await
        .map_err(|why| message::unavailable(&page, t, &why))?;
    let svg = drawn.ok_or_else(|| message::nothing(&page, t))?;
    let kind = [(header::CONTENT_TYPE, "image/svg+xml; charset=utf-8")];
    Ok((kind, svg).into_response())
}

/// The table.
pub async fn table(
    State(page): State<Arc<Page>>,
    Path((id, date)): Path<(String, NaiveDate)>,
    visit: Extension<Visit>,
) -> Answer {
    let t = visit.t;
    let i = index(&page, &id).ok_or_else(|| message::nothing(&page, t))?;
    let read = page
        .view(move |page, store| day::day(page, store, i, date))
        .await;
    let read = read.map_err(|why| message::unavailable(&page, t, &why))?;
    csv_file(&page, t, &format!("{id}-{date}.csv"), day::csv(&read))
}
