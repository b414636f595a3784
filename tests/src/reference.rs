//! Tables of other people's numbers, each with the file that says where it comes from.
//! Never in here: our own earlier output.

use serde::de::DeserializeOwned;
use std::path::{Path, PathBuf};

/// The folder of reference tables.
pub fn reference_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("data/reference")
}

/// All rows of a table.
///
/// Panics below `least_rows`, because a loop over an empty file is not a pass, and without a
/// `.source.toml` beside the table, because a number of unknown origin proves nothing.
pub fn load_reference<Row: DeserializeOwned>(name: &str, least_rows: usize) -> Vec<Row> {
    let path = reference_folder().join(name);
    let source = path.with_extension("source.toml");
    assert!(source.is_file(), "{name} has no {}", source.display());
    let mut reader = csv::Reader::from_path(&path)
        .unwrap_or_else(|error| panic!("failed to open {}: {error}", path.display()));
    let rows: Vec<Row> = reader
        .deserialize()
        .map(|row| row.unwrap_or_else(|error| panic!("failed to read {name}: {error}")))
        .collect();
    let found = rows.len();
    assert!(
        found >= least_rows,
        "{name}: found {found} rows, wanted at least {least_rows}"
    );
    rows
}
