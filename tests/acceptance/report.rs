//! `report.html` and the `report` command as their readers meet them: one file that needs no other,
//! with every finding, and with the numbers of the tables beside it.
//!
//! Kind of truth: property.

use analysis::detect::{Gate, InputSlot, InverterSlot, Kind, PlaneSlot, Slot};
use analysis::diagnose::{Cause, Finding, FindingId, Subject};
use analysis::expected::{InputExpected, WeatherRung};
use analysis::plant::Plant;
use analysis::reading::{
    Current, Energy, Irradiance, Power, Span, Speed, Temperature, Time, Voltage,
};
use daemon::report::About;
use daemon::report::commissioning::write_if_due;
use daemon::store::{EngineState, Layout, Step, Store};
use std::fs;
use std::path::{Path, PathBuf};
use tests::{Ended, Program};

const USAGE: Option<i32> = Some(64);
const BAD_DATA: Option<i32> = Some(65);

/// 10 November 2026, 00:00 at Melbourne.
const START: Time = Time::from_unix_ms(1_794_229_200_000);
const SLOT: Span = Span::from_min(5);

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
        ("Produced", sum_kwh(&csv, |name| name == "measured_wh")),
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
    assert!(sum_kwh(&read(folder.path(), "ledger.csv"), |n| n == "measured_wh") > 1000.0);
}

/// A store of so many days with one open string, and its site.
fn store(folder: &Path, days: i64) -> PathBuf {
    let plant = config::load(&site()).expect("a right site file").plant;
    let path = folder.join("noonmark.sqlite");
    let mut store = Store::open(&path, &Layout::of(&plant))
        .expect("a store")
        .store;
    let slots: Vec<Slot> = (0..288 * days).map(|n| slot(&plant, n)).collect();
    let state = EngineState {
        version: 1,
        bytes: Vec::new(),
    };
    let step = Step {
        slots: &slots,
        findings: &[finding(&plant, 1, None), finding(&plant, 0, Some(1))],
        ..Step::nothing(&state)
    };
    store.commit(&step).expect("room on the disk");
    path
}

fn slot(plant: &Plant, n: i64) -> Slot {
    let of_day = (n % 288) as f64 / 288.0;
    let light = (1000.0 * (std::f64::consts::TAU * (of_day - 0.25)).sin()).max(0.0);
    let lit = light > 100.0;
    let input = InputSlot {
        voltage: Some(Voltage::from_v(600.0)),
        current: Some(Current::from_a(light / 100.0)),
        expected: lit.then(|| InputExpected {
            voltage: Voltage::from_v(605.0),
            current: Current::from_a(light / 90.0),
            sigma_voltage: Voltage::from_v(6.0),
            sigma_current: Current::from_a(0.3),
            sigma_power: Power::from_w(100.0),
        }),
        gate: if lit { Gate::Valid } else { Gate::Dark },
        limit: None,
    };
    let inverter = |inverter: &analysis::plant::Inverter| InverterSlot {
        ac_power: Some(Power::from_w(8.0 * light)),
        expected_ac_power: Some(Power::from_w(9.0 * light)),
        shade_ac_power: None,
        limit: None,
        producing: Some(lit),
        inputs: vec![input; inverter.inputs.len()],
    };
    let plane = PlaneSlot {
        poa: Some((Irradiance::from_w_m2(light), WeatherRung::PlaneSensor)),
        cell: Some(Temperature::from_degc(30.0)),
    };
    Slot {
        start: START + SLOT * n,
        span: SLOT,
        air: Some(Temperature::from_degc(20.0)),
        wind: Some(Speed::from_m_s(2.0)),
        planes: vec![plane; plant.planes.len()],
        inverters: plant.inverters.iter().map(inverter).collect(),
    }
}

