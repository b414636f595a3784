//! The book: built by mdBook, every link followed, and held against what the program knows.
//!
//! Kind of truth: property. What the program knows stands in the chapters as it knows it; a key, a kind or a
//! command that is added without being documented fails here, until
//! `cargo run --release -p noonmark-tests --example book` has been run and its list stands in a chapter.

#[path = "book/commands.rs"]
mod commands;
#[path = "book/links.rs"]
mod links;
#[path = "book/parts.rs"]
mod parts;

use std::path::{Path, PathBuf};

/// The top of the sources.
fn top() -> PathBuf {
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    top.canonicalize().expect("it is there")
}

/// Documents beside the book, at the top.
const BESIDE: [&str; 2] = ["README.md", "DEVELOPERS.md"];

fn beside(name: &str) -> String {
    let path = top().join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}
