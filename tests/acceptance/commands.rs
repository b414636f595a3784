//! Exit codes and messages of the commands, and the demo, as a user or a script meets them.
//!
//! Kind of truth: property. The codes are those of the BSD `sysexits` convention (sysexits(3)).

use std::ffi::OsStr;
use std::fs;
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use tempfile::TempDir;
use tests::{COMMANDS, Ended, Program};

const USAGE: Option<i32> = Some(64);
const BAD_DATA: Option<i32> = Some(65);
const UNREACHABLE: Option<i32> = Some(69);
const CANNOT_CREATE: Option<i32> = Some(73);
const BAD_SITE_FILE: Option<i32> = Some(78);

fn noonmark<A: AsRef<OsStr>>(arguments: &[A]) -> Ended {
    Program::start(arguments).end()
}

fn example(name: &str) -> PathBuf {
    let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config");
    config.join(name)
}

/// An example with some of its text replaced, in a folder of its own.
fn changed(name: &str, changes: &[(&str, &str)]) -> (TempDir, PathBuf) {
    let mut text = fs::read_to_string(example(name)).expect("an example");
    for (from, to) in changes {
        assert!(text.contains(from), "no {from:?} in {name}");
        text = text.replace(from, to);
    }
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("site.toml");
    fs::write(&file, text).expect("room for it");
    (folder, file)
}

fn path(path: &Path) -> &str {
    path.to_str().expect("a plain path")
}

#[test]
fn help_and_version_are_no_errors() {
    let help = noonmark(&["--help"]);
    assert_eq!(help.code, Some(0));
    for command in COMMANDS {
        assert!(
            help.out.contains(&format!("\n  {command} ")),
            "{}",
            help.out
        );
    }
    assert_eq!(help.err, "");
    let version = noonmark(&["--version"]);
    assert_eq!(version.code, Some(0));
    assert!(version.out.starts_with("noonmark "), "{}", version.out);
}

#[test]
fn wrong_usage_is_64_and_says_what_was_wanted() {
    let wrong: [(&[&str], &str); 6] = [
        (&[], "Usage: noonmark"),
        (&["reboot"], "reboot"),
        (&["run"], "<SITE>"),
        (&["replay", "site.toml"], "--out"),
        (
            &["run", "s.toml", "--rehearse-rate", "5"],
            "--rehearse-from",
        ),
        (
            &[
                "run",
                "s.toml",
                "--rehearse-from",
                "noon",
                "--rehearse-rate",
                "5",
            ],
            "wanted RFC 3339",
        ),
    ];
    for (arguments, says) in wrong {
        let ended = noonmark(arguments);
        assert_eq!(ended.code, USAGE, "{arguments:?}");
        assert!(ended.err.contains(says), "{arguments:?}: {}", ended.err);
        assert_eq!(ended.out, "", "{arguments:?}");
    }
}

#[test]
fn a_bad_site_file_is_78_with_all_of_its_problems() {
    let folder = tempfile::tempdir().expect("a folder");
    let out = folder.path().join("out");
    let file = example("tests/bad/ranges.toml");
    let problems = config::load(&file).expect_err("it is bad").render(false);
    let count = problems
        .lines()
        .filter(|line| line.contains("wanted"))
        .count();
    assert!(count > 5, "{problems}");
    for command in ["run", "replay"] {
        let ended = noonmark(&[command, path(&file), "--out", path(&out)]);
        assert_eq!(ended.code, BAD_SITE_FILE);
        assert_eq!(ended.err, problems, "{command}");
    }
    let check = noonmark(&["check", path(&file)]);
    assert_eq!((check.code, check.out), (BAD_SITE_FILE, problems));
    let missing = folder.path().join("none.toml");
    let ended = noonmark(&["run", path(&missing), "--out", path(&out)]);
    assert_eq!(ended.code, BAD_SITE_FILE);
    assert!(ended.err.contains("none.toml"), "{}", ended.err);
    assert!(!out.exists(), "nothing was started");
}

#[test]
fn a_scan_of_a_closed_port_is_69_and_says_why() {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let address = listener.local_addr().expect("bound").to_string();
    drop(listener);
    let ended = noonmark(&["scan", &address]);
    assert_eq!(ended.code, UNREACHABLE);
    let says = format!("failed to scan {address}, unit 1: connect to {address}: ");
    assert!(ended.err.starts_with(&says), "{}", ended.err);
    assert_eq!(ended.out, "");
}

