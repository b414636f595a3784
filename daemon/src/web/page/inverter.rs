//! One inverter: now, and on a day.

use super::rows::FindingRow;
use super::{Answer, Frame, T, filled, message};
use crate::web::access::Visit;
use crate::web::calendar;
use crate::web::texts::Texts;
use crate::web::view::inverter::{Compared, InputNow, Inverter, MorningSeen, index, inverter};
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
    latest_date: String,
    first_date: String,
    before: String,
    after: String,
    has_chart: bool,
    svg: String,
    csv: String,
    json: String,
    zone: &'static str,
    supply: Vec<(String, String)>,
    rules: String,
    mornings: Vec<MorningRow>,
}

struct InputRow {
    number: u8,
    strings: Vec<String>,
    rows: Vec<ComparedRow>,
    note: String,
}

struct ComparedRow {
    name: &'static str,
    now: String,
    measured: String,
    expected: String,
    band: String,
    class: &'static str,
    shape: &'static str,
    verdict: &'static str,
}

struct MorningRow {
    at: String,
    resistance: String,
    is_low: bool,
    weather: &'static str,
    lost: String,
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
    let i = index(page, id).ok_or_else(|| message::nothing(page))?;
    let read = page.view(move |page, store| {
        let (from, to) = calendar::span(date, calendar::Length::Day, page.site.timezone);
        let has_chart = !store.slots(from, to)?.is_empty();
        Ok((inverter(page, store, i)?, store.span()?, has_chart))
    });
    let read = read.await;
    let (now, span, has_chart) = read.map_err(|why| message::unavailable(page, &why))?;
    let frame = Frame::new(page, visit, id, "");
    let frame = if is_live { frame.live() } else { frame };
    Ok(filled(
        StatusCode::OK,
        &fill(page, frame, &now, date, span, has_chart),
    ))
}

fn fill(
    page: &Page,
    frame: Frame,
    now: &Inverter,
    date: NaiveDate,
    span: Option<(Time, Time)>,
    has_chart: bool,
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
    let slot = now.slot.map(|(from, to)| {
        let clock = |at| crate::text::clock(at, timezone);
        format!("{}–{}", clock(from), clock(to))
    });
    let events = if now.events.is_empty() {
        T.no_events.to_owned()
    } else {
        now.events.join(", ")
    };
    let limit = now.power_limit_ratio.filter(|ratio| *ratio < 1.0);
    let first = span.map(|(first, _)| calendar::day_at(first, timezone).to_string());
    Shown {
        t: T,
        frame,
        name: now.id.clone(),
        path: format!("/inverters/{}", paths::encoded(&now.id)),
        findings: now
            .findings
            .iter()
            .map(|f| FindingRow::new(page, f))
            .collect(),
        state: now.state.unwrap_or(show::NOTHING).to_owned(),
        output: show::power(now.ac_power_w),
        rated: show::power(Some(now.rated_ac_w)),
        events,
        heat_sink: show::number(now.heatsink_temperature_degc, 1, "°C"),
        power_limit: limit.map_or_else(String::new, |ratio| show::percent(Some(ratio))),
        limit: now
            .limit
            .map_or_else(String::new, |name| T.limit(name).to_owned()),
        slot: slot.unwrap_or_default(),
        inputs: now.inputs.iter().map(input_row).collect(),
        date: date.to_string(),
        latest_date: today.to_string(),
        first_date: first.unwrap_or_default(),
        before: day_path(date.checked_sub_days(Days::new(1))),
        after: day_path(date.checked_add_days(Days::new(1))),
        has_chart,
        svg: format!("{own}/day.svg"),
        csv: format!("{own}/day.csv"),
        json: format!("/api/v1{own}"),
        zone: timezone.name(),
        supply: supply(now),
        rules: rules(now),
        mornings: now.mornings.iter().map(|m| morning(page, m)).collect(),
    }
}

