//! The charts of a day, as pictures and as a table.

use super::files::csv_file;
use super::{Answer, Failed, message};
use crate::web::Page;
use crate::web::access::Visit;
use crate::web::texts::Texts;
use crate::web::view::day;
use crate::web::view::inverter::index;
use analysis::chart::Look;
use axum::Extension;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use chrono::NaiveDate;
use serde::Deserialize;
use std::sync::Arc;

/// Narrowest and widest picture [pixel].
const WIDTHS: std::ops::RangeInclusive<u32> = 280..=1600;
/// Of a day, where nothing is said, and of a curve.
const USUAL_WIDTH: u32 = 860;
const USUAL_CURVE_WIDTH: u32 = 480;

/// How the picture is wanted.
#[derive(Debug, Deserialize)]
pub struct Wanted {
    look: Option<String>,
    width: Option<u32>,
    /// Number of the only input that is shown.
    input: Option<u8>,
}

impl Wanted {
    fn look(&self) -> Look {
        match self.look.as_deref() {
            Some("dark") => Look::Dark,
            _ => Look::Light,
        }
    }

    fn width(&self, usual: u32) -> u32 {
        let width = self.width.unwrap_or(usual);
        width.clamp(*WIDTHS.start(), *WIDTHS.end())
    }
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
    let how = (wanted.look(), wanted.width(USUAL_WIDTH));
    let only = wanted.input.map(|number| input(&page, t, i, number));
    let only = only.transpose()?;
    let drawn = page.view(move |page, store| day::picture(page, store, (i, only), date, how));
    let drawn = drawn
        .await
        .map_err(|why| message::unavailable(&page, t, &why))?;
    let svg = drawn.ok_or_else(|| message::nothing(&page, t))?;
    Ok(svg_file(svg))
}

/// The picture of where an input worked on its curve.
pub async fn curve(
    State(page): State<Arc<Page>>,
    Path((id, date, number)): Path<(String, NaiveDate, u8)>,
    Query(wanted): Query<Wanted>,
    visit: Extension<Visit>,
) -> Answer {
    let t = visit.t;
    let i = index(&page, &id).ok_or_else(|| message::nothing(&page, t))?;
    let k = input(&page, t, i, number)?;
    let how = (wanted.look(), wanted.width(USUAL_CURVE_WIDTH));
    let drawn = page.view(move |page, store| day::curve(page, store, (i, k), date, how));
    let drawn = drawn
        .await
        .map_err(|why| message::unavailable(&page, t, &why))?;
    Ok(svg_file(drawn.ok_or_else(|| message::nothing(&page, t))?))
}

/// The place of the input with a number.
fn input(page: &Page, t: &'static Texts, i: usize, number: u8) -> Result<usize, Failed> {
    let mut inputs = page.site.plant.inverters[i].inputs.iter();
    let k = inputs.position(|input| input.number == number);
    k.ok_or_else(|| message::nothing(page, t))
}

fn svg_file(svg: String) -> Response {
    let kind = [(header::CONTENT_TYPE, "image/svg+xml; charset=utf-8")];
    (kind, svg).into_response()
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
