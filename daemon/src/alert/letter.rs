//! What stands in a mail: facts put in order and into words, for one reader.
//! Never in here: how a mail is packed or sent, or whether it is due.

use crate::store::Turn;
use crate::text::{at_site, evidence, kwh, money, percent};
use analysis::detect::{Kind, Severity};
use analysis::diagnose::Finding;
use analysis::plant::Plant;
use analysis::reading::{Energy, Time};
use analysis::review::Balance;
use askama::Template;
use base64::Engine;
use base64::prelude::BASE64_STANDARD as STANDARD;
use chrono_tz::Tz;
use config::checked::{Reader, Role};
use std::collections::BTreeMap;

/// What every mail of a site needs.
#[derive(Debug, Clone, Copy)]
pub struct Site<'a> {
    /// The plant.
    pub plant: &'a Plant,
    /// Its time zone.
    pub timezone: Tz,
    /// Everybody who gets mails.
    pub readers: &'a [Reader],
}

/// A finding, and what of it is new in this mail; nothing of one that is only listed.
#[derive(Debug, Clone)]
pub struct Told {
    /// As it is known now.
    pub finding: Finding,
    /// In the order in which it happened.
    pub news: Vec<Turn>,
    /// Where it can be acknowledged.
    pub link: Option<String>,
}

/// The words of a mail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Letter {
    /// Subject.
    pub subject: String,
    /// For programs that show text only.
    pub text: String,
    /// For all others.
    pub html: String,
}

/// What the templates show.
struct View<'a> {
    site: &'a str,
    timezone: &'a str,
    reader: &'a str,
    /// Plain words instead of numbers.
    is_plain: bool,
    heading: String,
    opening: String,
    figures: Vec<Figure>,
    groups: Vec<Group>,
    /// What can hurt, each once.
    cautions: Vec<String>,
    /// Whom to call, name and address.
    calls: Vec<(&'a str, &'a str)>,
    /// What the picture shows, if there is one.
    picture: Option<&'a str>,
}

/// A figure of a period.
struct Figure {
    name: &'static str,
    energy: String,
    money: Option<String>,
}

/// Findings of one kind.
struct Group {
    title: &'static str,
    meaning: &'static str,
    urgency: &'static str,
    next: &'static str,
    /// It is over and only listed.
    is_closed: bool,
    places: Vec<Place>,
    advice: Vec<String>,
    tools: String,
}

/// Where and since when.
struct Place {
    place: String,
    state: &'static str,
    since: String,
    until: Option<String>,
    cost: Option<String>,
    summary: String,
    confidence: String,
    causes: Vec<(String, String)>,
    numbers: Vec<evidence::Row>,
    id: String,
    link: Option<String>,
}

#[derive(Template)]
#[template(path = "mail/letter.txt")]
struct Text<'a> {
    view: &'a View<'a>,
}

#[derive(Template)]
#[template(path = "mail/letter.html")]
struct Html<'a> {
    view: &'a View<'a>,
}

/// A mail about what is new.
pub fn news(site: Site<'_>, reader: &Reader, told: &[Told], picture: Option<&str>) -> Letter {
    let worst = told.iter().filter(|t| t.finding.ended.is_none());
    let worst = worst.max_by_key(|t| t.finding.severity).or(told.first());
    let what = worst.map_or("news", |t| t.finding.kind.title());
    let others = told.len().saturating_sub(1);
    let is_hazard = worst.is_some_and(|t| is_open_hazard(&t.finding));
    let all_over = told.iter().all(|t| t.finding.ended.is_some());
    let reminds = told.iter().any(|t| t.news.contains(&Turn::Unanswered));
    let mark = match (is_hazard, all_over, reminds) {
        (true, _, _) => "Please act today: ",
        (_, true, _) => "Over: ",
        (_, _, true) => "Still open: ",
        _ => "",
    };
    let more = if others == 0 {
        String::new()
    } else {
        format!(", and {others} more")
    };
    let name = &site.plant.site.name;
    let heading = format!("{mark}{what}{more}");
    let opening = match (all_over, reminds) {
        (true, _) => "What you were told of is over.",
        (_, true) => "Nobody has answered to this yet, so all readers are told.",
        _ if told.len() == 1 => "Something was found that you should know.",
        _ => "Some things were found that you should know.",
    };
    let subject = format!("{name}: {heading}");
    let view = view(site, reader, (heading, opening.to_owned()), told, picture);
    rendered(subject, &view)
}

/// A mail about a period, named as `June 2026`.
pub fn summary(
    site: Site<'_>,
    reader: &Reader,
    period: &str,
    balance: &Balance,
    told: &[Told],
    picture: Option<&str>,
) -> Letter {
    let heading = format!("Summary of {period}");
    let opening = in_a_sentence(balance, told);
    let mut view = view(site, reader, (heading.clone(), opening), told, picture);
    let site = &site.plant.site;
    let figure = |name, energy: Energy| Figure {
        name,
        energy: kwh(energy),
        money: money(energy, site),
    };
    view.figures = vec![
        figure("produced", balance.measured),
        figure("expected from the weather", balance.expected),
        figure("held back by limits", balance.limited()),
        figure("lost to faults", balance.lost()),
    ];
    rendered(format!("{}: {heading}", site.name), &view)
}

/// A mail that says only that mails arrive.
pub fn trial(site: Site<'_>, reader: &Reader) -> Letter {
    let heading = "Mails arrive".to_owned();
    let opening = "This is a trial that somebody has asked for. Nothing is wrong.".to_owned();
    let view = view(site, reader, (heading, opening), &[], None);
    rendered(format!("{}: mails arrive", site.plant.site.name), &view)
}