#[test]
fn a_recording_without_usable_rows_is_65_and_says_what_is_wrong_with_it() {
    let (folder, file) = changed("sites/test-field.toml", &[]);
    let header = "Stamp,String A [V],String A [A],Irradiance 30 deg [W/m2],Air [degC],Feed-in [kW]";
    let csv = folder.path().join("test-field.csv");
    let out = folder.path().join("out");
    let unusable = [
        String::new(),
        format!("{header}\n"),
        format!("{header}\nyesterday,380,8,900,20,3\n"),
        "Time,V,A\n01.06.2024 12:00,380,8\n".to_owned(),
    ];
    for text in unusable {
        fs::write(&csv, &text).expect("room for it");
        let ended = noonmark(&["replay", path(&file), "--out", path(&out)]);
        assert_eq!(
            ended.code, BAD_DATA,
            "{text:?}: {} {}",
            ended.out, ended.err
        );
        assert!(
            ended.err.starts_with("failed to "),
            "{text:?}: {}",
            ended.err
        );
        assert!(
            ended.err.contains("test-field.csv"),
            "{text:?}: {}",
            ended.err
        );
    }
}

#[test]
fn a_folder_that_cannot_be_made_is_73() {
    let (folder, file) = changed("sites/test-field.toml", &[]);
    fs::write(folder.path().join("taken"), "a file").expect("room for it");
    let out = folder.path().join("taken/out");
    let rows = "Stamp,String A [V],String A [A],Irradiance 30 deg [W/m2],Air [degC],Feed-in [kW]\n\
                01.06.2024 12:00,380,8,900,20,3\n";
    fs::write(folder.path().join("test-field.csv"), rows).expect("room for it");
    let live = example("sites/quince-row-dairy.toml");
    for (command, site) in [("replay", &file), ("run", &live)] {
        let ended = noonmark(&[command, path(site), "--out", path(&out)]);
        assert_eq!(ended.code, CANNOT_CREATE, "{command}: {}", ended.err);
        assert!(
            ended.err.starts_with("failed to "),
            "{command}: {}",
            ended.err
        );
        assert!(ended.err.contains("taken/out"), "{command}: {}", ended.err);
    }
}

#[test]
fn a_second_program_on_the_same_store_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let site = example("sites/quince-row-dairy.toml");
    let arguments = ["run", path(&site), "--out", path(folder.path())];
    let mut first = Program::start(arguments);
    first.wait_for_line("running");
    let second = noonmark(&arguments);
    assert_eq!(second.code, Some(74), "{}", second.err);
    assert!(
        second.err.contains("another process writes to it"),
        "{}",
        second.err
    );
    // Nobody answers at its addresses, and still it stops when it is told to.
    let first = first.terminate();
    assert_eq!(first.code, Some(0), "{}", first.err);
}

/// What the demo must show (its scenario), and the files that it leaves.
const KINDS: [&str; 5] = [
    "string_open",
    "grid_trip",
    "link_lost",
    "isolation_low",
    "input_dead",
];
const FILES: [&str; 7] = [
    "findings.jsonl",
    "ledger.csv",
    "kpi.csv",
    "capacity.csv",
    "calibration.csv",
    "summary.svg",
    "summary.png",
];

#[test]
fn the_demo_shows_its_faults_and_does_so_again() {
    let folder = tempfile::tempdir().expect("a folder");
    let outs = ["first", "second"].map(|name| folder.path().join(name));
    // Both at a time: they share nothing.
    let demos = outs
        .each_ref()
        .map(|out| Program::start(["demo", "--out", path(out)]));
    for (demo, out) in demos.into_iter().zip(&outs) {
        let ended = demo.end();
        assert_eq!(ended.code, Some(0), "{}", ended.err);
        for kind in KINDS {
            let begins = format!("  {kind} since ");
            assert!(ended.out.contains(&begins), "no {kind} in\n{}", ended.out);
        }
        for file in FILES {
            let file = out.join(file);
            assert!(
                ended.out.lines().any(|line| line == path(&file)),
                "{}",
                ended.out
            );
            assert!(
                file.metadata().is_ok_and(|m| m.len() > 0),
                "{}",
                file.display()
            );
        }
    }
    let findings = outs.map(|out| fs::read_to_string(out.join("findings.jsonl")));
    let [first, second] = findings.map(|text| text.expect("it is there"));
    assert_eq!(first, second);
}
