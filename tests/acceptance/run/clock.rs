//! The clock of the machine set forward and back while the program runs.
//!
//! libfaketime (Debian's package `faketime`) stands between the program and the system's clock; only what time
//! it is moves, not for how long something lasts.

use crate::output::{open_store, times_so_far};
use crate::site::{Site, instant, text};
use analysis::detect::Kind;
use analysis::reading::{Span, Time};
use std::ffi::{OsStr, OsString};
use std::fs;
use std::path::PathBuf;
use tests::{Program, SunspecServer, until};

const CHANNEL: &str = "hut/ac_power_w";
/// Noon of the site, whatever time it is where the test runs.
const BEGINS: &str = "2026-03-20T12:00:00Z";
const EVERY_S: u32 = 2;
/// So many readings show that polling goes on.
const SOME: usize = 3;
/// A stretch takes less than this on any machine, and the clock is set by more.
const STRETCH: Span = Span::from_min(30);

/// The clock of one program.
struct Clock {
    folder: tempfile::TempDir,
}

impl Clock {
    fn at(time: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let clock = Self { folder };
        clock.set(time);
        clock
    }

    /// As if the program had been started at this time.
    fn set(&self, time: &str) {
        let time = time.replace('T', " ").replace('Z', "");
        let new = self.folder.path().join("new");
        fs::write(&new, format!("@{time}\n")).expect("room for it");
        fs::rename(new, self.file()).expect("the same folder");
    }

    fn file(&self) -> PathBuf {
        self.folder.path().join("time")
    }

    fn start(&self, site: &Site) -> Program {
        let (file, out, time) = (site.file(), site.out(), self.file());
        let stand_in = stand_in();
        let variables: [(&str, &OsStr); 5] = [
            ("LD_PRELOAD", stand_in.as_os_str()),
            ("FAKETIME_TIMESTAMP_FILE", time.as_os_str()),
            ("FAKETIME_NO_CACHE", OsStr::new("1")),
            ("FAKETIME_DONT_FAKE_MONOTONIC", OsStr::new("1")),
            ("TZ", OsStr::new("UTC")),
        ];
        let arguments: [OsString; 4] = ["run".into(), file.into(), "--out".into(), out.into()];
        Program::start_with(arguments, &variables)
    }
}

/// Where the package has it.
fn stand_in() -> PathBuf {
    let folder = format!("/usr/lib/{}-linux-gnu/faketime", std::env::consts::ARCH);
    let stand_in = PathBuf::from(folder).join("libfaketimeMT.so.1");
    assert!(
        stand_in.is_file(),
        "no {}: run tests/run",
        stand_in.display()
    );
    stand_in
}

#[test]
fn a_clock_that_is_set_either_way_loses_nothing_and_stops_nothing() {
    let server = SunspecServer::start(0, &["--clock-from", BEGINS, "--clock-rate", "0"]);
    let site = Site::new(&[("hut", server.port())], None, EVERY_S);
    let text = text(&[("hut", server.port())], None, EVERY_S);
    site.write(&text.replace("timeout_s = 10", &format!("timeout_s = {EVERY_S}")));
    let clock = Clock::at(BEGINS);
    let mut program = clock.start(&site);
    wait_for_more(&site, instant(BEGINS), 0);
    let mut before = times_so_far(&site, CHANNEL);
    for time in [
        "2026-03-20T13:00:00Z",
        BEGINS,
        "2026-03-21T12:00:00Z",
        "2026-03-20T10:00:00Z",
    ] {
        clock.set(time);
        let line = program.wait_for_line("the clock was set or the program was held");
        assert!(line.contains("WARN"), "{line}");
        let known = before
            .iter()
            .filter(|at| is_in(**at, instant(time)))
            .count();
        wait_for_more(&site, instant(time), known);
        // What was stored stays; what comes now is added to it.
        let now = times_so_far(&site, CHANNEL);
        assert!(
            before.iter().all(|at| now.contains(at)),
            "{before:?} {now:?}"
        );
        before = now;
    }
    let ended = program.terminate();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    assert!(!ended.err.contains("ERROR"), "{}", ended.err);
    // Each once, in order of time, and nowhere else than where the clock was.
    let stored = times_so_far(&site, CHANNEL);
    assert!(stored.is_sorted_by(|one, next| one < next), "{stored:?}");
    assert!(before.iter().all(|at| stored.contains(at)));
    // Nobody was silent.
    let findings = open_store(&site).findings().expect("a sound store");
    let lost = findings.iter().filter(|f| f.kind == Kind::LinkLost);
    assert_eq!(lost.count(), 0, "{findings:?}");
}

fn is_in(at: Time, stretch: Time) -> bool {
    at >= stretch && at < stretch + STRETCH
}

fn wait_for_more(site: &Site, stretch: Time, known: usize) {
    until(&format!("readings after {stretch:?}"), || {
        let times = times_so_far(site, CHANNEL);
        let there = times.iter().filter(|at| is_in(**at, stretch)).count();
        (there >= known + SOME).then_some(())
    });
}
