//! The list of findings, and one of them with what people have answered to it.
//! Never in here: taking an answer (`answering`).

use super::answering::{last_day, later};
use super::rows::FindingRow;
use super::{Answer, Frame, filled, message};
use crate::store::What;
use crate::text::evidence::{self, Row};
use crate::web::access::Visit;
use crate::web::calendar::{self, Length};
use crate::web::texts::Texts;
use crate::web::view::finding::{Answered, one, part};
use crate::web::{Page, paths, show};
use analysis::reading::Time;
use askama::Template;
use axum::Extension;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use serde::Deserialize;
use std::sync::Arc;

/// Ended ones that are shown at once; the table to download has all.
const MOST_ENDED: usize = 100;

#[derive(Template)]
#[template(path = "web/findings.html")]
struct List {
    t: &'static Texts,
    frame: Frame,
    standing: Vec<FindingRow>,
    ended: Vec<FindingRow>,
    /// Path of those before these; empty where there are none.
    older: String,
    /// Whether there are newer ones.
    is_later_part: bool,
}

/// Which part of the list.
#[derive(Debug, Deserialize)]
pub struct Which {
    before: Option<String>,
}

/// The list.
pub async fn list(
    State(page): State<Arc<Page>>,
    visit: Extension<Visit>,
    Query(which): Query<Which>,
) -> Answer {
    let t = visit.t;
    let is_later_part = which.before.is_some();
    let found = page
        .view(move |_, store| part(store, which.before.as_deref(), MOST_ENDED))
        .await;
    let found = found.map_err(|why| message::unavailable(&page, t, &why))?;
    let older = found.more_before.as_deref();
    let older = older.map(|id| format!("/findings?before={}", paths::encoded(id)));
    let found = found.findings;
    let now = page.clock.now();
    let (standing, ended): (Vec<_>, Vec<_>) = found.iter().partition(|a| a.finding.ended.is_none());
    let row = |a: &&Answered| FindingRow::new(&page, t, &a.brief(now));
    let list = List {
        t,
        frame: Frame::new(&page, &visit, t.findings, "/findings").live(),
        standing: standing.iter().map(row).collect(),
        ended: ended.iter().map(row).collect(),
        older: older.unwrap_or_default(),
        is_later_part,
    };
    Ok(filled(StatusCode::OK, &list))
}

#[derive(Template)]
#[template(path = "web/finding.html")]
struct One {
    t: &'static Texts,
    frame: Frame,
    f: FindingRow,
    began: String,
    found: String,
    ended: String,
    confidence: String,
    /// As the analysis has it, and in the language of the page if that is another.
    caution: Vec<(String, Option<&'static str>)>,
    caution_is_translated: bool,
    advice: Vec<String>,
    causes: Vec<CauseRow>,
    evidence: Vec<Row>,
    day: String,
    chart: Option<Chart>,
    answers: Vec<AnswerRow>,
    may_write: bool,
    tomorrow: String,
    /// Until when it waits unless another day is chosen, and the last that may be.
    usual_day: String,
    last_day: String,
}

fn caution(t: &Texts, line: &str) -> (String, Option<&'static str>) {
    (line.to_owned(), (t.words.caution)(line))
}

/// The day on which it began.
struct Chart {
    date: String,
    svg: String,
    /// Makes it one of the input alone; empty where it is of the inverter.
    only: String,
}

struct CauseRow {
    name: String,
    /// How long its bar is.
    percent: i64,
    sure: String,
}

struct AnswerRow {
    what: String,
    at: String,
    who: String,
    text: String,
}

/// One of them.
pub async fn page(
    State(page): State<Arc<Page>>,
    Path(id): Path<String>,
    visit: Extension<Visit>,
) -> Answer {
    let t = visit.t;
    let read = page.view(move |page, store| {
        let Some(found) = one(store, &id)? else {
            return Ok(None);
        };
        let date = calendar::day_at(found.finding.began, page.site.timezone);
        let (from, to) = calendar::span(date, Length::Day, page.site.timezone);
        Ok(Some((found, store.has_slots(from, to)?)))
    });
    let read = read.await;
    let read = read.map_err(|why| message::unavailable(&page, t, &why))?;
    let (found, has_chart) = read.ok_or_else(|| message::nothing(&page, t))?;
    let frame = Frame::new(
        &page,
        &visit,
        t.finding_title(found.finding.kind, &found.finding.subject),
        "/findings",
    );
    Ok(filled(
        StatusCode::OK,
        &shown(&page, frame, &visit, (&found, has_chart)),
    ))
}

fn shown(
    page: &Page,
    frame: Frame,
    visit: &Visit,
    (answered, has_chart): (&Answered, bool),
) -> One {
    let t = visit.t;
    let (finding, timezone) = (&answered.finding, page.site.timezone);
    let local = |at: Time| show::local(t, at, timezone);
    let today = calendar::day_at(page.clock.now(), timezone);
    let last_day = last_day(today, finding.severity);
    let is_inverter = page
        .site
        .plant
        .inverters
        .iter()
        .any(|i| i.id == finding.subject.device);
    let began_on = calendar::day_at(finding.began, timezone);
    let device = finding.subject.device.as_str();
    let day = is_inverter.then(|| paths::inverter_day(device, &began_on.to_string()));
    let chart = day.as_ref().filter(|_| has_chart).map(|day| Chart {
        date: show::date(t, began_on),
        svg: format!("{day}/day.svg"),
        only: (finding.subject.input).map_or_else(String::new, |n| format!("&input={n}")),
    });
    let causes = finding.causes.iter().map(|cause| CauseRow {
        name: cause.cause.clone(),
        percent: (cause.probability * 100.0).round() as i64,
        sure: (t.words.sure)(cause.probability),
    });
    let answers = answered.responses.iter().map(|r| AnswerRow {
        what: match (r.what, r.until) {
            (What::Acknowledged, _) => t.acknowledged.to_owned(),
            (What::Snoozed, Some(until)) => {
                format!("{} {} {}", t.snoozed_word, t.until, local(until))
            }
            (What::Snoozed, None) => t.snoozed_word.to_owned(),
            (What::Note, _) => t.note_text.to_owned(),
        },
        at: local(r.at),
        who: r.who.clone(),
        text: r.text.clone(),
    });
    One {
        t,
        frame,
        f: FindingRow::new(page, t, &answered.brief(page.clock.now())),
        began: local(finding.began),
        found: local(finding.found),
        ended: finding.ended.map(local).unwrap_or_default(),
        confidence: (t.words.sure)(finding.confidence),
        caution: finding
            .caution
            .iter()
            .map(|line| caution(t, line))
            .collect(),
        caution_is_translated: finding
            .caution
            .iter()
            .any(|line| caution(t, line).1.is_some()),
        advice: finding.advice.clone(),
        causes: causes.collect(),
        evidence: evidence::rows(&finding.evidence, timezone),
        chart,
        day: day.map(|day| format!("{day}#day")).unwrap_or_default(),
        answers: answers.collect(),
        may_write: visit.may_write(),
        tomorrow: later(today, 1).to_string(),
        usual_day: later(today, 7).min(last_day).to_string(),
        last_day: last_day.to_string(),
    }
}
