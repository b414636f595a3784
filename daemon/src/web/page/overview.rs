//! The first page: one sentence, and what it rests on.

use super::rows::{FindingRow, curve};
use super::{Answer, Frame, filled, message};
use crate::web::access::Visit;
use crate::web::calendar::{self, Length};
use crate::web::texts::Texts;
use crate::web::view::device::Freshness;
use crate::web::view::overview::{Overview, Source, Verdict, Work};
use crate::web::{Page, paths, show};
use analysis::reading::{Span, Time};
use askama::Template;
use axum::Extension;
use axum::extract::State;
use axum::http::StatusCode;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "web/overview.html")]
struct Shown {
    t: &'static Texts,
    frame: Frame,
    verdict: &'static str,
    shape: &'static str,
    sentence: String,
    works: Vec<String>,
    late: String,
    findings: Vec<FindingRow>,
    snoozed: Vec<FindingRow>,
    measured: String,
    expected: String,
    share: String,
    curve: String,
    limited: Vec<String>,
    inverters: Vec<InverterRow>,
    sources: Vec<SourceRow>,
}

struct InverterRow {
    path: String,
    name: String,
    about: String,
}

struct SourceRow {
    name: String,
    class: &'static str,
    shape: &'static str,
    text: String,
}

/// The page.
pub async fn page(State(page): State<Arc<Page>>, visit: Extension<Visit>) -> Answer {
    let t = visit.t;
    let o = page.overview().await;
    let o = o.map_err(|why| message::unavailable(&page, t, &why))?;
    let frame = Frame::new(&page, &visit, t.overview, "/").live();
    Ok(filled(StatusCode::OK, &shown(&page, t, frame, &o)))
}

fn shown(page: &Page, t: &'static Texts, frame: Frame, o: &Overview) -> Shown {
    let (verdict, shape) = match o.verdict {
        Verdict::AsExpected => ("good", "✓"),
        Verdict::Dark => ("good", "☾"),
        Verdict::Attention => ("bad", "▲"),
        Verdict::Waiting => ("bad", "▲"),
        Verdict::HeldBack | Verdict::Low => ("open", "◇"),
        Verdict::Unknown | Verdict::NotRecorded => ("open", "?"),
    };
    let row = |brief| FindingRow::new(page, t, brief);
    let limited = o.limited.iter().map(|l| {
        let (wh, limit) = (show::energy(t, l.held_back_wh), t.limit(l.limit));
        format!("{}: {wh}, {limit}", l.device)
    });
    let inverters = page
        .site
        .plant
        .inverters
        .iter()
        .map(|inverter| InverterRow {
            path: format!("/inverters/{}", paths::encoded(inverter.id.as_str())),
            name: inverter.id.to_string(),
            about: format!(
                "{} · {}",
                show::power(t, Some(inverter.rated_ac.w())),
                (t.words.inputs)(inverter.inputs.len())
            ),
        });
    Shown {
        t,
        frame,
        verdict,
        shape,
        sentence: (t.words.sentence)(o),
        works: o
            .maintenance
            .iter()
            .map(|work| work_text(page, t, work))
            .collect(),
        late: (t.words.late)(o.deliveries_late_count),
        findings: o.findings.iter().map(row).collect(),
        snoozed: o.snoozed.iter().map(row).collect(),
        measured: show::energy(t, o.today.measured_wh),
        expected: show::energy(t, o.today.expected_wh),
        share: show::percent(t, o.today.ratio),
        curve: curve(page, t, &o.today.curve, light(page, o)),
        limited: limited.collect(),
        inverters: inverters.collect(),
        sources: o.sources.iter().map(|s| source(t, s)).collect(),
    }
}

/// From the first to the last moment of the day in which something was or could have been produced,
/// as far as it is known by now; the whole of it is never less than the hours round noon.
fn light(page: &Page, o: &Overview) -> (i64, i64) {
    let date = calendar::day_at(page.clock.now(), page.site.timezone);
    let (from, to) = calendar::span(date, Length::Day, page.site.timezone);
    let noon = (from.unix_ms() + (to - from).half().ms()) / 1000;
    let hours = Span::from_h(6).ms() / 1000;
    let lit = o
        .today
        .curve
        .iter()
        .filter(|p| p.expected_w.unwrap_or(0.0) > 0.0 || p.measured_w.unwrap_or(0.0) > 0.0);
    let lit: Vec<i64> = lit.map(|point| point.at_unix_s).collect();
    let first = lit.first().copied().unwrap_or(noon).min(noon - hours);
    let last = lit.last().copied().unwrap_or(noon).max(noon + hours);
    (first, last)
}

fn source(t: &Texts, source: &Source) -> SourceRow {
    let age = source.silent_s.map(|s| show::ago(t, Span::from_s(s)));
    let trouble = source.trouble.map(|name| trouble_text(t, name));
    let (class, shape, word) = match source.freshness {
        Freshness::Fresh => ("fresh", "●", t.fresh),
        Freshness::Asleep => ("asleep", "☾", t.asleep),
        Freshness::Silent => ("silent", "✕", t.silent),
        Freshness::NotYet => ("silent", "○", t.not_yet),
    };
    let parts = [Some(word.to_owned()), age, trouble.map(str::to_owned)];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    SourceRow {
        name: source.device.clone(),
        class,
        shape,
        text: parts.join(" · "),
    }
}

/// What is wrong with a device.
pub fn trouble_text(t: &Texts, name: &str) -> &'static str {
    match name {
        "refused" => t.trouble_refused,
        "undecodable" => t.trouble_undecodable,
        _ => t.trouble_link,
    }
}

/// Work on the plant in one line.
pub fn work_text(page: &Page, t: &Texts, work: &Work) -> String {
    let local = |at: Time| show::local(t, at, page.site.timezone);
    let device = work.device.as_deref().unwrap_or(t.whole_site);
    let (from, to) = (local(work.from), local(work.to));
    format!(
        "{}: {device}, {from} {} {to}: {} ({})",
        t.maintenance, t.until, work.reason, work.who
    )
}
