//! What comes into the program from others: licences, where from, twice, which compiler; and that what has
//! a licence of its own in this repository is told of.
//!
//! Kind of truth: reference. The lists are those of deny.toml, which `cargo deny check` holds too, with
//! advisories, before a release: compiling it takes longer than these tests have.

use serde_json::Value;
use spdx::{Expression, Licensee, ParseMode};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

fn top() -> PathBuf {
    let tests = Path::new(env!("CARGO_MANIFEST_DIR"));
    tests.parent().expect("beside the other crates").to_owned()
}

fn table(file: &str) -> toml::Table {
    let text = std::fs::read_to_string(top().join(file)).expect("readable");
    text.parse()
        .unwrap_or_else(|error| panic!("{file}: {error}"))
}

/// A list of texts at a path of deny.toml.
fn listed(section: &str, key: &str) -> Vec<String> {
    let deny = table("deny.toml");
    let list = deny[section][key].as_array().expect("a list");
    let text = |value: &toml::Value| value.as_str().expect("a text").to_owned();
    list.iter().map(text).collect()
}

/// Every crate that is compiled for the systems of deny.toml, for the tests too.
fn packages() -> Vec<Value> {
    let mut options = vec!["metadata".to_owned(), "--format-version=1".to_owned()];
    let mut compiled = BTreeSet::new();
    for target in listed("graph", "targets") {
        options.push(format!("--filter-platform={target}"));
        let target = format!("--target={target}");
        // `metadata` also has what only features that nobody asks for would bring; this has not.
        let edges = "--edges=normal,build,dev";
        let tree = [
            "tree",
            "--workspace",
            "--prefix=none",
            "--format={p}",
            edges,
            &target,
        ];
        let tree = String::from_utf8(cargo(tree.map(str::to_owned).to_vec())).expect("text");
        compiled.extend(tree.lines().filter_map(|line| {
            let mut words = line.split(' ');
            Some(format!(
                "{}@{}",
                words.next()?,
                words.next()?.strip_prefix('v')?
            ))
        }));
    }
    let told: Value = serde_json::from_slice(&cargo(options)).expect("JSON");
    let mut packages = told["packages"].as_array().expect("a list").clone();
    packages.retain(|package| compiled.remove(&named(package)));
    assert!(compiled.is_empty(), "no facts of {compiled:?}");
    assert!(
        packages.len() > 100,
        "too few to be all: {}",
        packages.len()
    );
    packages
}

fn cargo(options: Vec<String>) -> Vec<u8> {
    let mut command = Command::new(env!("CARGO"));
    command.args(&options).arg("--locked").current_dir(top());
    let output = command.output().expect("it is there");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "cargo {options:?}: {said}");
    output.stdout
}

fn named(package: &Value) -> String {
    let part = |key: &str| package[key].as_str().expect("a text").to_owned();
    format!("{}@{}", part("name"), part("version"))
}

#[test]
fn every_licence_is_one_of_the_list_and_the_list_has_no_other() {
    let allowed: Vec<Licensee> = listed("licenses", "allow")
        .iter()
        .map(|name| Licensee::parse(name).expect("a licence of the SPDX list"))
        .collect();
    let mut used = BTreeSet::new();
    let mut wrong = Vec::new();
    for package in packages() {
        let stated = package["license"].as_str().unwrap_or_default();
        let expression = Expression::parse_mode(stated, ParseMode::LAX);
        let fits = expression.is_ok_and(|expression| {
            expression.evaluate(|asked| {
                let by = allowed
                    .iter()
                    .position(|licensee| licensee.satisfies(asked));
                used.extend(by);
                by.is_some()
            })
        });
        if !fits {
            wrong.push(format!("{}: {stated:?}", named(&package)));
        }
    }
    assert_eq!(wrong, [""; 0], "licences that deny.toml does not allow");
    assert_eq!(
        used.len(),
        allowed.len(),
        "some in deny.toml are not needed"
    );
}

