//! The page in a real browser, driven by another library (`acceptance/driven`): what a technician does,
//! and what every page has to be whoever looks at it.
//!
//! Kind of truth: reference for access without sight or pointer, which axe-core judges by WCAG 2.2;
//! property for the rest.

use super::Plant;
use super::access::{PASSWORD, sign_in, with_passwords};
use daemon::web::link::{Key, Purpose, path, sign};
use rustix::process::{Pid, Signal, kill_process};
use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};
use tests::python;

/// A script of `driven`, which talks while it works.
struct Visit {
    child: Child,
    said: BufReader<ChildStdout>,
}

impl Visit {
    fn start(script: &str, arguments: &[&str]) -> Self {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("acceptance/driven");
        let mut child = Command::new(python())
            .arg(folder.join(script))
            .args(arguments)
            .stdout(Stdio::piped())
            .spawn()
            .expect("it starts");
        let said = BufReader::new(child.stdout.take().expect("piped"));
        Self { child, said }
    }

    /// Reads on to a line; what is wrong stands above, where the script has written it.
    fn hear(&mut self, wanted: &str) {
        for line in self.said.by_ref().lines() {
            let line = line.expect("text");
            println!("{line}");
            if line.contains(wanted) {
                return;
            }
        }
        panic!("it never said {wanted:?}");
    }

    /// Its last words, and its end: it closes its browser by itself.
    fn end(mut self, wanted: &str) {
        self.hear(wanted);
        let ended = self.child.wait().expect("it can be waited for");
        assert!(ended.success(), "{ended}");
    }
}

impl Drop for Visit {
    fn drop(&mut self) {
        // Interrupted, it closes its browser; either way it is gone after the wait.
        if let Ok(None) = self.child.try_wait() {
            let _ = kill_process(Pid::from_child(&self.child), Signal::INT);
            let _ = self.child.wait();
        }
    }
}

#[test]
fn a_technician_sees_a_finding_appear_and_answers_it() {
    let mut plant = with_passwords(Plant::healthy);
    let mut visit = Visit::start("story.py", &[&plant.address, PASSWORD, "hut"]);
    visit.hear("open the string");
    plant.server.ask("open");
    visit.end("the visit went as it should");
}

#[test]
fn every_page_is_for_everybody() {
    let plant = with_passwords(Plant::start);
    let mut browser = plant.browser();
    assert_eq!(sign_in(&mut browser, PASSWORD), 303);
    let id = plant.found_by(&mut browser);
    let key = Key::of_folder(&plant.site.out()).expect("the daemon's");
    let far = analysis::reading::Time::from_unix_ms(1_900_000_000_000);
    let token = sign(&key, Purpose::Acknowledge, &id, far);
    let mut arguments = vec![plant.address.clone(), PASSWORD.to_owned()];
    if let Ok(folder) = std::env::var("NOONMARK_PICTURES") {
        arguments.extend(["--pictures".to_owned(), folder]);
    }
    let pages = [
        "/",
        "/findings",
        "/inverters/hut",
        "/inverters/hut/days/2026-03-20",
        "/inverters/hut/days/2026-03-18",
        "/ledger/day",
        "/ledger/year",
        "/performance/day",
        "/performance/month",
        "/devices",
        "/devices/hut/registers",
        "/maintenance",
        "/design",
        "/settings",
        "/no-such-page",
    ];
    arguments.extend(pages.map(str::to_owned));
    arguments.push(format!("/findings/{id}"));
    arguments.push(path(Purpose::Acknowledge, &id, &token));
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    Visit::start("pages.py", &arguments).end("pages looked at");
}