/// On the first input, from a day at ten to another.
fn finding(plant: &Plant, day: i64, end: Option<i64>) -> Finding {
    let at = |day: i64| START + Span::from_h(24 * day + 10);
    let subject = Subject::input(&plant.inverters[0].id, 1);
    Finding {
        id: FindingId::new(&subject, Kind::StringOpen, at(day)),
        subject,
        kind: Kind::StringOpen,
        severity: Kind::StringOpen.severity(),
        began: at(day),
        found: at(day) + Span::from_min(30),
        ended: end.map(at),
        confidence: 0.97,
        causes: vec![Cause {
            cause: "one <string> & its fuse".to_owned(),
            probability: 0.9,
        }],
        evidence: [("current_ratio".to_owned(), 0.5)].into(),
        lost: Energy::from_wh(1234.0),
        summary: "Half of the \"current\" is missing <b>here</b>.".to_owned(),
        advice: vec!["Look & see.".to_owned()],
        caution: vec!["PV strings are live.".to_owned()],
    }
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

/// Every line with how it stands.
fn verdicts(html: &str) -> Vec<(&str, &str)> {
    let rows = html.split("<tr><td>").skip(1);
    rows.filter_map(|row| {
        let what = row.split("</td>").next()?;
        let verdict = row.split("<strong class=\"").nth(1)?.split('"').next()?;
        Some((what, verdict))
    })
    .collect()
}

#[test]
fn the_commissioning_is_judged_line_by_line_and_names_what_it_does_not_replace() {
    let folder = tempfile::tempdir().expect("a folder");
    let store = store(folder.path(), 9);
    let out = folder.path().join("out");
    let path = |path: &Path| path.to_str().expect("a plain path").to_owned();
    let arguments = |site: &Path| {
        let words = ["report", "--commissioning", "--store"].map(str::to_owned);
        let rest = [path(&store), "--out".to_owned(), path(&out), path(site)];
        words.into_iter().chain(rest)
    };
    let ended = Program::start(arguments(&site())).end();
    assert_eq!((ended.code, ended.err.as_str()), (Some(0), ""));
    let html = read(&out, "commissioning.html");
    for words in [
        "does not replace the tests that IEC 62446-1 and local codes require",
        "of the first 9 whole days",
        "signature",
        "1 open point.",
        "A string carries nothing: shed input 1",
    ] {
        assert!(html.contains(words), "{words}");
    }
    assert!(!html.contains("http") && !html.contains("src="));
    let lines = verdicts(&html);
    let plant = config::load(&site()).expect("a right site file").plant;
    let inputs: usize = plant.inverters.iter().map(|i| i.inputs.len()).sum();
    let of = |what: &str| {
        let lines = lines.iter().filter(|(line, _)| line.starts_with(what));
        lines.map(|(_, verdict)| *verdict).collect::<Vec<_>>()
    };
    // The finding stands on the first input; the other inputs were tested and carry what they should.
    let strings = of("number of strings");
    assert_eq!(strings.len(), inputs);
    assert_eq!(strings[0], "fail");
    assert!(
        strings[1..].iter().all(|verdict| *verdict == "pass"),
        "{strings:?}"
    );
    assert!(of("polarity").iter().all(|verdict| *verdict == "pass"));
    // Nothing was learned in this store and no morning was seen: not decided is to be looked at.
    for what in [
        "voltage over",
        "current over",
        "first insulation",
        "resistance of the supply",
    ] {
        let verdicts = of(what);
        assert!(
            !verdicts.is_empty() && verdicts.iter().all(|v| *v == "look"),
            "{what}"
        );
    }
    let design = analysis::plant::design::check(&plant).len();
    assert!(lines.len() > design + 4 * inputs, "{} lines", lines.len());
    for word in ["pass", "look", "fail"] {
        let count = lines.iter().filter(|(_, verdict)| *verdict == word).count();
        assert!(
            html.contains(&format!(">{count} {word}<")),
            "{count} {word}"
        );
    }
    // A plant that is handed over after the last slot has no first days.
    let text = fs::read_to_string(site()).expect("the site file");
    let line = text.lines().find(|line| line.starts_with("commissioned"));
    let later = text.replace(line.expect("it has the key"), "commissioned = 2027-05-01");
    let file = folder.path().join("later.toml");
    fs::write(&file, later).expect("room for it");
    let ended = Program::start(arguments(&file)).end();
    assert_eq!(ended.code, BAD_DATA, "{}", ended.err);
    assert!(
        ended.err.contains("no slot from 2027-05-01"),
        "{}",
        ended.err
    );
}

#[test]
fn the_daemon_writes_the_commissioning_after_seven_and_after_thirty_days() {
    let folder = tempfile::tempdir().expect("a folder");
    let site = config::load(&site()).expect("a right site file");
    let about = About {
        plant: &site.plant,
        timezone: site.timezone,
    };
    let mut written = Vec::new();
    for days in [6, 7, 8, 31, 40] {
        let of_days = folder.path().join(days.to_string());
        fs::create_dir(&of_days).expect("a folder");
        let path = store(&of_days, days);
        let store = Store::open_to_read(&path, &Layout::of(&site.plant)).expect("a store");
        let due = write_if_due(folder.path(), about, &store).expect("it can be written");
        written.push((days, due.is_some()));
    }
    assert_eq!(
        written,
        [(6, false), (7, true), (8, false), (31, true), (40, false)]
    );
    let html = read(folder.path(), "commissioning.html");
    assert!(html.contains("data-days=\"31\"") || html.contains("data-days=\"30\""));
}
