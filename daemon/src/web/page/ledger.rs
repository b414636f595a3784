//! The ledger of a day, a month or a year.

use super::performance::Tab;
use super::{Answer, Frame, filled, message};
use crate::text::LEAST_SHOWN_WH;
use crate::web::access::Visit;
use crate::web::calendar::{self, Length};
use crate::web::texts::Texts;
use crate::web::view::ledger::{Account, Ledger, ledger};
use crate::web::{Page, show};
use askama::Template;
use axum::Extension;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::Redirect;
use chrono::NaiveDate;
use serde::Deserialize;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "web/ledger.html")]
struct Shown {
    t: &'static Texts,
    frame: Frame,
    tabs: Vec<Tab>,
    length: &'static str,
    date: String,
    before: String,
    after: String,
    span: String,
    has_money: bool,
    is_empty: bool,
    accounts: Vec<AccountRow>,
    csv: String,
}

struct AccountRow {
    name: String,
    rows: Vec<Row>,
}

struct Row {
    name: String,
    energy: String,
    money: String,
    is_sum: bool,
}

/// Which day it holds.
#[derive(Debug, Deserialize)]
pub struct Chosen {
    date: Option<NaiveDate>,
}

/// On to the month that goes on.
pub async fn this_month() -> Redirect {
    Redirect::to("/ledger/month")
}

/// The page.
pub async fn page(
    State(page): State<Arc<Page>>,
    Path(length): Path<String>,
    Query(chosen): Query<Chosen>,
    visit: Extension<Visit>,
) -> Answer {
    let t = visit.t;
    let length = Length::from_name(&length).ok_or_else(|| message::nothing(&page, t))?;
    let today = calendar::day_at(page.clock.now(), page.site.timezone);
    let date = chosen.date.unwrap_or(today);
    let read = page
        .view(move |page, store| ledger(page, store, date, length))
        .await;
    let read = read.map_err(|why| message::unavailable(&page, t, &why))?;
    let frame = Frame::new(&page, &visit, t.ledger, "/ledger");
    Ok(filled(
        StatusCode::OK,
        &shown(t, frame, &read, date, length),
    ))
}

fn shown(t: &'static Texts, frame: Frame, read: &Ledger, date: NaiveDate, length: Length) -> Shown {
    let (first, next) = calendar::around(date, length);
    let at = |length: Length, date: NaiveDate| format!("/ledger/{}?date={date}", length.name());
    let tab = |(name, other): (&'static str, Length)| Tab {
        name,
        path: at(other, date),
        is_here: other == length,
    };
    let tabs = [
        (t.day, Length::Day),
        (t.month, Length::Month),
        (t.year, Length::Year),
    ];
    let currency = read.currency.as_deref();
    Shown {
        t,
        frame,
        tabs: tabs.into_iter().map(tab).collect(),
        length: length.name(),
        date: date.to_string(),
        before: at(length, calendar::before(first, length)),
        after: at(length, next),
        span: match length {
            Length::Day => show::date(t, first),
            Length::Month => first.format(t.words.manner.month).to_string(),
            Length::Year => first.format("%Y").to_string(),
        },
        has_money: currency.is_some(),
        is_empty: read
            .accounts
            .iter()
            .all(|a| [a.expected_wh, a.measured_wh, a.not_compared_wh] == [0.0; 3]),
        accounts: read
            .accounts
            .iter()
            .map(|a| account(t, a, currency))
            .collect(),
        csv: format!("/ledger/{}/{first}/ledger.csv", length.name()),
    }
}

fn account(t: &Texts, account: &Account, currency: Option<&str>) -> AccountRow {
    let row = |name: &str, wh: f64, money: Option<f64>, is_sum: bool| Row {
        name: name.to_owned(),
        energy: show::energy(t, wh),
        money: show::money(t, money, currency).unwrap_or_default(),
        is_sum,
    };
    let first = row(
        t.expected_energy,
        account.expected_wh,
        account.expected_money,
        true,
    );
    let last = row(
        t.measured_energy,
        account.measured_wh,
        account.measured_money,
        true,
    );
    let losses = account.losses.iter();
    let losses = losses.map(|lost| {
        row(
            &(t.words.loss)(lost.loss),
            -lost.wh,
            lost.money.map(|m| -m),
            false,
        )
    });
    let beside = account
        .tells_not_compared
        .then(|| row(t.not_compared_energy, account.not_compared_wh, None, false));
    let above = (account.above_rated_power_wh >= LEAST_SHOWN_WH).then(|| {
        let wh = account.above_rated_power_wh;
        row(t.above_rated_energy, wh, None, false)
    });
    let rows = [first].into_iter().chain(losses).chain([last]);
    AccountRow {
        name: account
            .inverter
            .clone()
            .unwrap_or_else(|| t.account_site.to_owned()),
        rows: rows.chain(beside).chain(above).collect(),
    }
}
