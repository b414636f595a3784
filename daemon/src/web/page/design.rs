//! The design against the limits of its equipment, as `noonmark check` prints it.

use super::{Answer, Frame, filled};
use crate::commands::check::with_unit;
use crate::web::access::Visit;
use crate::web::texts::Texts;
use crate::web::{Page, show};
use analysis::plant::design::{ASSUMED_COLDEST_DEGC, Check, Line, Subject, Verdict, check};
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
    let t = visit.t;
    let lines = check(&page.site.plant);
    let mut rules: Vec<Check> = lines.iter().map(|line| line.check).collect();
    rules.sort();
    rules.dedup();
    let count = |verdict| lines.iter().filter(|line| line.verdict == verdict).count();
    let (wrong, look) = (count(Verdict::Wrong), count(Verdict::Look));
    let shown = Shown {
        t,
        frame: Frame::new(&page, &visit, t.design, "/design"),
        count: (t.words.checks)(lines.len(), wrong, look),
        temperatures: temperatures(&page, t),
        lines: lines.iter().map(|line| row(t, line, &rules)).collect(),
        rules: (1..)
            .zip(&rules)
            .map(|(n, check)| (n, check.name(), check.rule()))
            .collect(),
    };
    Ok(filled(StatusCode::OK, &shown))
}

fn row(t: &Texts, line: &Line, rules: &[Check]) -> Row {
    let number = |value: Option<f64>| {
        value.map_or_else(
            || show::NOTHING.to_owned(),
            |value| show::in_manner(t, &with_unit(value, line.check.unit())),
        )
    };
    let (class, shape, verdict) = match line.verdict {
        Verdict::Ok => ("good", "✓", t.verdict_ok),
        Verdict::Look => ("open", "◇", t.verdict_look),
        Verdict::Wrong => ("off", "▲", t.verdict_wrong),
    };
    let rule = rules.iter().position(|check| *check == line.check);
    Row {
        place: place(t, &line.subject),
        what: line.check.name(),
        value: number(Some(line.value)),
        limit: number(line.limit),
        margin: number(line.margin),
        class,
        shape,
        verdict,
        rule: rule.map_or(0, |index| index + 1),
    }
}

fn place(t: &Texts, subject: &Subject) -> String {
    let mut place = subject.inverter.clone();
    if let Some(n) = subject.input {
        place += &format!(", {} {n}", t.input_word);
    }
    if let Some(label) = &subject.string {
        place += &format!(", {} {label}", t.string);
    }
    place
}

fn temperatures(page: &Page, t: &Texts) -> String {
    let site = &page.site.plant.site;
    let hottest = show::exact(t, site.design_hottest_cell.degc());
    let (coldest, is_assumed) = match site.design_coldest {
        Some(coldest) => (coldest.degc(), false),
        None => (ASSUMED_COLDEST_DEGC, true),
    };
    (t.words.temperatures)(&show::exact(t, coldest), is_assumed, &hottest)
}
