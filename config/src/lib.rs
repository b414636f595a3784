//! Site file to checked plant, all problems reported together, with line and column.
//!
//! Two views of a file: `raw` mirrors the TOML and declares every key once; [`checked`] cannot hold
//! a bad value, and everything past this crate takes it. In between, `check` relates keys to each
//! other. Nothing stops at the first problem: a value that cannot be read is left out, the rest is
//! checked, and only a file without any problem becomes a [`checked::SiteFile`].
//!
//! `grid/`, `sites/` and `registers/` beside `src/` hold data: protection tables, example files and
//! example register maps.

mod check;
pub mod checked;
pub mod grid;
mod masked;
pub mod messages;
mod mounting;
mod own_shape;
mod problem;
mod raw;
pub mod registers;
pub mod schema;
mod shape;
mod table;

pub use masked::masked;
pub use messages::MESSAGE_TABLES;
pub use problem::{ConfigErrors, Fault, Problem};
pub use raw::TABLES;
pub use registers::MAP_TABLES;
pub use shape::FILL_IN;
pub use table::{Key, Need, Rule};

use checked::SiteFile;
use problem::Problems;
use std::io;
use std::path::Path;
use table::At;
use toml::Spanned;
use toml::de::DeTable;

/// Reads and checks a site file.
pub fn load(path: &Path) -> Result<SiteFile, ConfigErrors> {
    let text = text_of(path).map_err(|source| ConfigErrors::Unreadable {
        path: path.to_owned(),
        source,
    })?;
    let beside = path.parent().unwrap_or(Path::new(""));
    parse(&path.display().to_string(), &text, beside)
}

/// The only place where files are read: site files and the maps that they name.
fn text_of(path: &Path) -> io::Result<String> {
    std::fs::read_to_string(path)
}

/// Checks the text of a site file called `name`; relative paths in it start at `beside`.
pub fn parse(name: &str, text: &str, beside: &Path) -> Result<SiteFile, ConfigErrors> {
    checked_file(name, text, |file, problems| {
        check::file(file, beside, problems)
    })
}

/// Reads a file of one kind and checks it; every problem of it is told together.
fn checked_file<R: table::Table, T>(
    name: &str,
    text: &str,
    check: impl FnOnce(&R, &mut Problems<'_>) -> Option<T>,
) -> Result<T, ConfigErrors> {
    let mut problems = Problems::new(text);
    let checked = document(text, &mut problems).and_then(|document| {
        let at = At {
            path: String::new(),
            span: 0..0,
        };
        let raw = table::read(document.get_ref(), at, &mut problems);
        check(&raw, &mut problems)
    });
    let maps = problems.take_maps();
    let problems = problems.into_sorted();
    if problems.is_empty() {
        return Ok(checked.expect("what is left out has a problem that says so"));
    }
    Err(ConfigErrors::Wrong {
        name: name.to_owned(),
        text: text.to_owned(),
        problems,
        maps,
    })
}

/// The tables of a file; nothing after a syntax error, because then tables are incomplete, and what
/// seems to be missing may be there.
fn document<'t>(text: &'t str, problems: &mut Problems<'_>) -> Option<Spanned<DeTable<'t>>> {
    let (document, errors) = DeTable::parse_recoverable(text);
    for error in &errors {
        let span = error.span().unwrap_or(0..0);
        let message = error.message().replace('\n', ", ");
        let (found, wanted) = message
            .split_once(", expected ")
            .unwrap_or((&message, "TOML"));
        problems.add(Fault::Syntax, &span, "", found, wanted);
    }
    errors.is_empty().then_some(document)
}
