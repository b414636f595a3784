//! When somebody works on the plant.

use super::answering::who;
use super::overview::work_text;
use super::{Answer, Frame, filled, message};
use crate::store::{Maintenance, MaintenanceEnd, Said};
use crate::text;
use crate::web::Page;
use crate::web::access::Visit;
use crate::web::texts::{Texts, Unfit};
use crate::web::view::overview::Work;
use analysis::reading::{DeviceId, Span, Time};
use askama::Template;
use axum::Extension;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect};
use chrono::{NaiveDateTime, TimeZone};
use serde::Deserialize;
use std::sync::Arc;

/// Longest work that is planned at once (judgement: more is forgotten and hides everything).
const LONGEST: Span = Span::from_h(31 * 24);
const LONGEST_REASON: usize = 300;

#[derive(Template)]
#[template(path = "web/maintenance.html")]
struct Shown {
    t: &'static Texts,
    frame: Frame,
    works: Vec<WorkRow>,
    may_write: bool,
    devices: Vec<String>,
    from: String,
    to: String,
}

struct WorkRow {
    number: i64,
    text: String,
}

/// The page.
pub async fn page(State(page): State<Arc<Page>>, visit: Extension<Visit>) -> Answer {
    let t = visit.t;
    let planned = page
        .view(|page, store| store.numbered_maintenance_after(page.clock.now()))
        .await;
    let planned = planned.map_err(|why| message::unavailable(&page, t, &why))?;
    let local = |at: Time| text::local(at, page.site.timezone).replace(' ', "T");
    let now = page.clock.now();
    let shown = Shown {
        t,
        frame: Frame::new(&page, &visit, t.maintenance, "/maintenance"),
        works: planned
            .iter()
            .map(|(number, work)| WorkRow {
                number: *number,
                text: work_text(&page, t, &Work::of(work)),
            })
            .collect(),
        may_write: visit.may_write(),
        devices: devices(&page),
        from: local(now),
        to: local(now + Span::from_h(4)),
    };
    Ok(filled(StatusCode::OK, &shown))
}

fn devices(page: &Page) -> Vec<String> {
    let plant = &page.site.plant;
    let inverters = plant
        .inverters
        .iter()
        .map(|inverter| inverter.id.to_string());
    inverters
        .chain(plant.weather.iter().map(|device| device.id.to_string()))
        .collect()
}

/// What is planned.
#[derive(Debug, Deserialize)]
pub struct Plan {
    device: String,
    from: String,
    to: String,
    reason: String,
    #[serde(default)]
    who: String,
}

/// Takes a plan.
pub async fn plan(
    State(page): State<Arc<Page>>,
    visit: Extension<Visit>,
    Form(plan): Form<Plan>,
) -> Answer {
    let t = visit.t;
    message::technicians_only(&page, &visit)?;
    let work = work(&page, &visit, &plan).map_err(|what| message::bad_form(&page, t, &what))?;
    let heard = page.say(Said::Maintenance(work)).await;
    heard.map_err(|why| message::not_heard(&page, t, why))?;
    Ok(Redirect::to("/maintenance").into_response())
}

/// Which work is over.
#[derive(Debug, Deserialize)]
pub struct End {
    work: i64,
}

/// Ends work early, or calls it off.
pub async fn end(
    State(page): State<Arc<Page>>,
    visit: Extension<Visit>,
    Form(end): Form<End>,
) -> Answer {
    let t = visit.t;
    message::technicians_only(&page, &visit)?;
    let planned = page
        .view(|page, store| store.numbered_maintenance_after(page.clock.now()))
        .await;
    let planned = planned.map_err(|why| message::unavailable(&page, t, &why))?;
    // What is over already need not be ended: the button was pressed twice.
    if planned.iter().any(|(number, _)| *number == end.work) {
        let who = who(&visit, "").map_err(|what| message::bad_form(&page, t, &what))?;
        let said = MaintenanceEnd {
            work: end.work,
            at: page.clock.now(),
            who,
        };
        let heard = page.say(Said::MaintenanceEnd(said)).await;
        heard.map_err(|why| message::not_heard(&page, t, why))?;
    }
    Ok(Redirect::to("/maintenance").into_response())
}

fn work(page: &Page, visit: &Visit, plan: &Plan) -> Result<Maintenance, Unfit> {
    let device = match plan.device.as_str() {
        "" => None,
        name if devices(page).iter().any(|known| known == name) => Some(DeviceId::new(name)),
        name => return Err(Unfit::Device(name.to_owned())),
    };
    let (from, to) = (at(page, &plan.from)?, at(page, &plan.to)?);
    if to <= from {
        return Err(Unfit::EndsBefore);
    }
    if to - from > LONGEST {
        return Err(Unfit::TooLong);
    }
    let reason = plan.reason.trim();
    if reason.is_empty() || reason.chars().count() > LONGEST_REASON {
        return Err(Unfit::Reason {
            most: LONGEST_REASON,
        });
    }
    Ok(Maintenance {
        device,
        from,
        to,
        at: page.clock.now(),
        who: who(visit, &plan.who)?,
        reason: reason.to_owned(),
    })
}

/// A time of the site as forms write it.
fn at(page: &Page, text: &str) -> Result<Time, Unfit> {
    let formats = ["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"];
    let parsed = formats
        .iter()
        .find_map(|f| NaiveDateTime::parse_from_str(text, f).ok());
    let local = parsed.ok_or_else(|| Unfit::Time(text.to_owned()))?;
    let there = page.site.timezone.from_local_datetime(&local).earliest();
    let there = there.ok_or_else(|| Unfit::NeverShown(text.to_owned()))?;
    Ok(Time::from_unix_ms(there.timestamp_millis()))
}
