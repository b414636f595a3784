//! Signing in and out.

use super::{Answer, Frame, filled};
use crate::web::access::{Refusal, Visit, set_cookie};
use crate::web::texts::Texts;
use crate::web::{Page, paths};
use askama::Template;
use axum::Extension;
use axum::extract::{Form, Query, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "web/sign_in.html")]
struct Shown {
    t: &'static Texts,
    frame: Frame,
    problem: &'static str,
    to: String,
}

/// Where to go afterwards.
#[derive(Debug, Deserialize)]
pub struct Then {
    #[serde(default)]
    to: String,
}

/// The page.
pub async fn page(
    State(page): State<Arc<Page>>,
    Query(then): Query<Then>,
    visit: Extension<Visit>,
) -> Answer {
    if visit.role.is_some() {
        return Ok(Redirect::to(paths::ours(&then.to)).into_response());
    }
    Ok(shown(&page, &visit, StatusCode::OK, "", &then.to))
}

fn shown(
    page: &Page,
    visit: &Visit,
    status: StatusCode,
    problem: &'static str,
    to: &str,
) -> Response {
    let t = visit.t;
    let shown = Shown {
        t,
        frame: Frame::new(page, visit, t.sign_in, ""),
        problem,
        to: paths::ours(to).to_owned(),
    };
    filled(status, &shown)
}

/// A password, and where to go.
#[derive(Deserialize)]
pub struct SignIn {
    password: String,
    #[serde(default)]
    to: String,
}

/// Takes a password.
pub async fn sign_in(
    State(page): State<Arc<Page>>,
    visit: Extension<Visit>,
    Form(form): Form<SignIn>,
) -> Response {
    let t = visit.t;
    let refused = |status, problem| shown(&page, &visit, status, problem, &form.to);
    match page.access.sign_in(visit.from, &form.password).await {
        Ok(session) => {
            tracing::info!(from = %visit.from, "signed in to the page");
            let mut answer = Redirect::to(paths::ours(&form.to)).into_response();
            let cookie = set_cookie(&page.access, &session);
            answer.headers_mut().insert(header::SET_COOKIE, cookie);
            answer
        }
        Err(Refusal::TooOften(wait)) => {
            let mut answer = refused(StatusCode::TOO_MANY_REQUESTS, t.too_often);
            let seconds = HeaderValue::from(wait.as_secs() + 1);
            answer.headers_mut().insert(header::RETRY_AFTER, seconds);
            answer
        }
        Err(Refusal::WrongPassword) => {
            tracing::warn!(from = %visit.from, "a wrong password for the page");
            refused(StatusCode::FORBIDDEN, t.wrong_password)
        }
        Err(Refusal::NoChance) => refused(StatusCode::INTERNAL_SERVER_ERROR, t.error),
    }
}

/// Ends the session.
pub async fn sign_out(State(page): State<Arc<Page>>, visit: Extension<Visit>) -> Response {
    if let Some(session) = &visit.session {
        page.access.sign_out(session);
    }
    Redirect::to(paths::SIGN_IN).into_response()
}
