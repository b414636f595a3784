//! Tables to take away: what a page shows, as CSV with units in the names of its columns.

use super::{Answer, message};
use crate::web::Page;
use crate::web::access::Visit;
use crate::web::calendar::Length;
use crate::web::texts::Texts;
use crate::web::view::{finding, ledger as ledgers, performance as figures, utc};
use analysis::ledger::Period;
use analysis::reading::Time;
use axum::Extension;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::IntoResponse;
use chrono::NaiveDate;
use std::sync::Arc;

/// Periods in the table of figures: all of them.
const EVERY_PERIOD: usize = usize::MAX;

/// A table as an answer that browsers save under a name.
pub fn csv_file(
    page: &Page,
    t: &'static Texts,
    name: &str,
    table: Result<Vec<u8>, csv::Error>,
) -> Answer {
    let table = table.map_err(|error| {
        tracing::error!(%error, "a table cannot be written");
        message::say(page, t, StatusCode::INTERNAL_SERVER_ERROR, t.error, t.error)
    })?;
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    let name: String = name.chars().filter(|c| plain(*c)).collect();
    let head = [
        (header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"{name}\""),
        ),
    ];
    Ok((head, table).into_response())
}

fn rows(header: &[&str], rows: impl Iterator<Item = Vec<String>>) -> Result<Vec<u8>, csv::Error> {
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record(header)?;
    for row in rows {
        out.write_record(&row)?;
    }
    out.into_inner().map_err(|error| error.into_error().into())
}

fn number(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

/// The plant's power today.
pub async fn today(State(page): State<Arc<Page>>, visit: Extension<Visit>) -> Answer {
    let t = visit.t;
    let o = page.overview().await;
    let o = o.map_err(|why| message::unavailable(&page, t, &why))?;
    let row = |p: &crate::web::view::overview::Point| {
        let at = utc(Time::from_unix_ms(p.at_unix_s * 1000));
        vec![at, number(p.measured_w), number(p.expected_w)]
    };
    let header = ["at_utc", "ac_power_w", "expected_ac_power_w"];
    let table = rows(&header, o.today.curve.iter().map(row));
    csv_file(&page, t, &format!("{}.csv", o.today.date), table)
}

/// All findings.
pub async fn findings(State(page): State<Arc<Page>>, visit: Extension<Visit>) -> Answer {
    let t = visit.t;
    let all = page.view(|page, store| {
        let now = page.clock.now();
        Ok(finding::all(store)?
            .iter()
            .map(|a| a.brief(now))
            .collect::<Vec<_>>())
    });
    let all = all
        .await
        .map_err(|why| message::unavailable(&page, t, &why))?;
    let header = [
        "id",
        "device",
        "input",
        "string",
        "kind",
        "severity",
        "began_utc",
        "ended_utc",
        "lost_kwh",
        "summary",
    ];
    let row = |f: &finding::Brief| {
        vec![
            f.id.clone(),
            f.device.clone(),
            f.input.map_or_else(String::new, |n| n.to_string()),
            f.string.clone().unwrap_or_default(),
            f.kind.to_owned(),
            super::rows::severity_name(f.severity).to_owned(),
            f.began_utc.clone(),
            f.ended_utc.clone().unwrap_or_default(),
            f.lost_kwh.to_string(),
            f.summary.clone(),
        ]
    };
    csv_file(&page, t, "findings.csv", rows(&header, all.iter().map(row)))
}

/// A ledger: one row for each account and line.
pub async fn ledger(
    State(page): State<Arc<Page>>,
    Path((length, date)): Path<(String, NaiveDate)>,
    visit: Extension<Visit>,
) -> Answer {
    let t = visit.t;
    let length = Length::from_name(&length).ok_or_else(|| message::nothing(&page, t))?;
    let read = page.view(move |page, store| ledgers::ledger(page, store, date, length));
    let read = read
        .await
        .map_err(|why| message::unavailable(&page, t, &why))?;
    let currency = read.currency.clone().unwrap_or_default();
    let lines = read.accounts.iter().flat_map(|account| {
        let name = account.inverter.clone().unwrap_or_default();
        let line = {
            let currency = currency.clone();
            move |what: &str, wh: f64, money: Option<f64>| {
                vec![
                    name.clone(),
                    what.to_owned(),
                    wh.to_string(),
                    number(money),
                    currency.clone(),
                ]
            }
        };
        let first = line("expected", account.expected_wh, account.expected_money);
        let second = line("measured", account.measured_wh, account.measured_money);
        let losses: Vec<_> = account
            .losses
            .iter()
            .map(|l| line(&l.name, l.wh, l.money))
            .collect();
        let beside = [
            line("not_compared", account.not_compared_wh, None),
            line("above_rated_power", account.above_rated_power_wh, None),
        ];
        [first, second].into_iter().chain(losses).chain(beside)
    });
    let header = ["inverter", "account", "energy_wh", "money", "currency"];
    let name = format!("ledger-{}-{}.csv", read.length, read.from);
    csv_file(&page, t, &name, rows(&header, lines))
}

/// Figures of performance.
pub async fn performance(
    State(page): State<Arc<Page>>,
    Path(length): Path<String>,
    visit: Extension<Visit>,
) -> Answer {
    let t = visit.t;
    let period = Period::ALL.into_iter().find(|p| p.name() == length);
    let period = period.ok_or_else(|| message::nothing(&page, t))?;
    let read = page.view(move |page, store| figures::figures(page, store, period, EVERY_PERIOD));
    let read = read
        .await
        .map_err(|why| message::unavailable(&page, t, &why))?;
    let header = [
        "first_day",
        "last_day",
        "inverter",
        "output_wh",
        "reference_yield_h",
        "array_yield_h",
        "final_yield_h",
        "performance_ratio",
        "performance_25_degc_ratio",
        "performance_index_ratio",
        "availability_time_ratio",
        "availability_energy_ratio",
    ];
    let row = |k: &figures::Kpi| {
        let mut row = vec![
            k.first_day.clone(),
            k.last_day.clone(),
            k.inverter.clone().unwrap_or_default(),
        ];
        row.extend(
            [
                k.output_wh,
                k.reference_yield_h,
                k.array_yield_h,
                k.final_yield_h,
                k.performance_ratio,
                k.performance_25_degc_ratio,
                k.performance_index_ratio,
                k.availability_time_ratio,
                k.availability_energy_ratio,
            ]
            .map(number),
        );
        row
    };
    let table = rows(&header, read.iter().map(row));
    csv_file(&page, t, &format!("performance-{length}.csv"), table)
}
