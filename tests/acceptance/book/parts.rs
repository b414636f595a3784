//! What the program knows, as it stands in the chapters.

use super::beside;
use analysis::detect::Kind;
use std::collections::BTreeMap;
use tests::book::{Parts, chapters, filled, folder, known_parts, parts_of};

/// Every part of every chapter, with the chapter that it stands in.
fn standing() -> BTreeMap<String, (String, String)> {
    let mut standing = BTreeMap::new();
    for (path, text) in chapters() {
        let chapter = path.display().to_string();
        let parts = parts_of(&text).unwrap_or_else(|why| panic!("{chapter}: {why}"));
        for (name, part) in parts {
            let before = standing.insert(name.clone(), (chapter.clone(), part));
            assert!(before.is_none(), "{name} stands in two chapters");
        }
    }
    standing
}

const AGAIN: &str = "run: cargo run --release -p noonmark-tests --example book";

#[test]
fn every_key_kind_word_and_command_stands_in_the_book_as_the_program_knows_it() {
    let standing = standing();
    let known = known_parts();
    for (name, part) in &known {
        let Some((chapter, text)) = standing.get(name) else {
            panic!("`<!-- from the program: {name} -->` stands in no chapter");
        };
        assert_eq!(text, part, "{name} in {chapter} is not up to date; {AGAIN}");
    }
    for (name, (chapter, _)) in &standing {
        let is_shown = Kind::ALL
            .iter()
            .any(|kind| format!("shown {}", kind.name()) == *name);
        assert!(
            known.contains_key(name) || is_shown,
            "{chapter}: nobody knows {name}"
        );
    }
}

#[test]
fn every_kind_has_a_heading_a_line_in_the_list_and_a_picture_with_what_was_told() {
    let standing = standing();
    let chapters: Vec<String> = chapters().into_values().collect();
    for kind in Kind::ALL {
        let name = kind.name();
        let heading = format!("\n## {name}\n");
        assert!(
            chapters.iter().any(|text| text.contains(&heading)),
            "{name}"
        );
        let listed = format!(".md#{name})");
        assert!(
            chapters.iter().any(|text| text.contains(&listed)),
            "{name} is not in the list"
        );
        let (chapter, shown) = standing
            .get(&format!("shown {name}"))
            .unwrap_or_else(|| panic!("{name}"));
        let told = shown.contains("Most likely causes: ")
            && shown.contains(&format!("pictures/{name}.svg"));
        assert!(told, "{chapter}: {name} is not shown; {AGAIN}");
        let picture = folder().join(format!("src/pictures/{name}.svg"));
        let picture =
            std::fs::read_to_string(&picture).unwrap_or_else(|error| panic!("{name}: {error}"));
        assert!(
            picture.starts_with("<svg") && picture.ends_with("</svg>\n"),
            "{name}"
        );
    }
}

#[test]
fn the_readme_is_short() {
    assert!(beside("README.md").lines().count() < 90);
}

const TEXT: &str = "a\n<!-- from the program: x -->\nold\n<!-- end -->\nb\n";

#[test]
fn a_part_is_put_between_its_marks_and_nothing_else_moves() {
    let parts = Parts::from([("x".to_owned(), "new\n".to_owned())]);
    assert_eq!(
        filled(TEXT, &parts).as_deref(),
        Ok("a\n<!-- from the program: x -->\nnew\n<!-- end -->\nb\n")
    );
    assert_eq!(filled(TEXT, &Parts::new()).as_deref(), Ok(TEXT));
    assert_eq!(parts_of(TEXT).expect("two marks")["x"], "old\n");
}

#[test]
fn a_mark_without_an_end_and_a_part_that_stands_twice_are_told() {
    let open = TEXT.replace("<!-- end -->", "");
    assert!(parts_of(&open).is_err_and(|why| why.contains("x has no second mark")));
    assert!(parts_of(&TEXT.repeat(2)).is_err_and(|why| why.contains("twice")));
}
