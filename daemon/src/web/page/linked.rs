//! What links in mails open, without signing in: one finding, to say that it has been seen.

use super::{Answer, Frame, filled, message};
use crate::store::{Response as Said, Said as Word, What};
use crate::web::access::Visit;
use crate::web::link::{self, LinkError, Purpose};
use crate::web::texts::Texts;
use crate::web::view::finding::one;
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
    confirm(&page, &visit, &id, token.token, false).await
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
    let said = Said {
        finding: id.clone(),
        at: page.clock.now(),
        who: "link in a mail".to_owned(),
        what: What::Acknowledged,
        until: None,
        text: String::new(),
    };
    let answer = confirm(&page, &visit, &id, form.link, true).await?;
    let heard = page.say(Word::Response(said)).await;
    heard.map_err(|why| message::not_heard(&page, t, why))?;
    Ok(answer)
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

async fn confirm(
    page: &Arc<Page>,
    visit: &Visit,
    id: &str,
    link: String,
    is_done: bool,
) -> Result<Response, super::Failed> {
    let t = visit.t;
    let wanted = id.to_owned();
    let found = page.view(move |_, store| one(store, &wanted)).await;
    let found = found.map_err(|why| message::unavailable(page, t, &why))?;
    let found = found.ok_or_else(|| message::nothing(page, t))?;
    let shown = Confirm {
        t,
        frame: Frame::new(page, visit, t.findings, ""),
        finding: t.finding_title(found.finding.kind, &found.finding.subject),
        summary: found.finding.summary.clone(),
        path: format!(
            "/link/{}/{}",
            Purpose::Acknowledge.name(),
            paths::encoded(id)
        ),
        link,
        is_done,
    };
    Ok(filled(StatusCode::OK, &shown))
}
