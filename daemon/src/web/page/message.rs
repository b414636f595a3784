//! A page that only says something, mostly why there is no other. What went wrong inside is logged;
//! here is nothing of it that names a file of this machine.

use super::{Failed, Frame, T, filled};
use crate::web::access::Visit;
use crate::web::reading::Unavailable;
use crate::web::texts::Texts;
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
pub fn say(page: &Page, status: StatusCode, title: &str, text: impl Into<String>) -> Response {
    let message = Message {
        t: T,
        frame: Frame::bare(page, title),
        text: text.into(),
    };
    filled(status, &message)
}

/// No such page.
pub async fn not_found(State(page): State<Arc<Page>>, visit: Extension<Visit>) -> Response {
    let message = Message {
        t: T,
        frame: Frame::new(&page, &visit, T.error, ""),
        text: T.not_found.to_owned(),
    };
    filled(StatusCode::NOT_FOUND, &message)
}

/// No such thing.
pub fn nothing(page: &Page) -> Failed {
    say(page, StatusCode::NOT_FOUND, T.error, T.not_found).into()
}

/// The store cannot be read now.
pub fn unavailable(page: &Page, why: &Unavailable) -> Failed {
    let text = match why {
        Unavailable::Busy => T.busy,
        Unavailable::Store(_) => T.not_stored,
    };
    say(page, StatusCode::SERVICE_UNAVAILABLE, T.error, text).into()
}

/// What was said is not stored.
pub fn not_heard(page: &Page, why: NotHeard) -> Failed {
    let text = match why {
        NotHeard::Busy => T.busy,
        NotHeard::NotStored => T.not_stored,
    };
    say(page, StatusCode::SERVICE_UNAVAILABLE, T.error, text).into()
}

/// Refuses what only technicians may say.
pub fn technicians_only(page: &Page, visit: &Visit) -> Result<(), Failed> {
    match visit.may_write() {
        true => Ok(()),
        false => Err(say(page, StatusCode::FORBIDDEN, T.error, T.not_allowed).into()),
    }
}

/// Something in a form cannot be.
pub fn bad_form(page: &Page, what: &str) -> Failed {
    let text = format!("{}{what}", T.bad_form);
    say(page, StatusCode::BAD_REQUEST, T.error, text).into()
}

/// Somebody is not let in; programs get a word, people a page.
pub fn refused(page: &Page, status: StatusCode, is_for_programs: bool) -> Response {
    let text = match status {
        StatusCode::MISDIRECTED_REQUEST => T.wrong_host,
        StatusCode::FORBIDDEN => T.form_refused,
        StatusCode::TOO_MANY_REQUESTS => T.too_often,
        StatusCode::UNAUTHORIZED => T.wrong_password,
        StatusCode::SERVICE_UNAVAILABLE => T.busy,
        _ => T.error,
    };
    if !is_for_programs {
        return say(page, status, T.error, text);
    }
    let body = serde_json::json!({ "error": text }).to_string();
    let kind = [(header::CONTENT_TYPE, "application/json")];
    let mut answer = (status, kind, body).into_response();
    if status == StatusCode::UNAUTHORIZED {
        let how = HeaderValue::from_static("Basic realm=\"noonmark\", charset=\"UTF-8\"");
        answer.headers_mut().insert(header::WWW_AUTHENTICATE, how);
    }
    answer
}
