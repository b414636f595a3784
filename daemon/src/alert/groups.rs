//! What a mail tells, put in order: by kind, then by place, and what can hurt.
//! Never in here: how it is shown (`templates/mail`).

use super::letter::{Site, Told};
use super::places::{At, places};
use crate::store::Turn;
use crate::text::{at_site, evidence, kwh, money, sure};
use analysis::detect::{Kind, Severity};
use analysis::diagnose::Subject;
use analysis::reading::{Energy, Time};
use chrono_tz::Tz;
use std::collections::{BTreeMap, BTreeSet};

/// Findings of one kind.
pub struct Group {
    pub title: &'static str,
    pub meaning: &'static str,
    pub urgency: &'static str,
    pub next: &'static str,
    /// It is over and only listed.
    pub is_closed: bool,
    pub places: Vec<Place>,
    pub advice: Vec<String>,
    pub tools: String,
}

/// Where and since when.
pub struct Place {
    pub place: String,
    pub state: &'static str,
    pub since: String,
    pub until: Option<String>,
    pub cost: Option<String>,
    pub summary: String,
    pub confidence: String,
    pub causes: Vec<(String, String)>,
    pub numbers: Vec<evidence::Row>,
    pub id: String,
    /// Where it is acknowledged, with the device where there are several.
    pub links: Vec<(String, String)>,
}

/// By kind, the most urgent first; several times the same thing is one place.
pub fn groups(site: Site<'_>, told: &[Told]) -> Vec<Group> {
    let mut kinds: BTreeMap<Kind, Vec<&Told>> = BTreeMap::new();
    for told in told {
        kinds.entry(told.finding.kind).or_default().push(told);
    }
    let mut kinds: Vec<(Kind, Vec<&Told>)> = kinds.into_iter().collect();
    let urgency = |told: &[&Told]| {
        let all = told
            .iter()
            .map(|t| (t.finding.ended.is_none(), t.finding.severity));
        all.max()
    };
    kinds.sort_by_key(|(_, told)| std::cmp::Reverse(urgency(told)));
    kinds
        .into_iter()
        .map(|(kind, told)| group(site, kind, &told))
        .collect()
}

fn group(site: Site<'_>, kind: Kind, told: &[&Told]) -> Group {
    let open = told.iter().filter(|t| t.finding.ended.is_none());
    let severity = open.map(|t| t.finding.severity).max();
    Group {
        title: kind.title(),
        meaning: kind.meaning(),
        urgency: severity.map_or("over", urgency),
        next: severity.map_or(over(kind), next),
        is_closed: severity.is_none() && told.iter().all(|t| t.news.is_empty()),
        places: places(site.plant, told)
            .iter()
            .map(|at| place(site, at))
            .collect(),
        advice: advice(told),
        tools: kind.tools().join("; "),
    }
}

/// What to do, step by step, at each place where it stands: a step that names its place is there for each,
/// up to a few, and any other once.
fn advice(told: &[&Told]) -> Vec<String> {
    let stands = told.iter().filter(|t| t.finding.ended.is_none());
    let stands: Vec<_> = stands.collect();
    let of = if stands.is_empty() {
        told.iter().collect()
    } else {
        stands
    };
    let steps = of.iter().map(|t| t.finding.advice.len()).max();
    let mut all = Vec::new();
    for step in 0..steps.unwrap_or(0) {
        let mut lines: Vec<&String> = Vec::new();
        for line in of.iter().filter_map(|t| t.finding.advice.get(step)) {
            if !lines.contains(&line) {
                lines.push(line);
            }
        }
        all.extend(lines.iter().take(MOST_PLACES).map(ToString::to_string));
        if lines.len() > MOST_PLACES {
            all.push(ELSEWHERE.to_owned());
        }
    }
    all
}

/// Places for which a step is written out.
const MOST_PLACES: usize = 4;
const ELSEWHERE: &str = "The same at every other place named above.";

fn urgency(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "for the record",
        Severity::Plan => "at the next visit",
        Severity::Soon => "within days",
        Severity::Now => "today",
    }
}

fn next(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "Nothing has to be done.",
        Severity::Plan => "It can wait for the next visit of the people who look after your plant.",
        Severity::Soon => {
            "It should be looked at within days, by the people who look after your plant."
        }
        Severity::Now => {
            "It may be dangerous. Keep people away from the modules, their cables and the inverter, and \
             have a licensed electrician look at it today."
        }
    }
}

