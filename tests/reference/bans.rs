//! What the design forbids, held by reading the sources: dependencies, clocks, directions.
//! Kind of truth: reference. The lists are the design's, not what the code happens to do.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// All that arithmetic may depend on.
const DEPENDENCIES: [&str; 5] = [
    "ab_glyph",
    "plotters",
    "plotters-backend",
    "serde",
    "thiserror",
];
const DEV_DEPENDENCIES: [&str; 2] = ["proptest", "roxmltree"];

/// Modules of `analysis` in the order in which data flow: each imports only from its left.
const ORDER: [&str; 11] = [
    "reading", "plant", "sky", "array", "expected", "detect", "diagnose", "ledger", "chart",
    "review", "engine",
];

/// What neither `analysis` nor `config` may touch. `config` reads the site file in one place.
const OUTSIDE: [&str; 7] = [
    "std::fs",
    "std::net::Tcp",
    "std::net::Udp",
    "std::thread",
    "std::process",
    "std::env",
    "std::time",
];
const READS_THE_SITE_FILE: &str = "config/src/lib.rs";

/// The one file that asks what time it is, and how one may ask.
const CLOCK: &str = "daemon/src/clock.rs";
const ASKING: [&str; 5] = [
    "SystemTime::now",
    "Instant::now",
    "Utc::now",
    "Local::now",
    "UNIX_EPOCH.elapsed",
];

/// A line of code, comments taken off.
struct Line {
    file: String,
    number: usize,
    code: String,
}

impl Line {
    fn place(&self) -> String {
        format!("{}:{}: {}", self.file, self.number, self.code.trim())
    }
}

fn root() -> PathBuf {
    let tests = Path::new(env!("CARGO_MANIFEST_DIR"));
    tests.parent().expect("beside the other crates").to_owned()
}

/// The code of every Rust file under a folder of the repository.
fn code_under(folder: &str) -> Vec<Line> {
    let mut lines = Vec::new();
    let mut folders = vec![root().join(folder)];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).expect("the folder is there") {
            let path = entry.expect("it can be listed").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                lines.extend(code_of(&path));
            }
        }
    }
    assert!(
        lines.len() > 100,
        "too little code under {folder} to be all of it"
    );
    lines
}

fn code_of(path: &Path) -> Vec<Line> {
    let text = std::fs::read_to_string(path).expect("sources can be read");
    let inside = path.strip_prefix(root()).expect("under the root");
    let line = |(i, line): (usize, &str)| Line {
        file: inside.to_string_lossy().replace('\\', "/"),
        number: i + 1,
        code: line.split("//").next().unwrap_or_default().to_owned(),
    };
    text.lines().enumerate().map(line).collect()
}

fn none(found: impl Iterator<Item = String>, what: &str) {
    let found: Vec<String> = found.collect();
    assert!(found.is_empty(), "{what}:\n{}", found.join("\n"));
}

fn names(manifest: &toml::Table, section: &str) -> BTreeSet<String> {
    let section = manifest.get(section).and_then(toml::Value::as_table);
    section
        .into_iter()
        .flatten()
        .map(|(k, _)| k.clone())
        .collect()
}

#[test]
fn analysis_depends_on_nearly_nothing() {
    let text = std::fs::read_to_string(root().join("analysis/Cargo.toml")).expect("readable");
    let manifest: toml::Table = text.parse().expect("valid");
    assert_eq!(
        names(&manifest, "dependencies"),
        DEPENDENCIES.map(str::to_owned).into()
    );
    assert_eq!(
        names(&manifest, "dev-dependencies"),
        DEV_DEPENDENCIES.map(str::to_owned).into()
    );
    for section in ["build-dependencies", "target"] {
        assert!(!manifest.contains_key(section), "{section}");
    }
}

#[test]
fn arithmetic_and_settings_touch_nothing_outside() {
    let lines = code_under("analysis/src")
        .into_iter()
        .chain(code_under("config/src"));
    let outside = |line: &Line| {
        let may_read = line.file == READS_THE_SITE_FILE;
        OUTSIDE
            .iter()
            .any(|what| has_word(&line.code, what) && !(may_read && *what == "std::fs"))
    };
    none(
        lines.filter(outside).map(|line| line.place()),
        "touches what is outside",
    );
}