impl Letter {
    /// The mail as a page that opens by itself, with its picture in it.
    pub fn page(&self, picture: Option<&[u8]>) -> String {
        let Some(png) = picture else {
            return self.html.clone();
        };
        let data = format!("data:image/png;base64,{}", STANDARD.encode(png));
        self.html.replace("cid:chart", &data)
    }
}

/// Whether the plant does what it should.
fn in_a_sentence(balance: &Balance, told: &[Told]) -> String {
    let (produced, expected) = (balance.measured.wh(), balance.expected.wh());
    let open = told.iter().filter(|t| t.finding.ended.is_none()).count();
    let share = match expected > 0.0 {
        true => format!(
            "{} of what the weather allowed",
            percent(produced / expected)
        ),
        false => "as much as can be said: there was no light to compare with".to_owned(),
    };
    let stands = match open {
        0 => "nothing is wrong that we know of".to_owned(),
        1 => "one thing needs attention".to_owned(),
        n => format!("{n} things need attention"),
    };
    format!("The plant made {share}; {stands}.")
}

fn is_open_hazard(finding: &Finding) -> bool {
    finding.severity == Severity::Now && finding.ended.is_none()
}

fn view<'a>(
    site: Site<'a>,
    reader: &'a Reader,
    (heading, opening): (String, String),
    told: &[Told],
    picture: Option<&'a str>,
) -> View<'a> {
    let is_plain = reader.role == Role::Owner;
    let helps = |r: &&Reader| r.role != Role::Owner && r.email != reader.email;
    let calls = site.readers.iter().filter(helps);
    View {
        site: &site.plant.site.name,
        timezone: site.timezone.name(),
        reader: &reader.name,
        is_plain,
        heading,
        opening,
        figures: Vec::new(),
        groups: groups(site, told),
        cautions: cautions(told),
        calls: calls.map(|r| (r.name.as_str(), r.email.as_str())).collect(),
        picture,
    }
}

/// By kind, the most urgent first; several times the same thing is one place.
fn groups(site: Site<'_>, told: &[Told]) -> Vec<Group> {
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
    let mut places: BTreeMap<_, Vec<&Told>> = BTreeMap::new();
    for told in told {
        places.entry(&told.finding.subject).or_default().push(told);
    }
    let open = told.iter().filter(|t| t.finding.ended.is_none());
    let severity = open.map(|t| t.finding.severity).max();
    Group {
        title: kind.title(),
        meaning: kind.meaning(),
        urgency: severity.map_or("over", urgency),
        next: severity.map_or(over(kind), next),
        is_closed: severity.is_none() && told.iter().all(|t| t.news.is_empty()),
        places: places.values().map(|told| place(site, told)).collect(),
        advice: told
            .first()
            .map(|t| t.finding.advice.clone())
            .unwrap_or_default(),
        tools: kind.tools().join("; "),
    }
}

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

fn place(site: Site<'_>, told: &[&Told]) -> Place {
    let finding = &told.last().expect("a place has a finding").finding;
    let times = told.len();
    let news = told.iter().flat_map(|t| t.news.iter()).max();
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
        place: format!("{}{again}", where_it_is(finding)),
        state: match (news, finding.ended) {
            (_, Some(_)) => "over",
            (Some(Turn::Worse), None) => "more urgent than before",
            (Some(Turn::Unanswered), None) => "not answered yet",
            (Some(Turn::Found | Turn::Ended), None) => "new",
            (None, None) => "stands",
        },
        since: date(since),
        until: finding.ended.map(date),
        cost: (wh >= LEAST_WH).then(|| format!("{}{}", kwh(lost), worth.unwrap_or_default())),
        summary: finding.summary.clone(),
        confidence: sure(finding.confidence),
        causes: causes.collect(),
        numbers: evidence::rows(&finding.evidence, site.timezone),
        id: finding.id.to_string(),
        link: told.iter().find_map(|t| t.link.clone()),
    }
}

/// Less than this is not worth a word.
const LEAST_WH: f64 = 50.0;

fn where_it_is(finding: &Finding) -> String {
    let subject = &finding.subject;
    let input = subject.input.map(|n| format!(", input {n}"));
    let string = subject.string.as_ref().map(|s| format!(", string {s}"));
    let device = &subject.device;
    format!(
        "{device}{}{}",
        input.unwrap_or_default(),
        string.unwrap_or_default()
    )
}

/// Nobody is sure to a hundred per cent.
fn sure(probability: f64) -> String {
    match probability > 0.99 {
        true => "more than 99 %".to_owned(),
        false => format!("{:.0} %", 100.0 * probability),
    }
}

/// As people say it, at the site.
fn in_words(at: Time, timezone: Tz) -> String {
    let date = at_site(at, timezone);
    date.map_or_else(String::new, |d| d.format("%A %-d %B %Y, %H:%M").to_string())
}

fn cautions(told: &[Told]) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    let counts = |t: &&Told| t.finding.ended.is_none() || !t.news.is_empty();
    for caution in told.iter().filter(counts).flat_map(|t| &t.finding.caution) {
        if !all.contains(caution) {
            all.push(caution.clone());
        }
    }
    all
}

fn rendered(subject: String, view: &View<'_>) -> Letter {
    let text = Text { view }.render();
    let html = Html { view }.render();
    Letter {
        subject,
        text: text.expect("a string can be written to"),
        html: html.expect("a string can be written to"),
    }
}
