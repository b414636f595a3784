//! Behaviour of the desk when its store turns out damaged in the middle of work.

use super::*;
use crate::store::{Event, Keep, Layout, Response, Store, What};
use analysis::plant::Plant;
use analysis::reading::{ChannelId, Value};
use std::fs;
use std::path::Path;
use std::sync::Arc;

/// More than the store's cache of pages holds (SQLite's own default, 2 MB), at some 20 bytes each.
const MANY: i64 = 200_000;
const NOW: Time = Time::from_unix_ms(1_794_268_800_000);

const KEEP: Keep = Keep {
    readings: Span::from_h(24 * 30),
    minutes: Span::from_h(24 * 365),
};

fn plant() -> Arc<Plant> {
    let text = include_str!("../../config/sites/quince-row-dairy.toml");
    let site = config::parse("an example", text, Path::new("")).expect("it is checked");
    Arc::new(site.plant)
}

fn desk(folder: &Path) -> Desk {
    let (plant, file) = (plant(), folder.join("site.sqlite"));
    let opened = Store::open(&file, &Layout::of(&plant)).expect("the store opens");
    assert_eq!(opened.set_aside, None);
    let analyst = Analyst::open(plant.clone(), opened.store, true).expect("a plant that is sound");
    let tally = Arc::new(report::Tally::new(&plant));
    let whose = (plant, chrono_tz::UTC);
    let reports = report::Writer::start(folder.to_owned(), file.clone(), whose, tally);
    Desk::new(analyst, file, reports, KEEP, None)
}

/// The n-th reading of one channel, all of them too late for the analysis.
fn reading(n: i64) -> Reading {
    Reading {
        channel: ChannelId(0),
        at: NOW - Span::from_h(24 * 30) + Span::from_s(n),
        value: Value::Good(n as f64),
    }
}

fn stored(folder: &Path) -> Vec<Reading> {
    let opened = Store::open(&folder.join("site.sqlite"), &Layout::of(&plant()));
    let opened = opened.expect("the store opens");
    assert_eq!(opened.set_aside, None, "it is sound");
    let (first, last) = (Time::from_unix_ms(0), NOW);
    opened
        .store
        .readings(ChannelId(0), first, last)
        .expect("reads")
}

/// A desk whose store is damaged where it does not look until it is handed what this returns.
fn damaged(folder: &Path) -> (Desk, Vec<Reading>) {
    let mut desk = desk(folder);
    desk.take(&[], NOW).expect("stored");
    let many: Vec<Reading> = (0..MANY).map(|n| reading(2 * n)).collect();
    desk.take(&many, NOW + STORE_EVERY).expect("stored");
    write_back(&folder.join("site.sqlite"));
    scribble(&folder.join("site.sqlite"));
    // Into pages that have left the cache.
    let between = (0..MANY).step_by(100).map(|n| reading(2 * n + 1));
    (desk, between.collect())
}

/// Steps that come as seldom as they are stored, as on a machine that is too slow.
#[test]
fn somebody_is_told_though_every_step_is_stored() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = include_str!("../../config/sites/quince-row-dairy.toml");
    let mqtt = "\n[alerts.mqtt]\naddress = \"127.0.0.1:9\"\ntold_from = \"note\"\n\
                [[broker]]\naddress = \"127.0.0.1:9\"\nsecurity = \"none\"\n";
    let site = config::parse("an example", &format!("{text}{mqtt}"), Path::new(""));
    let site = site.expect("it is checked");
    let (post, _senders) = Post::new(Arc::new(site.alerts), site.timezone);
    let desk = desk(folder.path());
    let mut desk = Desk {
        post: Some(post),
        ..desk
    };
    // No device answers: each of them is a lost link.
    desk.resumed(NOW);
    for n in 0..60 {
        desk.take(&[], NOW + STORE_EVERY * n).expect("stored");
    }
    let store = desk.analyst.store();
    let found = store.findings().expect("reads").len();
    assert!(found > 0, "nothing to tell");
    assert_eq!(store.waiting().expect("reads").len(), found);
}

#[test]
fn a_store_that_turns_out_damaged_is_set_aside_and_work_goes_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut desk, between) = damaged(folder.path());
    let later = reading(2 * MANY);
    desk.take(&between, NOW + STORE_EVERY * 2)
        .expect("a new store takes them");
    desk.take(&[later], NOW + STORE_EVERY * 3).expect("stored");
    desk.close().expect("the findings are written");
    let mut wanted = between;
    wanted.push(later);
    assert_eq!(stored(folder.path()), wanted);
    assert!(folder.path().join("site.sqlite.damaged-1").exists());
    assert!(!folder.path().join("site.sqlite.damaged-2").exists());
}

