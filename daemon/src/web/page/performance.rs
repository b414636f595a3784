//! Figures of performance by day, month or year.

use super::{Answer, Frame, filled, message};
use crate::web::access::Visit;
use crate::web::texts::Texts;
use crate::web::view::performance::{Kpi, figures};
use crate::web::{Page, show};
use analysis::ledger::Period;
use askama::Template;
use axum::Extension;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Redirect;
use chrono::NaiveDate;
use std::sync::Arc;

/// Periods that are shown; the table to download has all.
const MOST: usize = 36;

#[derive(Template)]
#[template(path = "web/performance.html")]
struct Shown {
    t: &'static Texts,
    frame: Frame,
    tabs: Vec<Tab>,
    rows: Vec<Row>,
    csv: String,
}

/// One of several pages of the same kind.
pub struct Tab {
    pub name: &'static str,
    pub path: String,
    pub is_here: bool,
}

struct Row {
    period: String,
    place: String,
    is_site: bool,
    output: String,
    final_yield: String,
    index: String,
    ratio: String,
    ratio_25: String,
    availability: String,
}

/// On to the months.
pub async fn months() -> Redirect {
    Redirect::to("/performance/month")
}

/// The page.
pub async fn page(
    State(page): State<Arc<Page>>,
    Path(length): Path<String>,
    visit: Extension<Visit>,
) -> Answer {
    let t = visit.t;
    let names = [
        (t.day, Period::Day),
        (t.month, Period::Month),
        (t.year, Period::Year),
    ];
    let known = names
        .into_iter()
        .find(|(_, period)| period.name() == length);
    let (_, period) = known.ok_or_else(|| message::nothing(&page, t))?;
    let read = page
        .view(move |page, store| figures(page, store, period, MOST))
        .await;
    let read = read.map_err(|why| message::unavailable(&page, t, &why))?;
    let tab = |(name, other): (&'static str, Period)| Tab {
        name,
        path: format!("/performance/{}", other.name()),
        is_here: other == period,
    };
    let shown = Shown {
        t,
        frame: Frame::new(&page, &visit, t.performance, "/performance"),
        tabs: names.into_iter().map(tab).collect(),
        rows: read.iter().map(|kpi| row(t, kpi, period)).collect(),
        csv: format!("/performance/{}/performance.csv", period.name()),
    };
    Ok(filled(StatusCode::OK, &shown))
}

fn row(t: &Texts, kpi: &Kpi, period: Period) -> Row {
    let first = kpi.first_day.parse::<NaiveDate>();
    let manner = &t.words.manner;
    let format = match period {
        Period::Month => manner.month,
        Period::Year => "%Y",
        Period::Day | Period::Whole => manner.date,
    };
    Row {
        period: first.map_or_else(
            |_| kpi.first_day.clone(),
            |day| day.format(format).to_string(),
        ),
        place: kpi
            .inverter
            .clone()
            .unwrap_or_else(|| t.account_site.to_owned()),
        is_site: kpi.inverter.is_none(),
        output: kpi
            .output_wh
            .map_or_else(|| show::NOTHING.to_owned(), |wh| show::energy(t, wh)),
        final_yield: show::number(t, kpi.final_yield_h, 2, "kWh/kW"),
        index: show::percent(t, kpi.performance_index_ratio),
        ratio: show::percent(t, kpi.performance_ratio),
        ratio_25: show::percent(t, kpi.performance_25_degc_ratio),
        availability: show::percent(t, kpi.availability_time_ratio),
    }
}
