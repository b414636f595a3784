//! The site file as it was understood.

use super::{Answer, Frame, filled};
use crate::web::Page;
use crate::web::access::Visit;
use crate::web::texts::Texts;
use crate::web::view::settings::{Group, settings};
use askama::Template;
use axum::Extension;
use axum::extract::State;
use axum::http::StatusCode;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "web/settings.html")]
struct Shown {
    t: &'static Texts,
    frame: Frame,
    groups: Vec<Group>,
}

/// The page.
pub async fn page(State(page): State<Arc<Page>>, visit: Extension<Visit>) -> Answer {
    let t = visit.t;
    let shown = Shown {
        t,
        frame: Frame::new(&page, &visit, t.settings, "/settings"),
        groups: settings(&page, t),
    };
    Ok(filled(StatusCode::OK, &shown))
}
