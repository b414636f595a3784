//! The list of findings, one of them, and what people answer to it.

use super::rows::FindingRow;
use super::{Answer, Frame, filled, message};
use crate::store::{Response as Said, Said as Word, What};
use crate::text::evidence::{self, Row};
use crate::text::midnight;
use crate::web::access::Visit;
use crate::web::calendar;
use crate::web::texts::{Texts, Unfit};
use crate::web::view::finding::{Answered, all, one};
use crate::web::{Page, paths, show};
use analysis::reading::Time;
use askama::Template;
use axum::Extension;
use axum::extract::{Form, Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect};
use chrono::{Days, NaiveDate};
use serde::Deserialize;
use std::sync::Arc;

/// Ended ones that are shown; the others are in the table to download.
const MOST_ENDED: usize = 100;
/// Longest text, in characters; the form says so too.
const LONGEST_TEXT: usize = 1000;
const LONGEST_NAME: usize = 60;

#[derive(Template)]
#[template(path = "web/findings.html")]
struct List {
    t: &'static Texts,
    frame: Frame,
    standing: Vec<FindingRow>,
    ended: Vec<FindingRow>,
    more: String,
}

/// The list.
pub async fn list(State(page): State<Arc<Page>>, visit: Extension<Visit>) -> Answer {
    let t = visit.t;
    let found = page.view(|_, store| all(store)).await;
    let found = found.map_err(|why| message::unavailable(&page, t, &why))?;
    let now = page.clock.now();
    let (standing, ended): (Vec<_>, Vec<_>) = found.iter().partition(|a| a.finding.ended.is_none());
    let row = |a: &&Answered| FindingRow::new(&page, t, &a.brief(now));
    let more = ended.len().saturating_sub(MOST_ENDED);
    let list = List {
        t,
        frame: Frame::new(&page, &visit, t.findings, "/findings").live(),
        standing: standing.iter().map(row).collect(),
        ended: ended.iter().take(MOST_ENDED).map(row).collect(),
        more: if more > 0 {
            format!("+ {more}")
        } else {
            String::new()
        },
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
    answers: Vec<AnswerRow>,
    may_write: bool,
    tomorrow: String,
    in_a_week: String,
}

fn caution(t: &Texts, line: &str) -> (String, Option<&'static str>) {
    (line.to_owned(), (t.words.caution)(line))
}

struct CauseRow {
    name: String,
    percent: i64,
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
    let found = page.view(move |_, store| one(store, &id)).await;
    let found = found.map_err(|why| message::unavailable(&page, t, &why))?;
    let found = found.ok_or_else(|| message::nothing(&page, t))?;
    let frame = Frame::new(
        &page,
        &visit,
        t.finding_title(found.finding.kind, &found.finding.subject),
        "/findings",
    );
    Ok(filled(StatusCode::OK, &shown(&page, frame, &visit, &found)))
}

fn shown(page: &Page, frame: Frame, visit: &Visit, answered: &Answered) -> One {
    let t = visit.t;
    let (finding, timezone) = (&answered.finding, page.site.timezone);
    let local = |at: Time| show::local(t, at, timezone);
    let today = calendar::day_at(page.clock.now(), timezone);
    let later = |days| {
        today
            .checked_add_days(Days::new(days))
            .unwrap_or(today)
            .to_string()
    };
    let is_inverter = page
        .site
        .plant
        .inverters
        .iter()
        .any(|i| i.id == finding.subject.device);
    let began_on = calendar::day_at(finding.began, timezone).to_string();
    let day = is_inverter.then(|| paths::inverter_day(finding.subject.device.as_str(), &began_on));
    let causes = finding.causes.iter().map(|cause| CauseRow {
        name: cause.cause.clone(),
        percent: (cause.probability * 100.0).round() as i64,
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
        confidence: show::percent(t, Some(finding.confidence)),
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
        day: day.map(|day| format!("{day}#day")).unwrap_or_default(),
        answers: answers.collect(),
        may_write: visit.may_write(),
        tomorrow: later(1),
        in_a_week: later(7),
    }
}

/// What somebody answers.
#[derive(Debug, Deserialize)]
pub struct AnswerForm {
    what: String,
    #[serde(default)]
    who: String,
    #[serde(default)]
    text: String,
    #[serde(default)]
    until: String,
}

/// Takes an answer.
pub async fn answer(
    State(page): State<Arc<Page>>,
    Path(id): Path<String>,
    visit: Extension<Visit>,
    Form(form): Form<AnswerForm>,
) -> Answer {
    let t = visit.t;
    message::technicians_only(&page, &visit)?;
    let wanted = id.clone();
    let found = page.view(move |_, store| one(store, &wanted)).await;
    let found = found.map_err(|why| message::unavailable(&page, t, &why))?;
    found.ok_or_else(|| message::nothing(&page, t))?;
    let said =
        said(&page, &visit, &id, &form).map_err(|what| message::bad_form(&page, t, &what))?;
    let heard = page.say(Word::Response(said)).await;
    heard.map_err(|why| message::not_heard(&page, t, why))?;
    let to = format!("{}#answers", paths::finding(&id));
    Ok(Redirect::to(&to).into_response())
}

fn said(page: &Page, visit: &Visit, id: &str, form: &AnswerForm) -> Result<Said, Unfit> {
    let what = What::ALL.into_iter().find(|what| what.name() == form.what);
    let what = what.ok_or_else(|| Unfit::Answer(form.what.clone()))?;
    let (text, now) = (form.text.trim(), page.clock.now());
    if text.chars().count() > LONGEST_TEXT {
        return Err(Unfit::LongText { most: LONGEST_TEXT });
    }
    if what == What::Note && text.is_empty() {
        return Err(Unfit::EmptyNote);
    }
    let until = match what {
        What::Snoozed => {
            let date: NaiveDate = form.until.parse().map_err(|_| Unfit::NoDate)?;
            let until = midnight(date, page.site.timezone);
            if until <= now {
                return Err(Unfit::Past(date));
            }
            Some(until)
        }
        What::Acknowledged | What::Note => None,
    };
    Ok(Said {
        finding: id.to_owned(),
        at: now,
        who: who(visit, &form.who)?,
        what,
        until,
        text: text.to_owned(),
    })
}

/// The name that somebody gives, with the role that he proved.
pub fn who(visit: &Visit, name: &str) -> Result<String, Unfit> {
    let name = name.trim();
    if name.chars().count() > LONGEST_NAME || name.chars().any(char::is_control) {
        return Err(Unfit::Name { most: LONGEST_NAME });
    }
    let role = visit.role.map_or("link", |role| role.name());
    Ok(match name {
        "" => role.to_owned(),
        name => format!("{name} ({role})"),
    })
}
