//! Pages for people: each takes its view, turns it into texts and fills a template.
//! Never in here: reading the store beyond a view, or deciding what is wrong.

mod days;
mod design;
mod devices;
mod files;
mod finding;
mod inverter;
mod inverter_rows;
mod ledger;
mod linked;
mod maintenance;
pub mod message;
mod overview;
mod performance;
mod rows;
mod settings;
mod sign_in;

use super::access::{Visit, gate};
use super::texts::{ENGLISH, Texts};
use super::{Page, api, assets, live, show};
use askama::Template;
use axum::Router;
use axum::http::StatusCode;
use axum::middleware::from_fn_with_state;
use axum::response::{Html, IntoResponse, Response};
use axum::routing::{get, post};
use std::sync::Arc;

/// The language of the pages.
pub(super) const T: &Texts = ENGLISH;

/// Every page, behind the gate.
pub fn router(page: Arc<Page>) -> Router {
    let pages = Router::new()
        .route("/", get(overview::page))
        .route("/today.csv", get(files::today))
        .route("/inverters/{id}", get(inverter::today))
        .route("/inverters/{id}/days/{date}", get(inverter::page))
        .route("/inverters/{id}/days/{date}/day.svg", get(days::picture))
        .route("/inverters/{id}/days/{date}/day.csv", get(days::table))
        .route("/findings", get(finding::list))
        .route("/findings.csv", get(files::findings))
        .route("/findings/{id}", get(finding::page))
        .route("/findings/{id}/answers", post(finding::answer))
        .route("/ledger", get(ledger::this_month))
        .route("/ledger/{length}", get(ledger::page))
        .route("/ledger/{length}/{date}/ledger.csv", get(files::ledger))
        .route("/performance", get(performance::months))
        .route("/performance/{length}", get(performance::page))
        .route(
            "/performance/{length}/performance.csv",
            get(files::performance),
        )
        .route("/devices", get(devices::page))
        .route(
            "/maintenance",
            get(maintenance::page).post(maintenance::plan),
        )
        .route("/design", get(design::page))
        .route("/settings", get(settings::page))
        .route("/sign-in", get(sign_in::page).post(sign_in::sign_in))
        .route("/sign-out", post(sign_in::sign_out))
        .route(
            "/link/{purpose}/{id}",
            get(linked::page).post(linked::follow),
        )
        .route("/live", get(live::changes))
        .route("/assets/{name}", get(assets::asset));
    pages
        .merge(api::routes())
        .fallback(message::not_found)
        .layer(from_fn_with_state(page.clone(), gate))
        .with_state(page)
}

/// Instead of a page: why there is none.
pub struct Failed(Box<Response>);

impl IntoResponse for Failed {
    fn into_response(self) -> Response {
        *self.0
    }
}

impl From<Response> for Failed {
    fn from(response: Response) -> Self {
        Self(Box::new(response))
    }
}

/// A page, or why not.
pub type Answer = Result<Response, Failed>;

/// What every page has round its content.
pub struct Frame {
    title: String,
    site: String,
    now: String,
    version: &'static str,
    menu: Vec<MenuItem>,
    shows_menu: bool,
    is_live: bool,
    is_signed_in: bool,
    role: &'static str,
    token: String,
}

/// A place in the menu.
pub struct MenuItem {
    name: &'static str,
    path: &'static str,
    is_here: bool,
    /// Only at the foot of the page where there is no room at its head.
    is_minor: bool,
}

/// Name, path, and whether it is minor.
const MENU: [(&str, &str, bool); 8] = [
    (T.overview, "/", false),
    (T.findings, "/findings", false),
    (T.ledger, "/ledger", false),
    (T.performance, "/performance", true),
    (T.devices, "/devices", true),
    (T.maintenance, "/maintenance", true),
    (T.design, "/design", true),
    (T.settings, "/settings", true),
];

impl Frame {
    /// Round a page for a visitor; `here` is the path in the menu under which it belongs.
    fn new(page: &Page, visit: &Visit, title: impl Into<String>, here: &str) -> Self {
        let item = |(name, path, is_minor): (&'static str, &'static str, bool)| MenuItem {
            name,
            path,
            is_here: path == here,
            is_minor,
        };
        Self {
            is_signed_in: page.access.has_password() && visit.role.is_some(),
            role: visit.role.map_or("", |role| role.name()),
            token: visit.token.clone(),
            shows_menu: visit.role.is_some(),
            menu: MENU.into_iter().map(item).collect(),
            ..Self::bare(page, title)
        }
    }

    /// Round a message for whom nothing is known of.
    fn bare(page: &Page, title: impl Into<String>) -> Self {
        Self {
            title: title.into(),
            site: page.site.plant.site.name.clone(),
            now: show::local(page.clock.now(), page.site.timezone),
            version: assets::version(),
            menu: Vec::new(),
            shows_menu: false,
            is_live: false,
            is_signed_in: false,
            role: "",
            token: String::new(),
        }
    }

    /// The same of a page that follows what happens.
    fn live(self) -> Self {
        Self {
            is_live: true,
            ..self
        }
    }
}

/// Fills a template.
fn filled(status: StatusCode, template: &impl Template) -> Response {
    match template.render() {
        Ok(html) => (status, Html(html)).into_response(),
        Err(error) => {
            tracing::error!(%error, "a page cannot be written");
            StatusCode::INTERNAL_SERVER_ERROR.into_response()
        }
    }
}
