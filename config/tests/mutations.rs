//! Whatever is done to a right file, the answer is a plant or a list of problems, never a panic.

use config::{ConfigErrors, parse};
use proptest::prelude::*;
use std::path::Path;

const FILES: [&str; 2] = [
    include_str!("../sites/hillside-barn.toml"),
    include_str!("../sites/test-field.toml"),
];

/// Texts that are put in place of others: numbers of every kind, names, brackets, halves of things.
const SCRAPS: &[&str] = &[
    "",
    "0",
    "-1",
    "1e308",
    "nan",
    "-inf",
    "9223372036854775807",
    "99999999999999999999999",
    "3.5",
    "\"\"",
    "\"barn\"",
    "\"inv-1/input-1/dc_voltage_v\"",
    "[]",
    "{}",
    "[[]]",
    "[1, 2]",
    "{ u0 = 1 }",
    "2023-02-30",
    "2023-02-17T00:00:00Z",
    "true",
    "\"\u{1f31e}\"",
    "=",
    "[",
    "\"",
    "[[inverter]]",
    "[recording]",
    "\n",
    "\u{0}",
    "0x7fffffffffffffff",
    "10_000",
];

fn check(text: &str) {
    if let Err(errors) = parse("mutated.toml", text, Path::new("")) {
        let ConfigErrors::Wrong { problems, .. } = &errors else {
            panic!("no file was read");
        };
        assert!(!problems.is_empty());
        assert!(problems.iter().all(|p| p.line >= 1 && p.column >= 1));
        assert!(!errors.to_string().is_empty());
        assert!(!errors.render(false).is_empty());
    }
}

/// Up to three values of a right file are other texts.
fn with_other_values(file: usize, changes: &[(usize, usize)]) -> String {
    let mut lines: Vec<String> = FILES[file].lines().map(str::to_owned).collect();
    for &(line, scrap) in changes {
        let index = line % lines.len();
        let key = lines[index].split_once('=').map(|(key, _)| key.to_owned());
        lines[index] = match key {
            Some(key) => format!("{key}= {}", SCRAPS[scrap]),
            None => SCRAPS[scrap].to_owned(),
        };
    }
    lines.join("\n")
}

/// Lines of a right file are left out, repeated or moved.
fn with_lines_moved(file: usize, moves: &[(usize, usize, u8)]) -> String {
    let mut lines: Vec<&str> = FILES[file].lines().collect();
    for &(from, to, kind) in moves {
        let (from, to) = (from % lines.len(), to % lines.len());
        match kind {
            0 => drop(lines.remove(from)),
            1 => lines.insert(to, lines[from]),
            _ => lines.swap(from, to),
        }
    }
    lines.join("\n")
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn other_values(
        file in 0..FILES.len(),
        changes in prop::collection::vec((0usize..1000, 0..SCRAPS.len()), 1..4),
    ) {
        check(&with_other_values(file, &changes));
    }

    #[test]
    fn moved_lines(
        file in 0..FILES.len(),
        moves in prop::collection::vec((0usize..1000, 0usize..1000, 0u8..3), 1..8),
    ) {
        check(&with_lines_moved(file, &moves));
    }

    #[test]
    fn cut_and_filled(
        file in 0..FILES.len(),
        at in 0usize..20_000,
        len in 0usize..40,
        scrap in 0..SCRAPS.len(),
    ) {
        let chars: Vec<char> = FILES[file].chars().collect();
        let at = at % chars.len();
        let end = (at + len).min(chars.len());
        let before: String = chars[..at].iter().collect();
        let after: String = chars[end..].iter().collect();
        check(&format!("{before}{}{after}", SCRAPS[scrap]));
    }
}

/// Every line of the examples with every scrap as its value: small enough to try all.
#[test]
fn every_line_with_every_scrap() {
    for (file, text) in FILES.iter().enumerate() {
        for line in 0..text.lines().count() {
            for scrap in 0..SCRAPS.len() {
                let text = with_other_values(file, &[(line, scrap)]);
                // Without the rendering, which is most of the time.
                if let Err(errors) = parse("mutated.toml", &text, Path::new("")) {
                    assert!(!errors.problems().is_empty());
                }
            }
        }
    }
}
