//! One inverter: now, and on a day.

use super::inverter_rows::{InputRow, MorningRow, input_row, morning, rules, supply};
use super::rows::FindingRow;
use super::{Answer, Frame, filled, message};
use crate::web::access::Visit;
use crate::web::calendar;
use crate::web::texts::Texts;
use crate::web::view::day::on_a_curve;
use crate::web::view::inverter::{Inverter, index, inverter};
use crate::web::{Page, paths, show};
use analysis::reading::Time;
use askama::Template;
use axum::Extension;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect};
use chrono::{Days, NaiveDate};
use serde::Deserialize;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "web/inverter.html")]
struct Shown {
    t: &'static Texts,
    frame: Frame,
    name: String,
    path: String,
    findings: Vec<FindingRow>,
    state: String,
    output: String,
    rated: String,
    events: String,
    heat_sink: String,
    power_limit: String,
    limit: String,
    slot: String,
    inputs: Vec<InputRow>,
    date: String,
    date_text: String,
    latest_date: String,
    first_date: String,
    before: String,
    after: String,
    has_chart: bool,
    curves: Vec<CurveRow>,
    svg: String,
    csv: String,
    json: String,
    zone: &'static str,
    supply: Vec<(String, String)>,
    rules: String,
    mornings: Vec<MorningRow>,
}

/// Where an input worked on its curve.
struct CurveRow {
    number: u8,
    svg: String,
}

/// A day that was chosen in the form.
#[derive(Debug, Deserialize)]
pub struct Chosen {
    date: Option<NaiveDate>,
}

/// The page of today, or on to that of a day that was chosen.
pub async fn today(
    State(page): State<Arc<Page>>,
    Path(id): Path<String>,
    Query(chosen): Query<Chosen>,
    visit: Extension<Visit>,
) -> Answer {
    if let Some(date) = chosen.date {
        let to = format!("{}#day", paths::inverter_day(&id, &date.to_string()));
        return Ok(Redirect::to(&to).into_response());
    }
    let date = calendar::day_at(page.clock.now(), page.site.timezone);
    shown(&page, &visit, &id, date, true).await
}

/// The page of a day.
pub async fn page(
    State(page): State<Arc<Page>>,
    Path((id, date)): Path<(String, NaiveDate)>,
    visit: Extension<Visit>,
) -> Answer {
    shown(&page, &visit, &id, date, false).await
}

async fn shown(
    page: &Arc<Page>,
    visit: &Visit,
    id: &str,
    date: NaiveDate,
    is_live: bool,
) -> Answer {
    let t = visit.t;
    let i = index(page, id).ok_or_else(|| message::nothing(page, t))?;
    let read = page.view(move |page, store| {
        let (from, to) = calendar::span(date, calendar::Length::Day, page.site.timezone);
        let slots = store.slots_of(i, from, to)?;
        let charts = (!slots.is_empty()).then(|| on_a_curve(&slots, i));
        Ok((inverter(page, store, i)?, store.span()?, charts))
    });
    let read = read.await;
    let (now, span, charts) = read.map_err(|why| message::unavailable(page, t, &why))?;
    let frame = Frame::new(page, visit, id, "");
    let frame = if is_live { frame.live() } else { frame };
    Ok(filled(
        StatusCode::OK,
        &fill(page, t, frame, &now, date, span, charts),
    ))
}

fn fill(
    page: &Page,
    t: &'static Texts,
    frame: Frame,
    now: &Inverter,
    date: NaiveDate,
    span: Option<(Time, Time)>,
    charts: Option<Vec<usize>>,
) -> Shown {
    let timezone = page.site.timezone;
    let today = calendar::day_at(page.clock.now(), timezone);
    let day_path = |day: Option<NaiveDate>| match day {
        Some(day) if day <= today => {
            format!("{}#day", paths::inverter_day(&now.id, &day.to_string()))
        }
        _ => String::new(),
    };
    let own = paths::inverter_day(&now.id, &date.to_string());
    let curve = |k: usize| {
        let number = now.inputs[k].input;
        let svg = format!("{own}/inputs/{number}/curve.svg");
        CurveRow { number, svg }
    };
    let slot = now.slot.map(|(from, to)| {
        let clock = |at| crate::text::clock(at, timezone);
        format!("{}–{}", clock(from), clock(to))
    });
    let events = if now.events.is_empty() {
        t.no_events.to_owned()
    } else {
        let words: Vec<&str> = now.events.iter().map(|e| (t.words.event)(*e)).collect();
        words.join(", ")
    };
    let limit = now.power_limit_ratio.filter(|ratio| *ratio < 1.0);
    let first = span.map(|(first, _)| calendar::day_at(first, timezone).to_string());
    Shown {
        t,
        frame,
        name: now.id.clone(),
        path: format!("/inverters/{}", paths::encoded(&now.id)),
        findings: now
            .findings
            .iter()
            .map(|f| FindingRow::new(page, t, f))
            .collect(),
        state: now.state.map_or(show::NOTHING, t.words.state).to_owned(),
        output: show::power(t, now.ac_power_w),
        rated: show::power(t, Some(now.rated_ac_w)),
        events,
        heat_sink: show::number(t, now.heatsink_temperature_degc, 1, "°C"),
        power_limit: limit.map_or_else(String::new, |ratio| show::percent(t, Some(ratio))),
        limit: now
            .limit
            .map_or_else(String::new, |name| t.limit(name).to_owned()),
        slot: slot.unwrap_or_default(),
        inputs: now.inputs.iter().map(|i| input_row(t, i)).collect(),
        date: date.to_string(),
        date_text: show::date(t, date),
        latest_date: today.to_string(),
        first_date: first.unwrap_or_default(),
        before: day_path(date.checked_sub_days(Days::new(1))),
        after: day_path(date.checked_add_days(Days::new(1))),
        has_chart: charts.is_some(),
        curves: charts.unwrap_or_default().into_iter().map(curve).collect(),
        svg: format!("{own}/day.svg"),
        csv: format!("{own}/day.csv"),
        json: format!("/api/v1{own}"),
        zone: timezone.name(),
        supply: supply(t, now),
        rules: rules(t, now),
        mornings: now.mornings.iter().map(|m| morning(page, t, m)).collect(),
    }
}
