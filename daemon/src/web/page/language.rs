//! Which language somebody wants to read.

use super::message;
use crate::web::access::Visit;
use crate::web::{Page, paths, texts};
use axum::Extension;
use axum::extract::{Form, State};
use axum::http::header;
use axum::response::{IntoResponse, Redirect};
use serde::Deserialize;
use std::sync::Arc;

/// A language, and where to go then.
#[derive(Debug, Deserialize)]
pub struct Choice {
    language: String,
    #[serde(default)]
    to: String,
}

/// Keeps it in a cookie.
pub async fn choose(
    State(page): State<Arc<Page>>,
    visit: Extension<Visit>,
    Form(choice): Form<Choice>,
) -> super::Answer {
    let chosen = texts::of_code(&choice.language);
    let chosen = chosen.ok_or_else(|| message::nothing(&page, visit.t))?;
    let mut answer = Redirect::to(paths::ours_or_sign_in(&choice.to)).into_response();
    let cookie = page.access.keep_language(chosen.lang);
    answer.headers_mut().insert(header::SET_COOKIE, cookie);
    Ok(answer)
}
