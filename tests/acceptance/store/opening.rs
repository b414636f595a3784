//! Opening a file: one that is in use, newer, damaged, or not there.

use super::{SLOT, commit, layout, open, path, slot};
use analysis::reading::Time;
use daemon::store::{Store, StoreError};
use std::fs;

#[test]
fn only_one_process_writes() {
    let dir = tempfile::tempdir().expect("a directory");
    let first = open(&path(&dir), &layout());
    let refused = Store::open(&path(&dir), &layout()).expect_err("the first one writes");
    assert!(matches!(refused, StoreError::InUse { .. }));
    Store::open_to_read(&path(&dir), &layout()).expect("reading is free");
    drop(first);
    open(&path(&dir), &layout());
}

#[test]
fn a_file_of_a_newer_version_is_refused_and_left_alone() {
    // "The user version" of the SQLite file format: offset 60, four bytes, big-endian
    // (sqlite.org/fileformat2.html, section 1.3).
    const USER_VERSION: std::ops::Range<usize> = 60..64;
    let dir = tempfile::tempdir().expect("a directory");
    drop(open(&path(&dir), &layout()));
    let mut bytes = fs::read(path(&dir)).expect("it is there");
    bytes[USER_VERSION].copy_from_slice(&1000_u32.to_be_bytes());
    fs::write(path(&dir), &bytes).expect("room for it");
    let for_writing = Store::open(&path(&dir), &layout()).expect_err("it is newer");
    let for_reading = Store::open_to_read(&path(&dir), &layout()).expect_err("it is newer");
    for refused in [for_writing, for_reading] {
        assert!(matches!(refused, StoreError::Newer { found: 1000, .. }));
    }
    assert_eq!(fs::read(path(&dir)).expect("still there"), bytes);
}

#[test]
fn a_damaged_file_is_set_aside_and_kept() {
    let dir = tempfile::tempdir().expect("a directory");
    let mut store = open(&path(&dir), &layout());
    for n in 0..200 {
        commit(
            &mut store,
            &[],
            &[slot(Time::from_unix_ms(0) + SLOT * n)],
            &[],
        );
    }
    drop(store);
    let sound = fs::read(path(&dir)).expect("it is there");
    let pages = sound.len() / 4096;
    assert!(pages > 20, "damage can be done in many places");
    // The header, the schema, a page in the middle, and an end that is cut off.
    let scribbled = |at: usize| {
        let mut bytes = sound.clone();
        bytes[at..at + 64].fill(0xa5);
        bytes
    };
    let damages = [
        scribbled(0),
        scribbled(100),
        scribbled(pages / 2 * 4096),
        sound[..sound.len() / 2].to_vec(),
        b"no database at all".to_vec(),
    ];
    for (n, damaged) in damages.iter().enumerate() {
        fs::write(path(&dir), damaged).expect("room for it");
        let opened = Store::open(&path(&dir), &layout()).expect("a new one is started");
        let aside = opened.set_aside.expect("the caller is told");
        let name = format!("site.sqlite.damaged-{}", n + 1);
        assert_eq!(aside, dir.path().join(name));
        assert_eq!(&fs::read(&aside).expect("it is kept"), damaged);
        let mut store = opened.store;
        assert_eq!(store.span().expect("reads"), None);
        commit(&mut store, &[], &[slot(Time::from_unix_ms(0))], &[]);
    }
    open(&path(&dir), &layout());
}

#[test]
fn a_store_that_turns_out_damaged_at_work_can_be_given_up() {
    let dir = tempfile::tempdir().expect("a directory");
    let store = open(&path(&dir), &layout());
    let aside = store.set_aside(&path(&dir)).expect("it can be renamed");
    assert!(aside.exists() && !path(&dir).exists());
    open(&path(&dir), &layout());
}

#[test]
fn a_path_that_cannot_be_opened_is_an_error() {
    let dir = tempfile::tempdir().expect("a directory");
    let nowhere = dir.path().join("no/such/directory/site.sqlite");
    let refused = Store::open(&nowhere, &layout()).expect_err("there is no directory");
    assert!(matches!(refused, StoreError::CannotOpen { .. }));
    Store::open_to_read(&path(&dir), &layout()).expect_err("nothing to read");
    assert!(!path(&dir).exists(), "reading makes no file");
}
