//! Bad site files in `bad/`, one per class of problem, with everything to be said about them.
//!
//! `<class>.toml` is the file, `<class>.expected` the whole list as a log shows it. Every line of
//! the list was read by a person against the file; a changed message is changed there by hand.

use config::{ConfigErrors, load, parse};
use std::path::{Path, PathBuf};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bad")
}

fn classes() -> Vec<PathBuf> {
    let files = std::fs::read_dir(folder()).expect("a folder");
    let mut classes: Vec<PathBuf> = files
        .map(|file| file.expect("readable").path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .collect();
    classes.sort();
    assert!(classes.len() >= 10, "an empty folder is not a pass");
    classes
}

fn errors(path: &Path) -> ConfigErrors {
    let text = std::fs::read_to_string(path).expect("text");
    let name = path.file_name().expect("a name").to_string_lossy();
    parse(&name, &text, Path::new("")).expect_err("a bad file")
}

#[test]
fn every_problem_is_listed_with_line_column_found_and_wanted() {
    let mut wrong = String::new();
    for path in classes() {
        let found = errors(&path).to_string();
        let expected = std::fs::read_to_string(path.with_extension("expected"));
        let expected = expected.unwrap_or_default();
        if found.trim_end() != expected.trim_end() {
            wrong.push_str(&format!("== {}\n{found}\n", path.display()));
        }
    }
    assert!(wrong.is_empty(), "other than expected:\n{wrong}");
}

#[test]
fn a_person_is_shown_the_line_and_what_was_wanted() {
    let shown = errors(&folder().join("units.toml")).render(false);
    assert!(shown.contains("plane[1].albedo_ratio: found 20"), "{shown}");
    assert!(shown.contains("albedo_ratio = 20"), "{shown}");
    assert!(
        shown.contains("wanted a number from 0 to 1 ratio; 20 % is 0.2"),
        "{shown}"
    );
    assert!(shown.contains("problems in units.toml"), "{shown}");
    assert!(
        !shown.contains('\u{1b}'),
        "no colour was asked for: {shown}"
    );
    let coloured = errors(&folder().join("units.toml")).render(true);
    assert!(coloured.contains('\u{1b}'), "{coloured}");
}

#[test]
fn a_file_that_is_not_there_is_named() {
    let path = folder().join("no-such-file.toml");
    let errors = load(&path).expect_err("no such file");
    assert!(matches!(errors, ConfigErrors::Unreadable { .. }));
    assert!(errors.to_string().contains("no-such-file.toml"));
}
