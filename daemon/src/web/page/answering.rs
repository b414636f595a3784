//! What people answer to a finding: taken from the form, held against its limits, handed on.
//! Never in here: what follows from an answer.

use super::{Answer, message};
use crate::store::{Response as Said, Said as Word, What};
use crate::text::midnight;
use crate::web::access::Visit;
use crate::web::texts::Unfit;
use crate::web::view::finding::one;
use crate::web::{Page, calendar, paths};
use analysis::detect::Severity;
use analysis::reading::{Span, Time};
use axum::Extension;
use axum::extract::{Form, Path, State};
use axum::response::{IntoResponse, Redirect};
use chrono::{Days, NaiveDate};
use chrono_tz::Tz;
use serde::Deserialize;
use std::sync::Arc;

/// Longest text, in characters; the form says so too.
const LONGEST_TEXT: usize = 1000;
const LONGEST_NAME: usize = 60;
/// Longest time that a finding may wait [d] (judgement: more is forgotten).
const LONGEST_WAIT_DAYS: u64 = 31;
/// The same of a hazard: somebody looks at it every day.
const LONGEST_WAIT_OF_HAZARD: Span = Span::from_h(24);

/// So many days after a day.
pub fn later(today: NaiveDate, days: u64) -> NaiveDate {
    today.checked_add_days(Days::new(days)).unwrap_or(today)
}

/// The last day until which a finding may wait.
pub fn last_day(today: NaiveDate, severity: Severity) -> NaiveDate {
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
