//! The design against the limits of its equipment, as `noonmark check` prints it.

use super::{Answer, Frame, T, filled};
use crate::commands::check::with_unit;
use crate::web::access::Visit;
use crate::web::texts::Texts;
use crate::web::{Page, show};
use analysis::plant::design::{ASSUMED_COLDEST_DEGC, Check, Line, Verdict, check};
use askama::Template;
use axum::Extension;
use axum::extract::State;
use axum::http::StatusCode;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "web/design.html")]
struct Shown {
    t: &'static Texts,
    frame: Frame,
    count: String,
    temperatures: String,
    lines: Vec<Row>,
    rules: Vec<(usize, &'static str, &'static str)>,
}

struct Row {
    place: String,
    what: &'static str,
    value: String,
    limit: String,
    margin: String,
    class: &'static str,
    shape: &'static str,
    verdict: &'static str,
    rule: usize,
}

/// The page.
pub async fn page(State(page): State<Arc<Page>>, visit: Extension<Visit>) -> Answer {
    let lines = check(&page.site.plant);
    let mut rules: Vec<Check> = lines.iter().map(|line| line.check).collect();
    rules.sort();
    rules.dedup();
    let count = |verdict| lines.iter().filter(|line| line.verdict == verdict).count();
    let (wrong, look) = (count(Verdict::Wrong), count(Verdict::Look));
    let shown = Shown {
        t: T,
        frame: Frame::new(&page, &visit, T.design, "/design"),
        count: format!("{} checks: {wrong} wrong, {look} to look at.", lines.len()),
        temperatures: temperatures(&page),
        lines: lines.iter().map(|line| row(line, &rules)).collect(),
        rules: (1..)
            .zip(&rules)
            .map(|(n, check)| (n, check.name(), check.rule()))
            .collect(),
    };
    Ok(filled(StatusCode::OK, &shown))
}

fn row(line: &Line, rules: &[Check]) -> Row {
    let number = |value: Option<f64>| {
        value.map_or_else(
            || show::NOTHING.to_owned(),
            |value| with_unit(value, line.check.unit()),
        )
    };
    let (class, shape) = match line.verdict {
        Verdict::Ok => ("good", "✓"),
        Verdict::Look => ("open", "◇"),
        Verdict::Wrong => ("off", "▲"),
    };
    let rule = rules.iter().position(|check| *check == line.check);
    Row {
        place: line.subject.to_string(),
        what: line.check.name(),
        value: number(Some(line.value)),
        limit: number(line.limit),
        margin: number(line.margin),
        class,
        shape,
        verdict: line.verdict.word(),
        rule: rule.map_or(0, |index| index + 1),
    }
}

fn temperatures(page: &Page) -> String {
    let site = &page.site.plant.site;
    let hottest = site.design_hottest_cell.degc();
    match site.design_coldest {
        Some(coldest) => format!(
            "From {} °C to {hottest} °C, from the site file.",
            coldest.degc()
        ),
        None => format!(
            "From {ASSUMED_COLDEST_DEGC} °C, which is assumed, to {hottest} °C: give design_coldest_degc in \
             [site]."
        ),
    }
}
