//! What links in mails open, without signing in: one finding, to say that it has been seen.

use super::{Answer, Frame, filled, message};
use crate::store::{Response as Said, Said as Word, What};
use crate::web::access::Visit;
use crate::web::link::{self, LinkError, Purpose};
use crate::web::texts::Texts;
use crate::web::view::finding::{Answered, one};
use crate::web::{Page, paths};
use askama::Template;
use axum::Extension;
use axum::extract::{Form, Path, Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "web/confirm.html")]
struct Confirm {
    t: &'static Texts,
    frame: Frame,
    finding: String,
    summary: String,
    path: String,
    link: String,
    is_done: bool,
}

/// The token in the link.
#[derive(Debug, Deserialize)]
pub struct Token {
    #[serde(default)]
    token: String,
}

/// The form that repeats it.
#[derive(Debug, Deserialize)]
pub struct Follow {
    link: String,
}

/// Asks whether it is meant: programs that look into mails follow links too, and must not answer.
pub async fn page(
    State(page): State<Arc<Page>>,
    Path((purpose, id)): Path<(String, String)>,
    Query(token): Query<Token>,
    visit: Extension<Visit>,
) -> Answer {
    let t = visit.t;
    opened(&page, t, &purpose, &id, &token.token)?;
    let found = found(&page, t, &id).await?;
    Ok(confirm(&page, &visit, &found, token.token, false))
}

/// Does it.
pub async fn follow(
    State(page): State<Arc<Page>>,
    Path((purpose, id)): Path<(String, String)>,
    visit: Extension<Visit>,
    Form(form): Form<Follow>,
) -> Answer {
    let t = visit.t;
    opened(&page, t, &purpose, &id, &form.link)?;
    let found = found(&page, t, &id).await?;
    // A link that is followed again says nothing new, however often.
    if !found.is_acknowledged() {
        let said = Said {
            finding: id.clone(),
            at: page.clock.now(),
            who: "link in a mail".to_owned(),
            what: What::Acknowledged,
            until: None,
            text: String::new(),
        };
        let heard = page.say(Word::Response(said)).await;
        heard.map_err(|why| message::not_heard(&page, t, why))?;
    }
    Ok(confirm(&page, &visit, &found, form.link, true))
}

fn opened(
    page: &Page,
    t: &'static Texts,
    purpose: &str,
    id: &str,
    token: &str,
) -> Result<(), super::Failed> {
    if purpose != Purpose::Acknowledge.name() {
        return Err(message::nothing(page, t));
    }
    let (key, now) = (&page.access.key, page.clock.now());
    link::verify(key, Purpose::Acknowledge, id, token, now).map_err(|why| {
        let text = match why {
            LinkError::Wrong => t.link_wrong,
            LinkError::Expired => t.link_expired,
        };
        message::say(page, t, StatusCode::FORBIDDEN, t.error, text).into()
    })
}

async fn found(page: &Arc<Page>, t: &'static Texts, id: &str) -> Result<Answered, super::Failed> {
    let wanted = id.to_owned();
    let found = page.view(move |_, store| one(store, &wanted)).await;
    let found = found.map_err(|why| message::unavailable(page, t, &why))?;
    found.ok_or_else(|| message::nothing(page, t))
}

fn confirm(
    page: &Page,
    visit: &Visit,
    answered: &Answered,
    link: String,
    is_done: bool,
) -> Response {
    let (t, finding) = (visit.t, &answered.finding);
    let shown = Confirm {
        t,
        frame: Frame::new(page, visit, t.findings, ""),
        finding: t.finding_title(finding.kind, &finding.subject),
        summary: finding.summary.clone(),
        path: format!(
            "/link/{}/{}",
            Purpose::Acknowledge.name(),
            paths::encoded(finding.id.as_str())
        ),
        link,
        is_done,
    };
    filled(StatusCode::OK, &shown)
}