fn input_row(input: &InputNow) -> InputRow {
    let power = input
        .dc_voltage_v
        .zip(input.dc_current_a)
        .map(|(v, i)| v * i);
    let volts = |value| show::number(value, 1, "V");
    let amps = |value| show::number(value, 2, "A");
    let strings = input.strings.iter().map(|s| {
        let current = s
            .dc_current_a
            .map(|i| format!(", {}", show::number(Some(i), 2, "A")));
        let current = current.unwrap_or_default();
        format!(
            "{}: {} × {}, {}{current}",
            s.label, s.count, s.module, s.plane
        )
    });
    let gate = match input.gate {
        "valid" => String::new(),
        other => format!("{}: {}.", T.why_not_tested, T.gate(other)),
    };
    let limit = input
        .limit
        .map(|limit| format!(" {}: {}.", T.limit, T.limit(limit)));
    InputRow {
        number: input.input,
        strings: strings.collect(),
        rows: vec![
            row(
                T.voltage,
                volts(input.dc_voltage_v),
                input.voltage,
                input.gate,
                volts,
            ),
            row(
                T.current,
                amps(input.dc_current_a),
                input.current,
                input.gate,
                amps,
            ),
            row(
                T.power,
                show::power(power),
                input.power,
                input.gate,
                show::power,
            ),
        ],
        note: format!("{gate}{}", limit.unwrap_or_default()),
    }
}

/// A limit moves the inverter along the curve, so that voltage and current alone say nothing; only
/// what was tested is judged.
fn row(
    name: &'static str,
    now: String,
    c: Compared,
    gate: &str,
    text: impl Fn(Option<f64>) -> String,
) -> ComparedRow {
    let tested = (gate == "valid")
        .then_some(())
        .and(c.measured.zip(c.low).zip(c.high));
    let (class, shape, verdict) = match tested {
        None => ("soft", "–", T.not_compared),
        Some(((measured, low), _)) if measured < low => ("off", "▼", T.below),
        Some(((measured, _), high)) if measured > high => ("off", "▲", T.above),
        Some(_) => ("good", "✓", T.within),
    };
    let band = match (c.low, c.high) {
        (Some(low), Some(high)) => format!("({} – {})", text(Some(low)), text(Some(high))),
        _ => String::new(),
    };
    ComparedRow {
        name,
        now,
        measured: text(c.measured),
        expected: text(c.expected),
        band,
        class,
        shape,
        verdict,
    }
}

fn supply(now: &Inverter) -> Vec<(String, String)> {
    let volts = now.supply.voltage_v.iter().zip(1..);
    let volts = volts.map(|(v, n)| (format!("{} {n}", T.phase), show::number(*v, 1, "V")));
    let frequency = (
        T.frequency.to_owned(),
        show::number(now.supply.frequency_hz, 2, "Hz"),
    );
    volts.chain([frequency]).collect()
}

fn rules(now: &Inverter) -> String {
    let supply = &now.supply;
    let volts = |value| show::number(value, 1, "V");
    let mut text = format!(
        "{} {}: {} {} – {}",
        T.rules,
        supply.rules,
        T.allowed,
        volts(supply.lowest_v),
        volts(supply.highest_v)
    );
    if supply.sustained_highest_v.is_some() {
        text += &format!("; {} {}", T.sustained, volts(supply.sustained_highest_v));
    }
    text
}

fn morning(page: &Page, morning: &MorningSeen) -> MorningRow {
    MorningRow {
        at: show::local(morning.at, page.site.timezone),
        resistance: show::resistance(morning.isolation_resistance_ohm),
        is_low: morning.is_low,
        weather: match morning.is_wet {
            Some(true) => T.wet,
            Some(false) => T.dry,
            None => show::NOTHING,
        },
        lost: match morning.lost_min {
            0 => show::NOTHING.to_owned(),
            minutes => format!("{minutes} min"),
        },
    }
}