/// A ban on `std::fs` holds for `use std::{fs, ..}` too.
#[test]
fn no_group_import_hides_what_is_outside() {
    let lines = code_under("analysis/src")
        .into_iter()
        .chain(code_under("config/src"));
    let hidden = |line: &Line| {
        line.code.trim_start().starts_with("use std::{")
            && ["fs", "net", "thread", "process", "env", "time"]
                .iter()
                .any(|m| has_word(&line.code, m))
    };
    none(
        lines.filter(hidden).map(|line| line.place()),
        "touches what is outside",
    );
}

#[test]
fn one_file_asks_what_time_it_is() {
    let lines = code_under("daemon/src");
    let asks = |line: &&Line| ASKING.iter().any(|how| line.code.contains(how));
    let asking: Vec<&Line> = lines.iter().filter(asks).collect();
    assert!(
        asking.iter().any(|line| line.file == CLOCK),
        "{CLOCK} does not ask: is it elsewhere?"
    );
    none(
        asking.iter().filter(|l| l.file != CLOCK).map(|l| l.place()),
        "asks for the time",
    );
}

#[test]
fn code_imports_only_from_its_left() {
    let rank = |module: &str| ORDER.iter().position(|m| *m == module);
    let mut seen = BTreeSet::new();
    let mut wrong = Vec::new();
    for line in code_under("analysis/src") {
        let own = line
            .file
            .trim_start_matches("analysis/src/")
            .split('/')
            .next();
        let own = own
            .expect("there is a first part")
            .trim_end_matches(".rs")
            .to_owned();
        if own == "lib" {
            continue;
        }
        let here = rank(&own).unwrap_or_else(|| panic!("{own} has no place in the order"));
        seen.insert(own);
        for module in modules_named(&line.code) {
            let there = rank(&module);
            if there.is_none_or(|there| there > here) {
                wrong.push(line.place());
            }
        }
    }
    none(wrong.into_iter(), "imports from its right");
    assert_eq!(
        seen,
        ORDER.map(str::to_owned).into(),
        "every module of the order is there"
    );
}

/// The modules that a line names as `crate::<module>`; of a group `crate::{a, b}` each.
fn modules_named(code: &str) -> Vec<String> {
    let word = |text: &str| -> String {
        let is_word = |c: &char| c.is_ascii_alphanumeric() || *c == '_';
        text.chars().take_while(is_word).collect()
    };
    let mut modules = Vec::new();
    for rest in code.split("crate::").skip(1) {
        match rest.strip_prefix('{') {
            Some(group) => modules.extend(group.split(',').map(|part| word(part.trim()))),
            None => modules.push(word(rest)),
        }
    }
    modules.retain(|module| !module.is_empty());
    modules
}

#[test]
fn nothing_whose_order_is_random() {
    let lines = code_under("analysis/src")
        .into_iter()
        .chain(code_under("config/src"));
    let random = |line: &Line| {
        ["HashMap", "HashSet", "RandomState"]
            .iter()
            .any(|what| has_word(&line.code, what))
    };
    none(
        lines.filter(random).map(|line| line.place()),
        "iterates in a random order",
    );
}

/// Whether a text stands in the code and is not part of a longer word.
fn has_word(code: &str, what: &str) -> bool {
    let is_word = |c: char| c.is_ascii_alphanumeric() || c == '_';
    code.match_indices(what).any(|(at, _)| {
        let before = code[..at].chars().next_back();
        let after = code[at + what.len()..].chars().next();
        // `std::net::Tcp` stands for all that begins so.
        let open_end = what.ends_with("Tcp") || what.ends_with("Udp");
        !before.is_some_and(is_word) && (open_end || !after.is_some_and(is_word))
    })
}

#[test]
fn the_reader_of_sources_sees_what_it_should() {
    assert!(has_word("use std::fs;", "std::fs"));
    assert!(has_word("let t = std::time::Instant::now();", "std::time"));
    assert!(!has_word("use std::fsevents;", "std::fs"));
    assert_eq!(
        modules_named("use crate::{sky, plant::Site};"),
        ["sky", "plant"]
    );
    assert_eq!(modules_named("a: crate::engine::Input"), ["engine"]);
}
