//! The example files beside the sources.

use std::path::{Path, PathBuf};

/// The files of a folder of `config`, in order, with their texts; `least` so many.
pub fn examples(folder: &str, least: usize) -> Vec<(PathBuf, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let files = std::fs::read_dir(folder).expect("a folder of examples");
    let mut examples: Vec<_> = files
        .map(|file| file.expect("readable").path())
        .map(|path| (path.clone(), std::fs::read_to_string(path).expect("text")))
        .collect();
    examples.sort();
    assert!(examples.len() >= least, "an empty folder is not a pass");
    examples
}
