//! `report.html` and the `report` command as their readers meet them: one file that needs no other,
//! with every finding, and with the numbers of the tables beside it.
//!
//! Kind of truth: property.

#[path = "report/commissioning.rs"]
mod commissioning;
#[path = "report/made.rs"]
mod made;

use analysis::reading::Span;
use daemon::report::{self, Tally};
use daemon::store::{About, Layout, NewDelivery, Store, Target};
use made::{store, store_of};
use std::fs;
use std::path::{Path, PathBuf};
use tests::{Ended, Program, judged};

const USAGE: Option<i32> = Some(64);
const BAD_DATA: Option<i32> = Some(65);

fn site() -> PathBuf {
    let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config");
    config.join("sites/quince-row-dairy.toml")
}

fn read(folder: &Path, name: &str) -> String {
    fs::read_to_string(folder.join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// The sum of some columns of a table [kWh].
fn sum_kwh(csv: &str, column: impl Fn(&str) -> bool) -> f64 {
    let mut rows = csv::Reader::from_reader(csv.as_bytes());
    let header = rows.headers().expect("a header").clone();
    let mut wh = 0.0;
    for row in rows.records() {
        let row = row.expect("a row");
        let shown = header.iter().zip(&row).filter(|(name, _)| column(name));
        wh += shown
            .map(|(_, cell)| cell.parse::<f64>().expect("a number"))
            .sum::<f64>();
    }
    wh / 1000.0
}

/// The number beside a name at the top of the page [kWh].
fn shown_kwh(html: &str, name: &str) -> f64 {
    let after = html
        .split(&format!("<div class=\"name\">{name}</div>"))
        .nth(1);
    let text = after.and_then(|text| text.split("<div class=\"kwh\">").nth(1));
    let text = text.and_then(|text| text.split(" kWh").next());
    let plain = text
        .expect("it is shown")
        .replace('\u{202f}', "")
        .replace('\u{2212}', "-");
    plain.parse().unwrap_or_else(|_| panic!("{name}: {plain}"))
}

/// What a page must fulfil, beside the tables in its folder.
fn check_page(folder: &Path) -> String {
    let html = read(folder, "report.html");
    // Nothing is fetched: no address but the names of the SVG's own elements, and no element that
    // takes a file.
    let no_names = html.replace("xmlns=\"http://www.w3.org/2000/svg\"", "");
    for reference in [
        "http:", "https:", "src=", "<link", "@import", "url(", "<script", "<img", "//",
    ] {
        assert!(!no_names.contains(reference), "the page has {reference}");
    }
    for link in html.split("href=\"").skip(1) {
        assert!(link.starts_with('#'), "{}", &link[..40]);
        let id = link[1..].split('"').next().expect("an end");
        assert!(html.contains(&format!("id=\"{id}\"")), "{id}");
    }
    for line in read(folder, "findings.jsonl").lines() {
        let finding: serde_json::Value = serde_json::from_str(line).expect("JSON");
        let id = finding["id"].as_str().expect("an id");
        assert!(
            html.contains(&format!("id=\"{id}\"")),
            "{id} is not on the page"
        );
        assert!(
            html.contains(&format!("<code>{id}</code>")),
            "{id} is not shown"
        );
    }
    // The page rounds to a tenth of a kilowatt-hour; the table to a thousandth of a watt-hour.
    const ROUNDING_KWH: f64 = 0.0501;
    let csv = read(folder, "ledger.csv");
    let wh = |name: &str| name.ends_with("_wh") && !name.starts_with("above");
    let sums = [
        (
            "Produced",
            sum_kwh(&csv, |name| {
                ["measured_wh", "not_compared_wh"].contains(&name)
            }),
        ),
        ("Expected", sum_kwh(&csv, |name| name == "expected_wh")),
        ("Limited", sum_kwh(&csv, |name| name == "lost_limited_wh")),
        (
            "Lost",
            sum_kwh(&csv, |name| {
                wh(name) && name.starts_with("lost_") && name != "lost_limited_wh"
            }),
        ),
    ];
    for (name, kwh) in sums {
        let shown = shown_kwh(&html, name);
        assert!(
            (shown - kwh).abs() <= ROUNDING_KWH,
            "{name}: {shown}, table {kwh}"
        );
    }
    html
}

#[test]
fn the_page_of_the_demo_needs_no_other_file_and_agrees_with_its_tables() {
    let folder = tempfile::tempdir().expect("a folder");
    let out = folder.path().to_str().expect("a plain path");
    let ended = Program::start(["demo", "--out", out]).end();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    assert!(ended.out.contains("report.html"), "{}", ended.out);
    let html = check_page(folder.path());
    let says = [
        "No. A string carries nothing: shed input 1, since 2026-11-12 10:40",
        "the worst day of: A string carries nothing",
        "the last clear day",
        "shed input 1: where it worked on its curve",
        "hall: insulation resistance at the first start",
        "hall: voltage of the highest phase against export",
        "limit 33.33 kΩ",
        "prefers-color-scheme:dark",
        "Licensed people",
    ];
    for words in &says[..8] {
        assert!(html.contains(words), "{words}");
    }
    assert!(html.to_lowercase().contains(&says[8].to_lowercase()));
    let ledger = read(folder.path(), "ledger.csv");
    assert!(sum_kwh(&ledger, |n| n == "measured_wh") > 1000.0);
    let above_kwh = sum_kwh(&ledger, |n| n == "above_rated_power_wh");
    assert!(above_kwh > 1.0 && html.contains(&format!("would have given {above_kwh:.1} kWh more")));
    look_at(folder.path());
}

/// The report and the mails in a folder, in a browser (`driven/report.py`).
fn look_at(folder: &Path) {
    let files = ["report.html", "mail-02-service.html", "mail-12-family.html"];
    let said = judged("driven/report.py", files.map(|name| folder.join(name)));
    assert!(said.contains("files looked at: 3"), "{said}");
}

fn report(store: &Path, out: &Path, days: [&str; 2]) -> Ended {
    let path = |path: &Path| path.to_str().expect("a plain path").to_owned();
    let arguments = [
        "report".to_owned(),
        path(&site()),
        "--store".to_owned(),
        path(store),
        "--out".to_owned(),
        path(out),
        "--from".to_owned(),
        days[0].to_owned(),
        "--to".to_owned(),
        days[1].to_owned(),
    ];
    Program::start(arguments).end()
}

#[test]
fn a_report_covers_the_days_at_the_site_that_were_asked_for() {
    let folder = tempfile::tempdir().expect("a folder");
    let store = store(folder.path(), 4);
    let out = folder.path().join("out");
    let ended = report(&store, &out, ["2026-11-11", "2026-11-12"]);
    assert_eq!((ended.code, ended.err.as_str()), (Some(0), ""));
    for name in [
        "report.html",
        "findings.jsonl",
        "ledger.csv",
        "kpi.csv",
        "summary.svg",
        "summary.png",
    ] {
        assert!(ended.out.contains(name), "{name}: {}", ended.out);
        assert!(out.join(name).is_file(), "{name}");
    }
    let html = check_page(&out);
    assert!(html.contains("Report from 2026-11-11 00:00 to 2026-11-13 00:00"));
    // What others wrote stays text.
    assert!(html.contains("&#60;b&#62;here&#60;/b&#62;") && !html.contains("<b>here"));
    // Melbourne is eleven hours ahead: its day begins at 13:00 of the day before.
    let csv = read(&out, "ledger.csv");
    let mut hours: Vec<_> = csv.lines().skip(1).map(|row| &row[..20]).collect();
    hours.dedup();
    assert!(
        hours
            .iter()
            .all(|hour| ("2026-11-10T13:00:00Z".."2026-11-12T13:00:00Z").contains(hour))
    );
    assert!(
        hours.iter().any(|hour| hour.starts_with("2026-11-10T2")),
        "{hours:?}"
    );
    // Both findings touch these days; of the day after neither the first.
    assert_eq!(read(&out, "findings.jsonl").lines().count(), 2);
    let later = folder.path().join("later");
    let ended = report(&store, &later, ["2026-11-13", "2026-11-13"]);
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    assert_eq!(read(&later, "findings.jsonl").lines().count(), 1);
    check_page(&later);
}

/// Two readers were to get a mail; the mail to one waits for more than a day at the end of the report.
#[test]
fn what_nobody_has_taken_for_a_day_stands_in_the_report() {
    let folder = tempfile::tempdir().expect("a folder");
    let store = store(folder.path(), 3);
    let plant = config::load(&site()).expect("a right site file").plant;
    let layout = Layout::of(&plant);
    let mut at_store = Store::open(&store, &layout).expect("opens").store;
    let (_, end) = at_store.span().expect("reads").expect("slots");
    for (reader, hours) in [("one@example.org", 25), ("other@example.org", 23)] {
        let made = NewDelivery {
            target: Target::Mail(reader.to_owned()),
            about: About::News,
            stable_id: format!("<{reader}>"),
            at: end - Span::from_h(hours),
            news: Vec::new(),
        };
        at_store.post(&made).expect("room");
    }
    drop(at_store);
    let says = "has not been taken for more than a day";
    for (day, is_said) in [("2026-11-12", true), ("2026-11-11", false)] {
        let out = folder.path().join(day);
        let ended = report(&store, &out, [day, day]);
        assert_eq!(ended.code, Some(0), "{}", ended.err);
        assert_eq!(check_page(&out).contains(says), is_said, "{day}");
    }
}

#[test]
fn wrong_days_and_stores_are_told_with_what_was_wanted() {
    let folder = tempfile::tempdir().expect("a folder");
    let store = store(folder.path(), 1);
    let out = folder.path().join("out");
    let says = |days: [&str; 2], code: Option<i32>, words: &[&str]| {
        let ended = report(&store, &out, days);
        assert_eq!(ended.code, code, "{days:?}: {}", ended.err);
        for word in words {
            assert!(ended.err.contains(word), "{days:?} {word}: {}", ended.err);
        }
        assert!(!out.exists(), "nothing is written");
    };
    says(
        ["2026-11-12", "2026-11-11"],
        USAGE,
        &["report from 2026-11-12 to 2026-11-11: the last day is before the first"],
    );
    says(
        ["2025-01-01", "2025-01-02"],
        BAD_DATA,
        &[
            "has nothing of these days",
            "it has 2026-11-10 00:00 to 2026-11-11 00:00",
        ],
    );
    says(["2026-02-30", "2026-03-01"], USAGE, &["2026-02-30"]);
    let none = report(
        &folder.path().join("none"),
        &out,
        ["2026-11-10", "2026-11-10"],
    );
    assert_eq!(none.code, BAD_DATA);
    assert!(none.err.contains("none"), "{}", none.err);
}

/// A line of the ledger is a whole hour, wherever the time that is reported begins.
#[test]
fn the_ledger_of_the_latest_begins_with_a_whole_hour() {
    let folder = tempfile::tempdir().expect("a folder");
    let site = config::load(&site()).expect("a right site file");
    let path = store(folder.path(), 1);
    let store = Store::open_to_read(&path, &Layout::of(&site.plant)).expect("a store");
    let about = report::About {
        plant: &site.plant,
        timezone: site.timezone,
    };
    let ledger = |latest: Option<Span>| {
        let tally = Tally::new(&site.plant);
        report::write(folder.path(), about, &store, latest, &tally).expect("written");
        read(folder.path(), "ledger.csv")
    };
    let all = ledger(None);
    // From half past one in the afternoon, which is half past two by night at Greenwich.
    let latest = ledger(Some(Span::from_min(630)));
    let (_, rows) = latest.split_once('\n').expect("a heading");
    assert!(rows.starts_with("2026-11-10T02:00:00Z"), "{rows}");
    assert!(all.ends_with(rows), "{latest}");
}

/// Reports and pages add up the same store at the same time: each slot counts once.
#[test]
fn figures_that_several_want_at_once_are_added_up_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let site = config::load(&site()).expect("a right site file");
    let path = store(folder.path(), 6);
    let about = report::About {
        plant: &site.plant,
        timezone: site.timezone,
    };
    let write = |name: &str, tally: &Tally| {
        let store = Store::open_to_read(&path, &Layout::of(&site.plant)).expect("a store");
        let into = folder.path().join(name);
        report::write(&into, about, &store, Some(Span::from_h(3)), tally).expect("written");
        ["kpi.csv", "capacity.csv"].map(|file| read(&into, file))
    };
    let alone = write("alone", &Tally::new(&site.plant));
    let shared = Tally::new(&site.plant);
    let together = std::thread::scope(|scope| {
        let (write, shared) = (&write, &shared);
        let both = ["one", "other"].map(|name| scope.spawn(move || write(name, shared)));
        both.map(|one| one.join().expect("it does not panic"))
    });
    assert_eq!(together, [alone.clone(), alone]);
}