#[test]
fn without_a_place_for_a_new_store_work_ends_and_says_so() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut desk, between) = damaged(folder.path());
    desk.store_file = folder.path().join("gone/site.sqlite");
    let ended = desk.take(&between, NOW + STORE_EVERY * 2);
    assert!(
        matches!(ended, Err(DeskError::Store(StoreError::CannotOpen { .. }))),
        "{ended:?}"
    );
}

/// What waits for its time is stored at once where somebody asks.
#[test]
fn a_desk_that_is_asked_stores_what_waits() {
    let folder = tempfile::tempdir().expect("a folder");
    let (ask, asked) = ask();
    let mut desk = desk(folder.path()).asked(asked);
    desk.take(&[], NOW).expect("stored");
    let (answer, mut stored_now) = oneshot::channel();
    ask.0.try_send(answer).expect("room");
    desk.take(&[reading(1)], NOW + Span::from_s(1))
        .expect("stored");
    assert_eq!(stored_now.try_recv(), Ok(true));
    // As after a power cut.
    std::mem::forget(desk);
    let layout = Layout::of(&plant());
    let store = Store::open_to_read(&folder.path().join("site.sqlite"), &layout);
    let (first, last) = (Time::from_unix_ms(0), NOW);
    let readings = store
        .expect("it is there")
        .readings(ChannelId(0), first, last);
    assert_eq!(readings.expect("reads"), [reading(1)]);
}

/// Whoever has given up waiting was told to say it again, and would stand there twice.
#[test]
fn what_nobody_waits_for_any_more_is_not_written_down() {
    let folder = tempfile::tempdir().expect("a folder");
    let (say, words) = mpsc::channel(4);
    let mut desk = desk(folder.path()).hearing(words, Arc::default());
    let note = |text: &str| {
        let (stored, answer) = oneshot::channel();
        let said = Said::Response(Response {
            finding: "barn.link_lost.1".to_owned(),
            at: NOW,
            who: "technician".to_owned(),
            what: What::Note,
            until: None,
            text: text.to_owned(),
        });
        say.try_send(Word { said, stored }).expect("room");
        answer
    };
    drop(note("given up"));
    let mut waits = note("waited for");
    desk.take(&[], NOW).expect("stored");
    assert_eq!(waits.try_recv(), Ok(true));
    desk.close().expect("the findings are written");
    let opened = Store::open(&folder.path().join("site.sqlite"), &Layout::of(&plant()));
    let store = opened.expect("the store opens").store;
    let notes = store.responses_to("barn.link_lost.1").expect("reads");
    let texts: Vec<&str> = notes.iter().map(|note| note.text.as_str()).collect();
    assert_eq!(texts, ["waited for"]);
}

/// From the log into the file itself, as soon as no report is being read.
fn write_back(file: &Path) {
    let db = rusqlite::Connection::open(file).expect("a store");
    let wait = std::time::Duration::from_secs(60);
    db.busy_timeout(wait).expect("a plain setting");
    let is_busy: bool = db
        .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get(0))
        .expect("a checkpoint");
    assert!(!is_busy);
}

/// Everything but the first pages, which say what the file is.
fn scribble(file: &Path) {
    const KEPT: usize = 16 * 4096;
    let mut bytes = fs::read(file).expect("a store");
    assert!(bytes.len() > 10 * KEPT, "there is something to damage");
    bytes[KEPT..].fill(0xa5);
    fs::write(file, bytes).expect("room for it");
}

#[test]
fn old_readings_are_packed_and_let_go_between_the_commits_of_a_running_desk() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut desk = desk(folder.path());
    // Some of a day 31 days back, of which single readings are not kept, and of one 10 days back.
    let at = |days: i64, n: i64| Reading {
        at: NOW - Span::from_h(24 * days) + Span::from_s(n),
        ..reading(n)
    };
    let old: Vec<Reading> = (0..500).map(|n| at(40, n)).collect();
    let recent: Vec<Reading> = (0..500).map(|n| at(10, n)).collect();
    desk.take(&[old, recent.clone()].concat(), NOW)
        .expect("stored");
    // A second of the clock brings a step; one a commit.
    for second in 1..30 {
        desk.take(&[], NOW + Span::from_s(second)).expect("thinned");
    }
    desk.close().expect("the findings are written");
    assert_eq!(stored(folder.path()), recent);
    let opened = Store::open(&folder.path().join("site.sqlite"), &Layout::of(&plant()));
    let store = opened.expect("the store opens").store;
    let hours = store.hours(ChannelId(0), Time::from_unix_ms(0), NOW);
    let good: u32 = hours.expect("reads").iter().map(|hour| hour.good).sum();
    assert_eq!(good, 1000);
    let packed = store.audit().expect("reads");
    let packed = packed.iter().filter(|a| a.event == Event::Packed.name());
    assert_eq!(packed.filter_map(|a| a.count).sum::<i64>(), 1000);
}