#[test]
fn every_crate_is_of_one_registry_or_of_this_repository() {
    let registries = listed("sources", "allow-registry");
    let own = [
        "noonmark",
        "noonmark-analysis",
        "noonmark-config",
        "noonmark-tests",
    ];
    let elsewhere = packages().into_iter().filter(|package| {
        let from = package["source"].as_str();
        let is_listed = |source: &str| {
            let at = source.strip_prefix("registry+");
            at.is_some_and(|at| registries.iter().any(|registry| registry == at))
        };
        match from {
            Some(source) => !is_listed(source),
            None => !own.iter().any(|name| package["name"] == *name),
        }
    });
    let elsewhere: Vec<String> = elsewhere.map(|package| named(&package)).collect();
    assert_eq!(elsewhere, [""; 0]);
}

#[test]
fn what_comes_in_two_versions_is_known_with_its_reason() {
    let mut versions: BTreeMap<String, Vec<Value>> = BTreeMap::new();
    for package in packages() {
        let name = package["name"].as_str().expect("a name").to_owned();
        versions.entry(name).or_default().push(package);
    }
    let mut older = BTreeSet::new();
    for of_one in versions.values_mut() {
        of_one.sort_by_key(|package| numbers(package["version"].as_str().expect("a version")));
        // The newest is the one that stays.
        older.extend(of_one.iter().rev().skip(1).map(named));
    }
    let deny = table("deny.toml");
    let skipped = deny["bans"]["skip"].as_array().expect("a list");
    let known: BTreeSet<String> = skipped
        .iter()
        .map(|skip| {
            assert!(
                skip["reason"].as_str().is_some_and(|r| !r.is_empty()),
                "{skip:?}"
            );
            skip["crate"].as_str().expect("a crate").to_owned()
        })
        .collect();
    assert_eq!(
        older, known,
        "left: what is there twice; right: [bans] of deny.toml"
    );
}

/// `rust-version` is what the newest of all crates asks for, or more. What our own code uses of newer
/// standard libraries, clippy tells (`incompatible_msrv`).
#[test]
fn no_crate_asks_for_a_newer_compiler_than_we_say() {
    let stated = table("Cargo.toml");
    let stated = stated["workspace"]["package"]["rust-version"].as_str();
    let ours = numbers(stated.expect("a version"));
    let newer = packages().into_iter().filter(|package| {
        let asked = package["rust_version"].as_str();
        asked.is_some_and(|asked| numbers(asked) > ours)
    });
    let newer: Vec<String> = newer
        .map(|package| format!("{} asks for {}", named(&package), package["rust_version"]))
        .collect();
    assert_eq!(newer, [""; 0]);
}

/// Of a version, without what follows a plus.
fn numbers(version: &str) -> [u64; 3] {
    let plain = version.split(['+', '-']).next().expect("the first part");
    let mut parts = plain.split('.').map(|part| part.parse().expect("a number"));
    std::array::from_fn(|_| parts.next().unwrap_or(0))
}

#[test]
fn works_of_others_in_this_repository_are_told_of() {
    let works = table("daemon/packaging/works.toml");
    let works = works["work"].as_array().expect("a list");
    let told: BTreeSet<PathBuf> = works
        .iter()
        .filter_map(|work| work.get("text")?.as_str())
        .map(|text| top().join(text))
        .collect();
    let mut found = BTreeSet::new();
    let mut folders: Vec<PathBuf> = ["analysis/src", "config", "daemon"]
        .iter()
        .map(|folder| top().join(folder))
        .collect();
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).expect("it can be listed") {
            let path = entry.expect("it can be listed").path();
            let name = path.file_name().expect("a name").to_string_lossy();
            if path.is_dir() {
                folders.push(path);
            } else if name.contains("LICENSE") {
                found.insert(path);
            }
        }
    }
    assert_eq!(found, told, "left: texts of licences; right: works.toml");
    let sqlite = works
        .iter()
        .find(|work| work["name"].as_str() == Some("SQLite"));
    let version = sqlite.expect("told of")["version"]
        .as_str()
        .expect("a text");
    let packages = packages();
    let binding = packages
        .iter()
        .find(|package| package["name"] == "libsqlite3-sys");
    let manifest = binding.expect("the store's crate")["manifest_path"].as_str();
    let header = Path::new(manifest.expect("a path")).with_file_name("sqlite3/sqlite3.h");
    let header = std::fs::read_to_string(header).expect("it is compiled in");
    let line = format!("#define SQLITE_VERSION        \"{version}\"");
    assert!(
        header.contains(&line),
        "works.toml: SQLite is another than {version}"
    );
}
