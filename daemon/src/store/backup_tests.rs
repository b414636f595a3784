//! Copies beside a writer, copies that meet a full disk, and what a check finds in a store that is
//! not sound.
//! Kind of truth: property.

use super::fault_tests::{commit_steps, layout, open, whole_steps};
use super::{Event, Keep, Progress, Store, StoreError, back_up, verify};
use analysis::reading::{Span, Time};
use std::fs;
use std::path::{Path, PathBuf};

const NOW: Time = Time::from_unix_ms(86_400_000 * 3);
const KEEP: Keep = Keep {
    readings: Span::from_h(24 * 30),
    minutes: Span::from_h(24 * 365),
};

fn silent(_: Progress) {}

fn problems(path: &Path) -> Vec<String> {
    verify(path, &mut silent).expect("it can be read").problems
}

/// A folder, a store in it with three steps, and the name of a copy.
fn filled() -> (tempfile::TempDir, Store, PathBuf, PathBuf) {
    let dir = tempfile::tempdir().expect("a directory");
    let (path, copy) = (
        dir.path().join("site.sqlite"),
        dir.path().join("copy.sqlite"),
    );
    let mut store = open(&path);
    commit_steps(&mut store, 0..3);
    (dir, store, path, copy)
}

fn packed() -> (tempfile::TempDir, Store, PathBuf, PathBuf) {
    let (dir, mut store, path, copy) = filled();
    while !store
        .thin(NOW, KEEP, 1000)
        .expect("room for it")
        .is_nothing()
    {}
    (dir, store, path, copy)
}

#[test]
fn a_copy_is_of_one_moment_while_the_writer_goes_on() {
    let (_dir, mut store, path, copy) = filled();
    commit_steps(&mut store, 3..200);
    let mut next = 200..;
    let mut seen = Vec::new();
    let verified = back_up(&path, &copy, NOW, &mut |progress| {
        seen.push(progress);
        let n = next.next().expect("it has no end");
        commit_steps(&mut store, n..n + 1);
    });
    let verified = verified.expect("it can be copied");
    assert_eq!(verified.problems, [""; 0]);
    assert!(seen.len() > 3, "{seen:?}");
    let written = whole_steps(&store);
    assert_eq!(written, 200 + seen.len() as i64);
    let copied = whole_steps(&open(&copy));
    assert_eq!(copied, 200, "what was there when it began");
    let audit = store.audit().expect("reads");
    let noted = audit.last().expect("the copy is noted");
    assert_eq!(noted.event, Event::BackedUp.name());
    assert_eq!(
        (noted.at, noted.subject.as_str()),
        (NOW, copy.to_str().expect("plain"))
    );
}

#[test]
fn a_new_copy_takes_the_place_of_an_earlier_one() {
    let (_dir, mut store, path, copy) = filled();
    back_up(&path, &copy, NOW, &mut silent).expect("it can be copied");
    commit_steps(&mut store, 3..5);
    back_up(&path, &copy, NOW, &mut silent).expect("it can be copied");
    assert_eq!(whole_steps(&open(&copy)), 5);
}

#[test]
fn a_copy_that_was_stopped_leaves_the_earlier_one_and_is_made_anew() {
    let (dir, mut store, path, copy) = filled();
    back_up(&path, &copy, NOW, &mut silent).expect("it can be copied");
    commit_steps(&mut store, 3..5);
    // Half of a copy and a journal to undo it, as a kill leaves them.
    let half = fs::read(&copy).expect("a copy");
    fs::write(dir.path().join("copy.sqlite.part"), &half[..half.len() / 2]).expect("room");
    fs::write(dir.path().join("copy.sqlite.part-journal"), b"half").expect("room");
    assert_eq!(problems(&copy), [""; 0]);
    back_up(&path, &copy, NOW, &mut silent).expect("it can be copied");
    assert_eq!(whole_steps(&open(&copy)), 5);
    assert!(!dir.path().join("copy.sqlite.part").exists());
}

