//! Files of every older layout, made by the scripts of their time and filled as they were then.
//! Kind of truth: property.

use super::fault_tests::layout;
use super::schema::{MIGRATIONS, migrate};
use super::{Event, Keep, Progress, Store, verify};
use analysis::reading::{ChannelId, Span, Time, Value};
use rusqlite::Connection;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

const DAYS: i64 = 3;
const DAY_MS: i64 = 86_400_000;
const KEEP: Keep = Keep {
    readings: Span::from_h(24 * 30),
    minutes: Span::from_h(24 * 365),
};

/// A file of that layout with a slot, a finding, a state and three days of readings.
fn older(path: &Path, version: usize) {
    let mut db = Connection::open(path).expect("a file");
    db.execute_batch("PRAGMA journal_mode = WAL; PRAGMA foreign_keys = ON;")
        .expect("as it was opened then");
    migrate(&mut db, 0, &MIGRATIONS[..version]).expect("the scripts of their time hold");
    db.execute_batch(
        "INSERT INTO channel VALUES (1, 'inv-1/input-1/dc_voltage_v'), (2, 'gone/ac_power_w');
         INSERT INTO plane VALUES (1, 'roof');
         INSERT INTO inverter VALUES (1, 'inv-1');
         INSERT INTO slot (start_utc_ms, span_ms) VALUES (0, 300000);
         INSERT INTO plane_slot (start_utc_ms, plane) VALUES (0, 1);
         INSERT INTO inverter_slot (start_utc_ms, inverter, ac_power_w) VALUES (0, 1, 900.0);
         INSERT INTO input_slot (start_utc_ms, inverter, input, dc_voltage_v, gate)
             VALUES (0, 1, 1, 500.0, 'valid');
         INSERT INTO engine_state VALUES (1, 1, x'0102');",
    )
    .expect("rows of the first layout");
    let fill = db.transaction().expect("one");
    for n in 0..DAYS * 144 {
        let row = (1 + n % 2, n * 600_000, 500.0 + n as f64 / 10.0);
        let sql = "INSERT INTO reading VALUES (?1, ?2, ?3, 0)";
        fill.execute(sql, row).expect("a reading");
    }
    fill.commit().expect("room for it");
}

#[test]
fn a_file_of_every_older_layout_is_brought_forward_and_thinned_with_all_that_it_holds() {
    for version in 1..MIGRATIONS.len() {
        let dir = tempfile::tempdir().expect("a directory");
        let path = dir.path().join("site.sqlite");
        older(&path, version);
        let opened = Store::open(&path, &layout()).expect("it is brought forward");
        assert_eq!(opened.migrated_from, Some(version as i64));
        assert_eq!(opened.set_aside, None);
        let mut store = opened.store;
        let readings = |store: &Store| {
            let (first, last) = (Time::from_unix_ms(0), Time::from_unix_ms(i64::MAX));
            store.readings(ChannelId(0), first, last).expect("reads")
        };
        let before = readings(&store);
        assert_eq!(before.len() as i64, DAYS * 72);
        assert_eq!(before[1].value, Value::Good(500.2));
        let now = Time::from_unix_ms(10 * DAY_MS);
        while !store.thin(now, KEEP, 1).expect("room for it").is_nothing() {}
        assert_eq!(readings(&store), before, "layout {version}");
        let slots = store.slots(Time::from_unix_ms(0), now).expect("reads");
        assert_eq!(slots[0].inverters[0].ac_power.map(|p| p.w()), Some(900.0));
        let state = store
            .load_engine_state()
            .expect("reads")
            .expect("it was saved");
        assert_eq!(state.bytes, [1, 2]);
        drop(store);
        let verified = verify(&path, &mut |_: Progress| ()).expect("it can be read");
        assert_eq!(verified.problems, [""; 0]);
        // Of the channel that the plant no longer has too.
        assert_eq!(verified.days_of_readings as i64, 2 * DAYS);
        let again = Store::open(&path, &layout()).expect("it opens");
        assert_eq!(again.migrated_from, None);
    }
}

/// Stops the bringing forward at every instruction: then the file is of the layout before, whole, and
/// the next opening does the rest.
#[test]
fn bringing_forward_can_be_stopped_anywhere() {
    let newest = MIGRATIONS.len();
    let mut stopped = 0;
    for nth in (1..).step_by(7) {
        let dir = tempfile::tempdir().expect("a directory");
        let path = dir.path().join("site.sqlite");
        older(&path, newest - 1);
        let mut db = Connection::open(&path).expect("a file");
        let seen = Arc::new(AtomicU64::new(0));
        let stop = move || seen.fetch_add(1, Ordering::Relaxed) + 1 >= nth;
        db.progress_handler(1, Some(stop))
            .expect("a handler is taken");
        let outcome = migrate(&mut db, newest as i64 - 1, MIGRATIONS);
        drop(db);
        let opened = Store::open(&path, &layout()).expect("the rest is done");
        assert_eq!(opened.set_aside, None);
        let (first, last) = (Time::from_unix_ms(0), Time::from_unix_ms(i64::MAX));
        let readings = opened.store.readings(ChannelId(0), first, last);
        assert_eq!(readings.expect("reads").len() as i64, DAYS * 72);
        if outcome.is_ok() {
            break;
        }
        stopped += 1;
    }
    assert!(stopped > 10, "{stopped}");
}

#[test]
fn what_was_done_to_a_store_is_kept_in_order() {
    let mut store = Store::in_memory(&layout()).expect("memory needs no file");
    let at = Time::from_unix_ms;
    store
        .note(at(1), Event::Migrated, "layout 5 to 6")
        .expect("room");
    store.note(at(2), Event::Opened, "0.1.0").expect("room");
    store.note(at(3), Event::Opened, "0.1.0").expect("room");
    let audit = store.audit().expect("reads");
    let shown: Vec<_> = audit
        .iter()
        .map(|a| (a.at, a.event.as_str(), a.count))
        .collect();
    let wanted = [
        (at(1), "migrated", None),
        (at(2), "opened", None),
        (at(3), "opened", None),
    ];
    assert_eq!(shown, wanted);
}
