//! A page that only says something, mostly why there is no other. What went wrong inside is logged;
//! here is nothing of it that names a file of this machine.

use super::{Failed, Frame, filled};
use crate::web::access::Visit;
use crate::web::reading::Unavailable;
use crate::web::texts::{ENGLISH, Texts, Unfit};
use crate::web::{NotHeard, Page};
use askama::Template;
use axum::Extension;
use axum::extract::State;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "web/message.html")]
struct Message {
    t: &'static Texts,
    frame: Frame,
    text: String,
}

/// Says something.
pub fn say(
    page: &Page,
    t: &'static Texts,
    status: StatusCode,
    title: &str,
    text: impl Into<String>,
) -> Response {
    let message = Message {
        t,
        frame: Frame::bare(page, t, title),
        text: text.into(),
    };
    filled(status, &message)
}

/// No such page.
pub async fn not_found(State(page): State<Arc<Page>>, visit: Extension<Visit>) -> Response {
    let t = visit.t;
    let message = Message {
        t,
        frame: Frame::new(&page, &visit, t.error, ""),
        text: t.not_found.to_owned(),
    };
    filled(StatusCode::NOT_FOUND, &message)
}

/// No such thing.
pub fn nothing(page: &Page, t: &'static Texts) -> Failed {
    say(page, t, StatusCode::NOT_FOUND, t.error, t.not_found).into()
}

/// The store cannot be read now.
pub fn unavailable(page: &Page, t: &'static Texts, why: &Unavailable) -> Failed {
    let text = match why {
        Unavailable::Busy => t.busy,
        Unavailable::Store(_) => t.not_stored,
    };
    say(page, t, StatusCode::SERVICE_UNAVAILABLE, t.error, text).into()
}

/// What was said is not stored.
pub fn not_heard(page: &Page, t: &'static Texts, why: NotHeard) -> Failed {
    let text = match why {
        NotHeard::Busy => t.busy,
        NotHeard::NotStored => t.not_stored,
    };
    say(page, t, StatusCode::SERVICE_UNAVAILABLE, t.error, text).into()
}

/// Refuses what only technicians may say.
pub fn technicians_only(page: &Page, visit: &Visit) -> Result<(), Failed> {
    let t = visit.t;
    match visit.may_write() {
        true => Ok(()),
        false => Err(say(page, t, StatusCode::FORBIDDEN, t.error, t.not_allowed).into()),
    }
}

/// Something in a form cannot be.
pub fn bad_form(page: &Page, t: &'static Texts, what: &Unfit) -> Failed {
    let text = format!("{}{}", t.bad_form, (t.words.unfit)(what));
    say(page, t, StatusCode::BAD_REQUEST, t.error, text).into()
}

/// Somebody is not let in; programs get a word, people a page.
pub fn refused(
    page: &Page,
    t: &'static Texts,
    status: StatusCode,
    is_for_programs: bool,
) -> Response {
    // Programs are told in English.
    let t = if is_for_programs { &ENGLISH } else { t };
    let text = match status {
        StatusCode::MISDIRECTED_REQUEST => t.wrong_host,
        StatusCode::FORBIDDEN => t.form_refused,
        StatusCode::TOO_MANY_REQUESTS => t.too_often,
        StatusCode::UNAUTHORIZED => t.wrong_password,
        StatusCode::SERVICE_UNAVAILABLE => t.busy,
        _ => t.error,
    };
    if !is_for_programs {
        return say(page, t, status, t.error, text);
    }
    let body = serde_json::json!({ "error": text }).to_string();
    let kind = [(header::CONTENT_TYPE, "application/json")];
    let mut answer = (status, kind, body).into_response();
    if status == StatusCode::METHOD_NOT_ALLOWED {
        let ways = HeaderValue::from_static("GET, HEAD");
        answer.headers_mut().insert(header::ALLOW, ways);
    }
    if status == StatusCode::UNAUTHORIZED {
        let how = HeaderValue::from_static("Basic realm=\"noonmark\", charset=\"UTF-8\"");
        answer.headers_mut().insert(header::WWW_AUTHENTICATE, how);
    }
    answer
}
