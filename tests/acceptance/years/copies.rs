//! `backup` and `verify` as a user or a script meets them.

use crate::{daemon_folder, noonmark, text};
use std::fs;
use std::process::{Command, Stdio};
use tests::noonmark as program;

#[test]
fn a_copy_is_made_checked_and_can_be_verified_and_exported_from() {
    let folder = daemon_folder();
    let copy = folder.path().join("copy.sqlite");
    let made = noonmark(&["backup", text(folder.path()), "--to", text(&copy)]);
    assert_eq!((made.code, made.err.as_str()), (Some(0), ""));
    assert!(
        made.out.starts_with(&format!("{}: sound;", copy.display())),
        "{}",
        made.out
    );
    for store in [folder.path(), &copy] {
        let verified = noonmark(&["verify", text(store)]);
        assert_eq!((verified.code, verified.err.as_str()), (Some(0), ""));
        let days = "of a channel and day 3 with readings, 6 with minutes, 9 with hours";
        assert!(verified.out.contains(days), "{}", verified.out);
    }
    let log = folder.path().join("copy.sqlite-wal");
    assert!(!log.exists(), "a copy is one file");
}

#[test]
fn what_is_not_sound_is_listed_and_ends_with_bad_data() {
    let folder = daemon_folder();
    let file = folder.path().join("noonmark.sqlite");
    let sound = fs::read(&file).expect("a store");
    let nothing = folder.path().join("nothing.sqlite");
    let missing = noonmark(&["verify", text(&nothing)]);
    assert_eq!(missing.code, Some(65), "{}", missing.err);
    assert!(missing.err.contains("find the store"), "{}", missing.err);
    let mut bytes = sound.clone();
    let page = bytes.len() / 4096 / 2 * 4096;
    bytes[page..page + 4096].fill(0xa5);
    fs::write(&file, &bytes).expect("room for it");
    let damaged = noonmark(&["verify", text(&file)]);
    assert_eq!(damaged.code, Some(65), "{}", damaged.err);
    assert!(damaged.err.contains("problem"), "{}", damaged.err);
    assert!(!damaged.out.is_empty(), "each problem is a line");
    assert_eq!(
        fs::read(&file).expect("still there"),
        bytes,
        "checking changes nothing"
    );
}

#[test]
fn a_copy_that_meets_a_full_disk_leaves_the_earlier_one() {
    let folder = daemon_folder();
    let copy = folder.path().join("copy.sqlite");
    let made = noonmark(&["backup", text(folder.path()), "--to", text(&copy)]);
    assert_eq!(made.code, Some(0), "{}", made.err);
    let before = fs::read(&copy).expect("a copy");
    // Blocks of 512 bytes; less than the store has. Beyond the limit writing is an error.
    let limited = "trap '' XFSZ; ulimit -f 40; exec \"$@\"";
    let mut command = Command::new("sh");
    command.args(["-c", limited, "sh"]).arg(program());
    command.args(["backup", text(folder.path()), "--to", text(&copy)]);
    let ended = command.stdin(Stdio::null()).output().expect("a shell");
    let said = String::from_utf8_lossy(&ended.stderr).into_owned();
    assert_eq!(ended.status.code(), Some(74), "{said}");
    assert!(said.contains("failed to back up"), "{said}");
    assert_eq!(fs::read(&copy).expect("still there"), before);
    assert!(!folder.path().join("copy.sqlite.part").exists());
}