/// What was dangerous may come back with the next rain or the next hot day.
fn over(kind: Kind) -> &'static str {
    match kind.severity() {
        Severity::Now => {
            "It is not there now, but it may come back, with rain or in full sun. Have it looked at \
             within days, and keep away from modules and cables until then."
        }
        Severity::Note | Severity::Plan | Severity::Soon => {
            "It went by itself or was mended. Nothing has to be done."
        }
    }
}

fn place(site: Site<'_>, at: &At<'_>) -> Place {
    let (told, times) = (&at.told, at.times);
    // Of several the one that stands; one that came and went after it does not end it.
    let stands = told.iter().rfind(|t| t.finding.ended.is_none());
    let shown = stands.or(told.last()).expect("a place has a finding");
    let finding = &shown.finding;
    let wh = told.iter().map(|t| t.finding.lost.wh()).sum::<f64>();
    let lost = Energy::from_wh(wh);
    let date = |at| in_words(at, site.timezone);
    let since = told
        .iter()
        .map(|t| t.finding.began)
        .min()
        .unwrap_or(finding.began);
    let again = if times > 1 {
        format!(" ({times} times)")
    } else {
        String::new()
    };
    let worth = money(lost, &site.plant.site).map(|m| format!(", {m}"));
    let causes = finding.causes.iter();
    let causes = causes.map(|c| (sure(c.probability), c.cause.clone()));
    Place {
        place: format!(
            "{}{again}",
            at.subject.map_or_else(|| whole_site(told), where_it_is)
        ),
        state: state(shown),
        since: date(since),
        until: finding.ended.map(date),
        cost: (wh >= LEAST_WH).then(|| format!("{}{}", kwh(lost), worth.unwrap_or_default())),
        summary: match at.subject {
            Some(_) => finding.summary.clone(),
            None => format!("{COMMON} {}", finding.summary),
        },
        confidence: sure(
            told.iter()
                .map(|t| t.finding.confidence)
                .fold(1.0, f64::min),
        ),
        causes: causes.collect(),
        // Those of one inverter are not those of the site.
        numbers: match at.subject {
            Some(_) => evidence::rows(&finding.evidence, site.timezone),
            None => Vec::new(),
        },
        id: match at.subject {
            Some(_) => finding.id.to_string(),
            None => list(told.iter().map(|t| t.finding.id.to_string())),
        },
        links: links(at),
    }
}

/// How it stands, for whoever reads of it now: what got worse before he was told is new to him.
fn state(told: &Told) -> &'static str {
    let has = |turn| told.news.contains(&turn);
    match (told.finding.ended, told.news.last()) {
        (Some(_), _) => "over",
        (None, _) if has(Turn::Unanswered) => "not answered yet",
        (None, _) if has(Turn::Worse) && !has(Turn::Found) => "more urgent than before",
        (None, Some(_)) => "new",
        (None, None) => "stands",
    }
}

/// Less than this is not worth a word.
const LEAST_WH: f64 = 50.0;

/// What is said before the words of one inverter.
const COMMON: &str = "Every inverter in the same time: look for one cause of all, in the supply or on the way to \
                      them. One of them:";

fn whole_site(told: &[&Told]) -> String {
    let devices: BTreeSet<_> = told.iter().map(|t| &t.finding.subject.device).collect();
    format!(
        "the whole site ({})",
        list(devices.iter().map(ToString::to_string))
    )
}

fn list(of: impl Iterator<Item = String>) -> String {
    of.collect::<Vec<_>>().join(", ")
}

/// One of each place; of the whole site one of each finding, since each is acknowledged alone.
fn links(at: &At<'_>) -> Vec<(String, String)> {
    let link = |t: &&Told| Some((t.finding.subject.device.to_string(), t.link.clone()?));
    let links = at.told.iter().filter_map(link);
    match at.subject {
        None => links.collect(),
        Some(_) => links
            .take(1)
            .map(|(_, link)| (String::new(), link))
            .collect(),
    }
}

fn where_it_is(subject: &Subject) -> String {
    let input = subject.input.map(|n| format!(", input {n}"));
    let string = subject.string.as_ref().map(|s| format!(", string {s}"));
    let device = &subject.device;
    format!(
        "{device}{}{}",
        input.unwrap_or_default(),
        string.unwrap_or_default()
    )
}

/// As people say it, at the site.
fn in_words(at: Time, timezone: Tz) -> String {
    let date = at_site(at, timezone);
    date.map_or_else(String::new, |d| d.format("%A %-d %B %Y, %H:%M").to_string())
}

pub fn cautions(told: &[Told]) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    let counts = |t: &&Told| t.finding.ended.is_none() || !t.news.is_empty();
    for caution in told.iter().filter(counts).flat_map(|t| &t.finding.caution) {
        if !all.contains(caution) {
            all.push(caution.clone());
        }
    }
    all
}
