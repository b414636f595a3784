//! What the program leaves in its folder, read with other people's libraries.

use crate::site::Site;
use analysis::reading::Time;
use daemon::store::{Layout, Opened, Store};
use serde_json::Value;
use std::fs::{self, File};
use std::io::BufReader;
use tests::until;

/// The fields of a line, in their order (the contract of `findings.jsonl`).
const FIELDS: [&str; 18] = [
    "id",
    "site",
    "device",
    "input",
    "string",
    "kind",
    "severity",
    "began",
    "found",
    "ended",
    "confidence",
    "causes",
    "evidence",
    "lost_kwh",
    "lost_money",
    "summary",
    "advice",
    "caution",
];

/// The findings as they stand in the file now.
pub fn findings(site: &Site) -> Vec<Value> {
    let text = fs::read_to_string(site.out().join("findings.jsonl")).unwrap_or_default();
    let line = |line: &str| serde_json::from_str(line).expect("each line is JSON");
    text.lines().map(line).collect()
}

/// The findings of one kind, as soon as there is one that `wanted` takes.
pub fn wait_for(site: &Site, kind: &str, wanted: impl Fn(&Value) -> bool) -> Value {
    until(&format!("{kind} in findings.jsonl"), || {
        let mut found = of_kind(site, kind).into_iter();
        found.find(&wanted)
    })
}

pub fn of_kind(site: &Site, kind: &str) -> Vec<Value> {
    let mut all = findings(site);
    all.retain(|finding| finding["kind"] == kind);
    all
}

pub fn assert_contract(finding: &Value) {
    let text = finding.to_string();
    let fields = finding.as_object().expect("an object");
    let names: Vec<&str> = fields.keys().map(String::as_str).collect();
    let mut wanted = FIELDS.to_vec();
    // The parser sorts them; their order in the file is tested beside the writer.
    wanted.sort_unstable();
    assert_eq!(names, wanted);
    let number = |value: &Value| {
        value
            .as_f64()
            .unwrap_or_else(|| panic!("no number: {text}"))
    };
    assert!(
        (0.0..=1.0).contains(&number(&finding["confidence"])),
        "{text}"
    );
    assert!(number(&finding["lost_kwh"]) >= 0.0, "{text}");
    let severities = ["note", "plan", "soon", "now"];
    assert!(
        severities.iter().any(|s| finding["severity"] == *s),
        "{text}"
    );
    let causes = finding["causes"].as_array().expect("a list");
    let sum: f64 = causes.iter().map(|c| number(&c["probability"])).sum();
    assert!(!causes.is_empty() && sum <= 1.0 + SUM_ERROR, "{text}");
    let evidence = finding["evidence"].as_object().expect("an object");
    assert!(!evidence.is_empty(), "{text}");
    evidence
        .values()
        .for_each(|value| assert!(number(value).is_finite()));
    for list in ["advice", "caution"] {
        assert!(
            !finding[list].as_array().expect("a list").is_empty(),
            "{text}"
        );
    }
}

/// Probabilities are printed with all their digits; their sum may be off by rounding.
const SUM_ERROR: f64 = 1e-9;

/// Findings that somebody has to act on, apart from those of one input. A link is lost when this
/// machine holds all for longer than three polls; that is no verdict on the plant.
pub fn alarms_elsewhere(site: &Site, input: u8) -> Vec<String> {
    findings(site)
        .iter()
        .filter(|f| f["severity"] != "note" && f["input"] != input && f["kind"] != "link_lost")
        .map(Value::to_string)
        .collect()
}

pub fn assert_pictures(site: &Site) {
    let svg = fs::read_to_string(site.out().join("summary.svg")).expect("a picture");
    assert!(svg.contains("<svg") && svg.trim_end().ends_with("</svg>"));
    let png = File::open(site.out().join("summary.png")).expect("a picture");
    let mut reader = png::Decoder::new(BufReader::new(png))
        .read_info()
        .expect("a PNG");
    let size = reader.output_buffer_size().expect("it fits into memory");
    let mut pixels = vec![0; size];
    reader.next_frame(&mut pixels).expect("all of the picture");
    let ground = pixels[..4].to_vec();
    assert!(
        pixels.chunks(4).any(|pixel| pixel != ground),
        "an empty picture"
    );
}

/// Rows of the ledger.
pub fn ledger_rows(site: &Site) -> usize {
    let ledger = csv::Reader::from_path(site.out().join("ledger.csv"));
    let rows: Result<Vec<_>, _> = ledger.expect("a ledger").into_records().collect();
    rows.expect("as many columns as the header").len()
}

/// The store, which must be sound and free.
pub fn open_store(site: &Site) -> Store {
    let Opened {
        store, set_aside, ..
    } = Store::open(&site.store(), &layout(site)).expect("it opens");
    assert_eq!(set_aside, None);
    store
}

/// Readings of a channel in a period, after the program has ended.
pub fn stored(site: &Site, channel: &str, from: Time, to: Time) -> usize {
    count(site, &open_store(site), channel, from, to)
}

/// All readings of a channel, beside the program; `None` while there is no store.
pub fn stored_so_far(site: &Site, channel: &str) -> Option<usize> {
    let store = Store::open_to_read(&site.store(), &layout(site)).ok()?;
    let (first, last) = (Time::from_unix_ms(0), Time::from_unix_ms(i64::MAX));
    Some(count(site, &store, channel, first, last))
}

/// When the readings of a channel that are stored were taken, beside the program.
pub fn times_so_far(site: &Site, channel: &str) -> Vec<Time> {
    let Ok(store) = Store::open_to_read(&site.store(), &layout(site)) else {
        return Vec::new();
    };
    let channel = channel.parse().expect("a channel");
    let id = site.checked().plant.channels.id(&channel);
    let (first, last) = (Time::from_unix_ms(0), Time::from_unix_ms(i64::MAX));
    let readings = store.readings(id.expect("of this plant"), first, last);
    readings
        .expect("reads")
        .iter()
        .map(|reading| reading.at)
        .collect()
}

/// End of the last slot that was stored, beside the program.
pub fn last_slot(site: &Site) -> Option<Time> {
    let store = Store::open_to_read(&site.store(), &layout(site)).ok()?;
    store.span().ok()?.map(|(_, last)| last)
}

fn count(site: &Site, store: &Store, channel: &str, from: Time, to: Time) -> usize {
    let channel = channel.parse().expect("a channel");
    let id = site
        .checked()
        .plant
        .channels
        .id(&channel)
        .expect("of this plant");
    store.readings(id, from, to).expect("reads").len()
}

fn layout(site: &Site) -> Layout {
    Layout::of(&site.checked().plant)
}
