//! The same views for programs: JSON under /api/v1, described by `assets/openapi.json`, and numbers
//! for collectors. Everything only reads.
//! Never in here: anything that pages do not show too.

mod metrics;

use super::Page;
use super::calendar::{self, Length};
use super::reading::Unavailable;
use super::view::{day, device, finding, inverter, ledger, performance};
use analysis::ledger::Period;
use axum::Router;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use serde_json::json;
use std::sync::Arc;

/// Periods of figures in one answer: the latest.
const USUAL_PERIODS: usize = 400;

/// Findings that have ended in one answer, at most.
const MOST_FINDINGS: usize = 1000;

/// Where each answer is.
pub fn routes() -> Router<Arc<Page>> {
    Router::new()
        .route("/health", get(health))
        .route("/metrics", get(metrics::metrics))
        .route("/api/v1/openapi.json", get(openapi))
        .route("/api/v1/overview", get(overview_))
        .route("/api/v1/devices", get(devices))
        .route("/api/v1/inverters/{id}", get(inverter_))
        .route("/api/v1/inverters/{id}/days/{date}", get(day_))
        .route("/api/v1/findings", get(findings))
        .route("/api/v1/findings/{id}", get(finding_))
        .route("/api/v1/ledger", get(ledger_))
        .route("/api/v1/kpi", get(kpi))
}

fn answer(status: StatusCode, body: &impl Serialize) -> Response {
    match serde_json::to_string(body) {
        Ok(body) => {
            let kind = [(header::CONTENT_TYPE, "application/json")];
            (status, kind, body).into_response()
        }
        Err(error) => {
            tracing::error!(%error, "an answer cannot be written as JSON");
            StatusCode::INTERNAL_SERVER_ERROR.into_response()
        }
    }
}

fn wrong(status: StatusCode, what: &str) -> Response {
    answer(status, &json!({ "error": what }))
}

/// A view that was read, or why not.
fn read<T: Serialize>(result: Result<T, Unavailable>) -> Response {
    match result {
        Ok(view) => answer(StatusCode::OK, &view),
        Err(why) => unavailable(&why),
    }
}

fn unavailable(why: &Unavailable) -> Response {
    let what = match why {
        Unavailable::Busy => "too much is asked for at once",
        Unavailable::Store(_) => "the store cannot be read just now",
    };
    wrong(StatusCode::SERVICE_UNAVAILABLE, what)
}

fn no_such(what: &str) -> Response {
    wrong(StatusCode::NOT_FOUND, &format!("there is no such {what}"))
}

/// Whether the program is at work, for a supervisor: says nothing of the plant.
async fn health() -> Response {
    answer(
        StatusCode::OK,
        &json!({ "status": "ok", "version": env!("CARGO_PKG_VERSION") }),
    )
}

async fn openapi() -> Response {
    let kind = [(header::CONTENT_TYPE, "application/json")];
    (kind, include_str!("../../../assets/openapi.json")).into_response()
}

async fn overview_(State(page): State<Arc<Page>>) -> Response {
    read(page.overview().await)
}

async fn devices(State(page): State<Arc<Page>>) -> Response {
    answer(StatusCode::OK, &device::devices(&page))
}

async fn inverter_(State(page): State<Arc<Page>>, Path(id): Path<String>) -> Response {
    let Some(i) = inverter::index(&page, &id) else {
        return no_such("inverter");
    };
    read(
        page.view(move |page, store| inverter::inverter(page, store, i))
            .await,
    )
}

async fn day_(State(page): State<Arc<Page>>, Path((id, date)): Path<(String, String)>) -> Response {
    let Some(i) = inverter::index(&page, &id) else {
        return no_such("inverter");
    };
    let Ok(date) = date.parse::<NaiveDate>() else {
        return no_such("day; wanted a date as in 2026-06-21");
    };
    read(
        page.view(move |page, store| day::day(page, store, i, date))
            .await,
    )
}

#[derive(Debug, Deserialize)]
struct WhichFindings {
    limit: Option<usize>,
    before: Option<String>,
}

async fn findings(
    State(page): State<Arc<Page>>,
    which: Result<Query<WhichFindings>, QueryRejection>,
) -> Response {
    let Ok(Query(which)) = which else {
        return wrong(StatusCode::BAD_REQUEST, "found a query that cannot be read");
    };
    let limit = which.limit.unwrap_or(MOST_FINDINGS);
    if !(1..=MOST_FINDINGS).contains(&limit) {
        return wrong(StatusCode::BAD_REQUEST, "limit: wanted 1 to 1000");
    }
    let part = page.view(move |page, store| {
        let part = finding::part(store, which.before.as_deref(), limit)?;
        let all = part.findings.iter().map(|a| a.for_programs(page));
        Ok(all.collect::<Result<Vec<_>, _>>())
    });
    findings_answer(part.await)
}

async fn finding_(State(page): State<Arc<Page>>, Path(id): Path<String>) -> Response {
    let one = page.view(move |page, store| {
        let one = finding::one(store, &id)?;
        Ok(one.map(|a| a.for_programs(page)).transpose())
    });
    match one.await {
        Ok(Ok(None)) => no_such("finding"),
        other => findings_answer(other),
    }
}

fn findings_answer<T: Serialize>(found: Result<Result<T, String>, Unavailable>) -> Response {
    match found {
        Ok(Ok(found)) => answer(StatusCode::OK, &found),
        Ok(Err(error)) => {
            tracing::error!(%error, "a finding cannot be written as JSON");
            wrong(
                StatusCode::INTERNAL_SERVER_ERROR,
                "a finding cannot be written as JSON",
            )
        }
        Err(why) => unavailable(&why),
    }
}

#[derive(Debug, Deserialize)]
struct WhichLedger {
    length: Option<String>,
    date: Option<String>,
}

async fn ledger_(
    State(page): State<Arc<Page>>,
    which: Result<Query<WhichLedger>, QueryRejection>,
) -> Response {
    let Ok(Query(which)) = which else {
        return wrong(StatusCode::BAD_REQUEST, "found a query that cannot be read");
    };
    let length = which.length.as_deref().unwrap_or("day");
    let Some(length) = Length::from_name(length) else {
        return wrong(StatusCode::BAD_REQUEST, "length: wanted day, month or year");
    };
    let date = match which.date.as_deref().map(str::parse::<NaiveDate>) {
        None => calendar::day_at(page.clock.now(), page.site.timezone),
        Some(Ok(date)) => date,
        Some(Err(_)) => return wrong(StatusCode::BAD_REQUEST, "date: wanted one as in 2026-06-21"),
    };
    read(
        page.view(move |page, store| ledger::ledger(page, store, date, length))
            .await,
    )
}

#[derive(Debug, Deserialize)]
struct WhichFigures {
    period: Option<String>,
}

async fn kpi(
    State(page): State<Arc<Page>>,
    which: Result<Query<WhichFigures>, QueryRejection>,
) -> Response {
    let Ok(Query(which)) = which else {
        return wrong(StatusCode::BAD_REQUEST, "found a query that cannot be read");
    };
    let name = which.period.as_deref().unwrap_or("month");
    let Some(period) = Period::ALL.into_iter().find(|period| period.name() == name) else {
        return wrong(
            StatusCode::BAD_REQUEST,
            "period: wanted day, month, year or whole",
        );
    };
    read(
        page.view(move |page, store| performance::figures(page, store, period, USUAL_PERIODS))
            .await,
    )
}
