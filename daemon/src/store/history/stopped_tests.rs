//! A step of thinning that is stopped, meets a full disk or a value that the disk has changed.
//! Kind of truth: property.

use super::Thinned;
use super::thin_tests::{
    BEGINNING, END, KEEP, at, commit, counted, filled, open, reading, rows, seen, thin_all,
};
use crate::store::{Event, Store, StoreError};
use analysis::reading::{ChannelId, Time, Value};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// Stops every kind of step at every `every`-th instruction of the database, and its undoing too.
#[test]
fn a_step_that_is_stopped_at_any_instruction_has_done_nothing_or_all() {
    type Case = (fn() -> Store, Time);
    let cases: [Case; 5] = [
        // Packing afresh, with and without single readings.
        (|| filled(10..11), at(12, 60)),
        (|| filled(10..11), at(60, 0)),
        // A late reading beside packed ones.
        (
            || {
                let mut store = thinned(at(12, 60));
                commit(&mut store, &[reading(0, at(10, 7), Value::Good(3.5))]);
                store
            },
            at(12, 120),
        ),
        // Letting single readings go, then minutes.
        (|| thinned(at(12, 60)), at(16, 60)),
        (|| thinned(at(16, 60)), at(60, 0)),
    ];
    // A prime, so that stops fall everywhere in the loops over rows.
    const EVERY: u64 = 13;
    for (case, (made, now)) in cases.into_iter().enumerate() {
        let (mut store, mut undisturbed) = (made(), made());
        let before = (seen(&store), store.audit().expect("reads"), rows(&store));
        let mut stopped = 0;
        for nth in (1..).step_by(EVERY as usize) {
            let outcome = stopped_at(&mut store, nth, now);
            if outcome.is_ok() {
                break;
            }
            stopped += 1;
            let after = (seen(&store), store.audit().expect("reads"), rows(&store));
            if after != before {
                // Stopped behind the last instruction of the commit: then it is whole.
                break;
            }
        }
        assert!(stopped > 10, "case {case}: {stopped}");
        for store in [&mut store, &mut undisturbed] {
            thin_all(store, now);
        }
        assert_eq!(seen(&store), seen(&undisturbed), "case {case}");
        let audit = |store: &Store| store.audit().expect("reads");
        assert_eq!(audit(&store), audit(&undisturbed), "case {case}");
    }
}

fn thinned(now: Time) -> Store {
    let mut store = filled(10..11);
    thin_all(&mut store, now);
    store
}

fn stopped_at(store: &mut Store, nth: u64, now: Time) -> Result<Thinned, StoreError> {
    let count = Arc::new(AtomicU64::new(0));
    let stop = move || count.fetch_add(1, Ordering::Relaxed) + 1 >= nth;
    let handler = store.db.progress_handler(1, Some(stop));
    handler.expect("a handler is taken");
    let outcome = store.thin(now, KEEP, 1);
    let handler = store.db.progress_handler(1, None::<fn() -> bool>);
    handler.expect("a handler is given back");
    outcome
}

#[test]
fn a_step_that_meets_a_full_disk_at_any_page_has_done_nothing() {
    let dir = tempfile::tempdir().expect("a directory");
    let mut store = open(&dir.path().join("site.sqlite"));
    // Numbers that do not pack well, so that the step needs pages.
    let mut random = fastrand::Rng::with_seed(1);
    let noisy = |k: i64| reading(0, at(10, k), Value::Good(random.f64()));
    commit(&mut store, &(0..20_000).map(noisy).collect::<Vec<_>>());
    let before = seen(&store);
    let number = |store: &Store, pragma: &str| -> i64 {
        store
            .db
            .query_row(pragma, [], |row| row.get(0))
            .expect("a number")
    };
    let pages = number(&store, "PRAGMA page_count");
    let mut refused = 0;
    for room in 0.. {
        number(&store, &format!("PRAGMA max_page_count = {}", pages + room));
        match store.thin(at(12, 60), KEEP, usize::MAX) {
            Ok(done) => {
                assert_eq!(done.readings, 20_000);
                break;
            }
            Err(StoreError::DiskFull { .. }) => refused += 1,
            Err(other) => panic!("a full disk came back as {other:?}"),
        }
        assert_eq!(seen(&store), before, "full after {room} more pages");
    }
    assert!(
        refused > 5,
        "the step needed more than a few pages: {refused}"
    );
    assert_eq!(seen(&store), before);
}

#[test]
fn a_value_that_the_disk_has_changed_is_put_aside_and_work_goes_on() {
    let mut store = filled(10..11);
    thin_all(&mut store, at(12, 60));
    let change =
        "UPDATE reading_day SET readings = CAST(readings || x'00' AS BLOB) WHERE channel = 1";
    store.db.execute(change, []).expect("one value");
    let said = store
        .readings(ChannelId(0), BEGINNING, END)
        .expect_err("it was changed");
    assert!(matches!(said, StoreError::Undecodable { .. }), "{said}");
    let late = reading(0, at(10, 7), Value::Good(3.5));
    commit(&mut store, &[late]);
    thin_all(&mut store, at(12, 120));
    assert_eq!(
        store.readings(ChannelId(0), BEGINNING, END).expect("reads"),
        []
    );
    let aside: i64 = store
        .db
        .query_row("SELECT count(*) FROM damaged_value", [], |row| row.get(0))
        .expect("reads");
    assert_eq!((aside, counted(&store, Event::DamagedValue)), (1, 1));
    // Its minutes are sound and stay; the late one came into a minute that has readings.
    assert_eq!(counted(&store, Event::LateNotCounted), 1);
    let minutes = store.minutes(ChannelId(0), BEGINNING, END).expect("reads");
    assert_eq!(minutes, seen(&filled(10..11))[0].1);
}
