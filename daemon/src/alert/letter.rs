//! What stands in a mail: facts put in order and into words, for one reader.
//! Never in here: how a mail is packed or sent, or whether it is due.

use super::groups::{Group, cautions, groups};
use super::places::places;
use crate::store::Turn;
use crate::text::{LEAST_SHOWN_WH, kwh, money, percent};
use analysis::detect::Severity;
use analysis::diagnose::Finding;
use analysis::ledger::Loss;
use analysis::plant::Plant;
use analysis::reading::Energy;
use analysis::review::{Account, Balance};
use askama::Template;
use base64::Engine;
use base64::prelude::BASE64_STANDARD as STANDARD;
use chrono::NaiveDate;
use chrono_tz::Tz;
use config::checked::{Reader, Role};
use std::collections::BTreeSet;

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
    let all_over = told.iter().all(|t| t.finding.ended.is_some());
    // What is over is no more of what stands.
    let counts = |t: &&Told| all_over || t.finding.ended.is_none();
    let kinds: BTreeSet<_> = told.iter().filter(counts).map(|t| t.finding.kind).collect();
    let places_of = |kind| {
        let of_kind = told.iter().filter(counts);
        let of_kind: Vec<&Told> = of_kind.filter(|t| t.finding.kind == kind).collect();
        places(site.plant, &of_kind).len()
    };
    let others = kinds
        .into_iter()
        .map(places_of)
        .sum::<usize>()
        .saturating_sub(1);
    let is_hazard = worst.is_some_and(|t| is_open_hazard(&t.finding));
    let is_first = told.iter().all(|t| t.news.contains(&Turn::Found));
    let got_worse =
        worst.is_some_and(|t| t.news.contains(&Turn::Worse) && !t.news.contains(&Turn::Found));
    let reminds = told.iter().any(|t| t.news.contains(&Turn::Unanswered));
    let mark = match (is_hazard, all_over, reminds) {
        (true, _, _) => "Please act today: ",
        (_, true, _) if is_first => "Came and went: ",
        (_, true, _) => "Over: ",
        (_, _, true) => "Still open: ",
        _ if got_worse => "More urgent: ",
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
        (true, _) if is_first => "Something was found that is over again.",
        (true, _) => "What you were told of is over.",
        (_, true) => "Nobody has said yet that they take care of this, so all readers are told.",
        _ if got_worse => "Something that you were told of is more urgent than before.",
        _ if told.len() == 1 => "Something was found that you should know.",
        _ => "Some things were found that you should know.",
    };
    let subject = format!("{name}: {heading}");
    let view = view(site, reader, (heading, opening.to_owned()), told, picture);
    rendered(subject, &view)
}

/// A period of which there is a summary.
#[derive(Debug, Clone, Copy)]
pub struct Of<'a> {
    /// Its name, as `June 2026`.
    pub name: &'a str,
    /// The first day with readings where that is not the period's first.
    pub readings_from: Option<NaiveDate>,
}

/// A mail about a period.
pub fn summary(
    site: Site<'_>,
    reader: &Reader,
    period: Of<'_>,
    balance: &Balance,
    told: &[Told],
) -> Letter {
    let heading = format!("Summary of {}", period.name);
    let part = period.readings_from.map(|day| {
        let day = day.format("%-d %B %Y");
        format!("There are readings from {day} on, and this is about these days alone. ")
    });
    let opening = part.unwrap_or_default() + &in_a_sentence(balance, told);
    let mut view = view(site, reader, (heading.clone(), opening), told, None);
    let site = &site.plant.site;
    let figure = |name, energy: Energy| Figure {
        name,
        energy: kwh(energy),
        money: money(energy, site),
    };
    view.figures = vec![
        figure("produced", balance.produced()),
        figure("expected from the weather", balance.expected),
        figure("held back by limits", balance.limited()),
        figure("lost to faults", balance.lost()),
    ];
    if let Some(beside) = balance.told_not_compared() {
        let figure = figure("of that, while the light was not known", beside);
        view.figures.insert(1, figure);
    }
    let not_recorded = balance.sum(|loss| loss == Loss::NotRecorded);
    if not_recorded.wh() >= LEAST_SHOWN_WH {
        let figure = figure("expected while nothing was recorded", not_recorded);
        view.figures.push(figure);
    }
    rendered(format!("{}: {heading}", site.name), &view)
}

/// A mail that says only that mails arrive.
pub fn trial(site: Site<'_>, reader: &Reader) -> Letter {
    let heading = "Mails arrive".to_owned();
    let opening =
        "This is a trial that somebody has asked for. It says nothing of the plant.".to_owned();
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
    let account = Account::of(balance);
    let made = account.share().map(percent);
    let made = made.map(|share| format!("The plant made {share} of what the weather allowed"));
    let made = made.unwrap_or_else(|| "What the plant made cannot be judged".to_owned());
    let why = match account {
        Account::NoLight => ": no light is known to compare it with",
        Account::NotRecorded => ": most of the light was not recorded",
        Account::HeldBack(_) => ", and limits held back the rest",
        Account::AsExpected(_) | Account::Short(_) => "",
    };
    let open = told.iter().filter(|t| t.finding.ended.is_none()).count();
    let stands = match (open, account) {
        (0, Account::Short(_)) => "nothing stands that says where the rest went".to_owned(),
        (0, _) => "nothing is wrong that we know of".to_owned(),
        (1, _) => "one thing needs attention".to_owned(),
        (n, _) => format!("{n} things need attention"),
    };
    format!("{made}{why}; {stands}.")
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

fn rendered(subject: String, view: &View<'_>) -> Letter {
    let text = Text { view }.render();
    let html = Html { view }.render();
    Letter {
        subject,
        text: text.expect("a string can be written to"),
        html: html.expect("a string can be written to"),
    }
}

#[cfg(test)]
#[path = "letter_tests.rs"]
mod tests;
