//! The parts of the book that the program itself knows: keys, words, kinds of finding, commands. A chapter
//! has each between two marks, so that it is read where it stands and nobody has to type it twice.
//! Never in here: what a person wrote.

mod kinds;
mod known;

pub use known::known_parts;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// What stands between the two marks, by the name in the first.
pub type Parts = BTreeMap<String, String>;

const BEGIN: &str = "<!-- from the program: ";
const BEGIN_ENDS: &str = " -->\n";
const END: &str = "<!-- end -->";

/// `book/` at the top.
pub fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../book")
}

/// The chapters and the summary: paths in `book/src` and their texts, by path.
pub fn chapters() -> BTreeMap<PathBuf, String> {
    let top = folder().join("src");
    let mut folders = vec![top.clone()];
    let mut chapters = BTreeMap::new();
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).expect("a folder of the book") {
            let path = entry.expect("it can be listed").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "md") {
                let text = fs::read_to_string(&path).expect("a chapter");
                let path = path.strip_prefix(&top).expect("it is below").to_owned();
                chapters.insert(path, text);
            }
        }
    }
    chapters
}

/// The text outside of fenced blocks, line by line, and each block with the word behind its fence.
fn parted(text: &str) -> (Vec<&str>, Vec<(&str, String)>) {
    let (mut outside, mut blocks) = (Vec::new(), Vec::new());
    let mut open: Option<(&str, String)> = None;
    for line in text.lines() {
        match (line.trim_start().strip_prefix("```"), &mut open) {
            (Some(word), None) => open = Some((word, String::new())),
            (Some(_), Some(_)) => blocks.extend(open.take()),
            (None, Some((_, block))) => *block += &format!("{line}\n"),
            (None, None) => outside.push(line),
        }
    }
    assert!(open.is_none(), "a fence is not closed: {open:?}");
    (outside, blocks)
}

/// The fenced blocks of a text with this word behind the fence.
pub fn blocks(text: &str, word: &str) -> Vec<String> {
    let (_, blocks) = parted(text);
    let wanted = blocks.into_iter().filter(|(of, _)| *of == word);
    wanted.map(|(_, block)| block).collect()
}

/// Where the links and pictures of a text lead, as it says.
pub fn links(text: &str) -> Vec<&str> {
    // What a link says may be broken over two lines; where it leads may not.
    let (outside, _) = parted(text);
    let starts = outside
        .into_iter()
        .flat_map(|line| line.split("](").skip(1));
    starts.filter_map(|rest| rest.split(')').next()).collect()
}

/// Every part that a text has, by name, as it stands there.
///
/// # Errors
/// If a mark has no end, or a part stands twice.
pub fn parts_of(text: &str) -> Result<Parts, String> {
    let mut parts = Parts::new();
    let mut rest = text;
    while let Some((_, after)) = rest.split_once(BEGIN) {
        let (name, after) = after
            .split_once(BEGIN_ENDS)
            .ok_or("a first mark does not end its line")?;
        let (part, after) = after
            .split_once(END)
            .ok_or_else(|| format!("{name} has no second mark"))?;
        if parts.insert(name.to_owned(), part.to_owned()).is_some() {
            return Err(format!("{name} stands twice"));
        }
        rest = after;
    }
    Ok(parts)
}

/// The text with parts in the place of those that stand there; parts that nobody hands in stay.
///
/// # Errors
/// As [`parts_of`].
pub fn filled(text: &str, parts: &Parts) -> Result<String, String> {
    let mut filled = text.to_owned();
    for (name, old) in parts_of(text)? {
        let Some(new) = parts.get(&name) else {
            continue;
        };
        let whole = |part: &str| format!("{BEGIN}{name}{BEGIN_ENDS}{part}{END}");
        filled = filled.replacen(&whole(&old), &whole(new), 1);
    }
    Ok(filled)
}
