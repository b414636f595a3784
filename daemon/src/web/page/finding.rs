//! The list of findings, one of them, and what people answer to it.

use super::rows::FindingRow;
use super::{Answer, Frame, filled, message};
use crate::store::{Response as Said, Said as Word, What};
use crate::text::evidence::{self, Row};
use crate::text::midnight;
use crate::web::access::Visit;
use crate::web::calendar;
use crate::web::texts::{Texts, Unfit};
use crate::web::view::finding::{Answered, one, part};
use crate::web::{Page, paths, show};
use analysis::detect::Severity;
use analysis::reading::{Span, Time};
use askama::Template;
use axum::Extension;
use axum::extract::{Form, Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect};
use chrono::{Days, NaiveDate};
use chrono_tz::Tz;
use serde::Deserialize;
use std::sync::Arc;

/// Ended ones that are shown at once; the table to download has all.
const MOST_ENDED: usize = 100;
/// Longest text, in characters; the form says so too.
const LONGEST_TEXT: usize = 1000;
const LONGEST_NAME: usize = 60;
/// Longest time that a finding may wait [d] (judgement: more is forgotten).
const LONGEST_WAIT_DAYS: u64 = 31;
/// The same of a hazard: somebody looks at it every day.
const LONGEST_WAIT_OF_HAZARD: Span = Span::from_h(24);

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
    let last_day = last_day(today, finding.severity);
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
        day: day.map(|day| format!("{day}#day")).unwrap_or_default(),
        answers: answers.collect(),
        may_write: visit.may_write(),
        tomorrow: later(today, 1).to_string(),
        usual_day: later(today, 7).min(last_day).to_string(),
        last_day: last_day.to_string(),
    }
}

fn later(today: NaiveDate, days: u64) -> NaiveDate {
    today.checked_add_days(Days::new(days)).unwrap_or(today)
}

/// The last day until which a finding may wait.
fn last_day(today: NaiveDate, severity: Severity) -> NaiveDate {
    match severity {
        Severity::Now => later(today, 1),
        Severity::Note | Severity::Plan | Severity::Soon => later(today, LONGEST_WAIT_DAYS),
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
    let found = found.ok_or_else(|| message::nothing(&page, t))?;
    let severity = found.finding.severity;
    let said = said(&page, &visit, (&id, severity), &form);
    let said = said.map_err(|what| message::bad_form(&page, t, &what))?;
    let heard = page.say(Word::Response(said)).await;
    heard.map_err(|why| message::not_heard(&page, t, why))?;
    let to = format!("{}#answers", paths::finding(&id));
    Ok(Redirect::to(&to).into_response())
}

fn said(
    page: &Page,
    visit: &Visit,
    (id, severity): (&str, Severity),
    form: &AnswerForm,
) -> Result<Said, Unfit> {
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
            Some(until(date, severity, now, page.site.timezone)?)
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

/// Until when a finding waits: midnight of a day that is neither past nor too far.
fn until(date: NaiveDate, severity: Severity, now: Time, timezone: Tz) -> Result<Time, Unfit> {
    let (until, is_hazard) = (midnight(date, timezone), severity == Severity::Now);
    if until <= now {
        return Err(Unfit::Past(date));
    }
    let last = last_day(calendar::day_at(now, timezone), severity);
    if date > last {
        return Err(Unfit::TooFar { last, is_hazard });
    }
    // A day on which the clock is put back is longer.
    let longest = now + LONGEST_WAIT_OF_HAZARD;
    Ok(if is_hazard { until.min(longest) } else { until })
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hazard_waits_a_day_and_nothing_longer_than_a_month() {
        let zone: Tz = "Europe/Vienna".parse().expect("a zone");
        let date = |text: &str| text.parse::<NaiveDate>().expect("a date");
        // 00:10 at the site, on a day of 25 hours.
        let now = midnight(date("2026-10-25"), zone) + Span::from_min(10);
        let wait = |day, severity| until(date(day), severity, now, zone);
        let hazard = wait("2026-10-26", Severity::Now).expect("tomorrow");
        assert_eq!(hazard - now, Span::from_h(24));
        let too_far = |result| matches!(result, Err(Unfit::TooFar { .. }));
        assert!(too_far(wait("2026-10-27", Severity::Now)));
        let month = wait("2026-11-25", Severity::Soon).expect("31 days");
        assert_eq!(month, midnight(date("2026-11-25"), zone));
        assert!(too_far(wait("2026-11-26", Severity::Plan)));
        assert!(matches!(
            wait("2026-10-25", Severity::Soon),
            Err(Unfit::Past(_))
        ));
    }
}
