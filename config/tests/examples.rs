//! The example site files are right, and say about every key what the program holds about it.

mod common;

use config::{Fault, Rule, TABLES, load, parse};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

fn examples() -> Vec<(PathBuf, String)> {
    common::examples("sites", 2)
}

#[test]
fn every_example_is_right() {
    for (path, _) in examples() {
        if let Err(errors) = load(&path) {
            panic!("{}", errors.render(false));
        }
    }
}

/// Beside each key stands its unit, range and default, in the words of the key table.
#[test]
fn every_key_is_explained_in_an_example() {
    let texts: Vec<_> = examples().into_iter().map(|(_, text)| text).collect();
    let comments = texts.join("\n").replace("\n# (", " (");
    for (table, keys) in TABLES {
        for key in *keys {
            let summary = format!("({})", key.summary());
            let explained = comments.contains(&summary);
            assert!(
                explained || is_table(&key.rule),
                "{table}.{}: {summary}",
                key.name
            );
            let shown = comments.contains(&format!("{} = ", key.name))
                || comments.contains(&format!("{}]", key.name));
            assert!(shown, "{table}.{} is in no example", key.name);
        }
    }
}

/// Tables are explained by their own keys.
fn is_table(rule: &Rule) -> bool {
    matches!(rule, Rule::Words(words) if words.starts_with('['))
        || matches!(rule, Rule::Words(words) if words.starts_with("\"header\""))
}

/// Every numeric key is pushed under and over its range, wherever the examples use it.
#[test]
fn every_range_is_held() {
    let mut pushed = BTreeSet::new();
    for (path, text) in examples() {
        let lines: Vec<&str> = text.lines().collect();
        for (index, line) in lines.iter().enumerate() {
            let Some((name, _)) = line.split_once(" = ") else {
                continue;
            };
            for (low, high) in ranges(name) {
                for outside in [low - 1.0 - low.abs(), high + 1.0 + high.abs()] {
                    let mut changed: Vec<String> = lines.iter().map(|l| l.to_string()).collect();
                    changed[index] = format!("{name} = {outside}");
                    assert_out_of_range(&path, &changed.join("\n"), index + 1);
                }
                pushed.insert(name.to_owned());
            }
        }
    }
    let all: BTreeSet<String> = TABLES
        .iter()
        .flat_map(|(_, keys)| keys.iter())
        .filter(|key| matches!(key.rule, Rule::Range { .. }))
        .map(|key| key.name.to_owned())
        .collect();
    let left: Vec<_> = all.difference(&pushed).collect();
    // Commented out in the examples; `bad/` covers them.
    assert_eq!(left, ["baud", "stop_bits"]);
}

fn ranges(name: &str) -> Vec<(f64, f64)> {
    let keys = TABLES.iter().flat_map(|(_, keys)| keys.iter());
    keys.filter(|key| key.name == name)
        .filter_map(|key| match key.rule {
            Rule::Range { low, high, .. } => Some((low, high)),
            Rule::OneOf(_) | Rule::Words(_) => None,
        })
        .collect()
}

fn assert_out_of_range(path: &Path, text: &str, line: usize) {
    let name = path.display().to_string();
    let errors = parse(&name, text, Path::new("")).expect_err("out of range");
    let hit = errors
        .problems()
        .iter()
        .any(|problem| problem.fault == Fault::OutOfRange && problem.line == line);
    assert!(hit, "line {line} of {name} passed:\n{errors}");
}
