//! Pages for people: each takes its view, turns it into texts and fills a template.
//! Never in here: reading the store beyond a view, or deciding what is wrong.

mod answering;
mod days;
mod design;
mod devices;
mod files;
mod finding;
mod inverter;
mod inverter_rows;
mod language;
mod ledger;
mod linked;
mod maintenance;
pub mod message;
mod overview;
mod performance;
mod registers;
mod rows;
mod settings;
mod sign_in;

use super::access::{Role, Visit, gate};
use super::texts::{self, Texts};
use super::{Page, api, assets, live, show};
use askama::Template;
use axum::Router;
use axum::http::StatusCode;
use axum::middleware::from_fn_with_state;
use axum::response::{Html, IntoResponse, Response};
use axum::routing::{get, post};
use std::sync::Arc;

/// Every page, behind the gate.
pub fn router(page: Arc<Page>) -> Router {
    let pages = Router::new()
        .route("/", get(overview::page))
        .route("/today.csv", get(files::today))
        .route("/inverters/{id}", get(inverter::today))
        .route("/inverters/{id}/days/{date}", get(inverter::page))
        .route("/inverters/{id}/days/{date}/day.svg", get(days::picture))
        .route("/inverters/{id}/days/{date}/day.csv", get(days::table))
        .route(
            "/inverters/{id}/days/{date}/inputs/{number}/curve.svg",
            get(days::curve),
        )
        .route("/findings", get(finding::list))
        .route("/findings.csv", get(files::findings))
        .route("/findings/{id}", get(finding::page))
        .route("/findings/{id}/answers", post(answering::answer))
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
        .route("/devices/{id}/registers", get(registers::page))
        .route(
            "/maintenance",
            get(maintenance::page).post(maintenance::plan),
        )
        .route("/maintenance/end", post(maintenance::end))
        .route("/design", get(design::page))
        .route("/settings", get(settings::page))
        .route("/sign-in", get(sign_in::page).post(sign_in::sign_in))
        .route("/sign-out", post(sign_in::sign_out))
        .route(
            "/link/{purpose}/{id}",
            get(linked::page).post(linked::follow),
        )
        .route("/language", post(language::choose))
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
    /// Codes and names of the other languages.
    languages: Vec<(&'static str, &'static str)>,
    /// Where somebody is, so that he stays there in another language.
    here: String,
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
const fn menu(t: &Texts) -> [(&'static str, &'static str, bool); 8] {
    [
        (t.overview, "/", false),
        (t.findings, "/findings", false),
        (t.ledger, "/ledger", false),
        (t.performance, "/performance", true),
        (t.devices, "/devices", true),
        (t.maintenance, "/maintenance", true),
        (t.design, "/design", true),
        (t.settings, "/settings", true),
    ]
}

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
            role: visit.role.map_or("", |role| role_word(visit.t, role)),
            token: visit.token.clone(),
            shows_menu: visit.role.is_some(),
            menu: menu(visit.t).into_iter().map(item).collect(),
            languages: others(visit.t),
            here: visit.path.clone(),
            ..Self::bare(page, visit.t, title)
        }
    }

    /// Round a message for whom nothing is known of.
    fn bare(page: &Page, t: &Texts, title: impl Into<String>) -> Self {
        Self {
            title: title.into(),
            site: page.site.plant.site.name.clone(),
            now: show::local(t, page.clock.now(), page.site.timezone),
            version: assets::version(),
            menu: Vec::new(),
            shows_menu: false,
            is_live: false,
            is_signed_in: false,
            role: "",
            token: String::new(),
            languages: Vec::new(),
            here: String::new(),
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

fn others(t: &Texts) -> Vec<(&'static str, &'static str)> {
    let others = texts::ALL.into_iter().filter(|other| other.lang != t.lang);
    others.map(|other| (other.lang, other.words.name)).collect()
}

fn role_word(t: &Texts, role: Role) -> &'static str {
    match role {
        Role::Reader => t.reader,
        Role::Technician => t.technician,
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
