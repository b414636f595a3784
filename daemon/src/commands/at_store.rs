//! What the commands on a store share: where it lies, which exit code.
//! Never in here: what they do.

use super::exit;
use super::run::STORE_NAME;
use crate::store::StoreError;
use std::path::{Path, PathBuf};

/// The store itself, or the one in a folder of the daemon.
pub fn store_file(path: &Path) -> PathBuf {
    if path.is_dir() {
        path.join(STORE_NAME)
    } else {
        path.to_owned()
    }
}

/// The file must be there: opening one that is not says little.
pub(super) fn there(path: &Path) -> Result<PathBuf, StoreError> {
    let file = store_file(path);
    match std::fs::metadata(&file) {
        Ok(_) => Ok(file),
        Err(source) => Err(StoreError::NotThere { path: file, source }),
    }
}

/// The exit code of a store that cannot be read, or of a copy that cannot be written.
pub(super) fn exit_code(error: &StoreError) -> u8 {
    match error {
        StoreError::CannotOpen { .. } => exit::CANNOT_CREATE,
        StoreError::DiskFull { .. } | StoreError::ReadOnly { .. } | StoreError::Disk { .. } => {
            exit::CANNOT_WRITE
        }
        _ => exit::BAD_DATA,
    }
}