#[test]
fn a_copy_that_cannot_be_written_leaves_the_earlier_one() {
    let (dir, store, path, copy) = filled();
    let nowhere = dir.path().join("no/such/folder/copy.sqlite");
    let refused = back_up(&path, &nowhere, NOW, &mut silent).expect_err("there is no folder");
    assert!(
        matches!(refused, StoreError::CannotOpen { .. }),
        "{refused}"
    );
    drop(store);
    let nothing = dir.path().join("nothing.sqlite");
    fs::write(&nothing, b"").expect("room for nothing");
    let refused = back_up(&nothing, &copy, NOW, &mut silent).expect_err("it is empty");
    assert!(matches!(refused, StoreError::Empty { .. }), "{refused}");
    assert!(!copy.exists());
}

#[test]
fn a_copy_of_a_damaged_store_is_refused_and_does_not_replace_a_sound_one() {
    let (dir, mut store, path, copy) = filled();
    commit_steps(&mut store, 3..200);
    drop(store);
    back_up(&path, &copy, NOW, &mut silent).expect("it can be copied");
    let mut bytes = fs::read(&path).expect("a store");
    let middle = bytes.len() / 2 / 4096 * 4096;
    bytes[middle..middle + 4096].fill(0xa5);
    fs::write(&path, bytes).expect("room for it");
    let verified = back_up(&path, &copy, NOW, &mut silent).expect("its pages can be copied");
    assert!(!verified.problems.is_empty());
    assert_eq!(whole_steps(&open(&copy)), 200);
    assert!(
        dir.path().join("copy.sqlite.part").exists(),
        "what there is is kept"
    );
}

#[test]
fn a_sound_store_has_no_problems_packed_or_not() {
    let (_dir, store, path, _) = packed();
    let verified = verify(&path, &mut silent).expect("it can be read");
    assert_eq!(verified.problems, [""; 0]);
    let counts = (verified.slots, verified.findings, verified.days_of_readings);
    assert_eq!(counts, (3, 3, 2));
    assert_eq!((verified.days_of_minutes, verified.days_of_hours), (2, 2));
    drop(store);
    open(&path);
    assert_eq!(problems(&path), [""; 0]);
}

#[test]
fn whatever_does_not_hold_between_the_tables_is_said() {
    let cases = [
        (
            "UPDATE slot SET span_ms = span_ms + 1 WHERE start_utc_ms = 0",
            "slots that begin at 0 and 300000 ms overlap",
        ),
        (
            "UPDATE reading_day SET readings = (SELECT readings FROM reading_day WHERE channel = 2)
             WHERE channel = 1",
            "inv-1/input-1/dc_voltage_v on 1970-01-01: its minutes are not those of its readings",
        ),
        (
            "DELETE FROM minute_day WHERE channel = 1",
            "inv-1/input-1/dc_voltage_v on 1970-01-01: its minutes are not those of its readings",
        ),
        (
            "DELETE FROM hour_day WHERE channel = 2",
            "inv-1/input-2/dc_voltage_v on 1970-01-01: its hours are not those of its minutes",
        ),
        (
            "UPDATE minute_day SET cells = CAST(cells || x'00' AS BLOB) WHERE channel = 2",
            "inv-1/input-2/dc_voltage_v on 1970-01-01: read the cells of a day: found `checksum",
        ),
        (
            "UPDATE finding SET finding_json = '{}' WHERE began_utc_ms = 0",
            "cannot be read: missing field",
        ),
        (
            "PRAGMA foreign_keys = OFF; DELETE FROM slot WHERE start_utc_ms = 0",
            "plane_slot: a row without its slot",
        ),
    ];
    for (harm, wanted) in cases {
        let (_dir, store, path, _) = packed();
        store.db.execute_batch(harm).expect(harm);
        let said = problems(&path);
        assert!(
            said.iter().any(|line| line.contains(wanted)),
            "{harm}: {said:?}"
        );
    }
}

#[test]
fn a_store_for_reading_is_not_thinned_and_says_so() {
    let (_dir, store, path, _) = filled();
    let mut reader = Store::open_to_read(&path, &layout()).expect("it is there");
    let refused = reader.thin(NOW, KEEP, 1).expect_err("it only reads");
    assert!(matches!(refused, StoreError::ReadOnly { .. }), "{refused}");
    assert_eq!((whole_steps(&store), whole_steps(&reader)), (3, 3));
}
