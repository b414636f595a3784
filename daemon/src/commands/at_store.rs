//! What the commands on a store share: where it lies, how far the work is, which exit code.
//! Never in here: what they do.

use super::exit;
use super::run::STORE_NAME;
use crate::store::{Progress, StoreError};
use std::io::{self, IsTerminal, Write};
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

/// Says on a terminal how far the work is, in one line that is written over; elsewhere nothing.
pub struct Meter {
    is_shown: bool,
    shown: String,
}

impl Meter {
    /// On standard error, if that is a terminal.
    pub fn new() -> Self {
        Self {
            is_shown: io::stderr().is_terminal(),
            shown: String::new(),
        }
    }

    /// Shows it if it has changed to the whole percent.
    pub fn show(&mut self, progress: Progress) {
        if !self.is_shown {
            return;
        }
        let percent = (100 * progress.done).checked_div(progress.all).unwrap_or(0);
        let line = format!("{} {percent} %", progress.doing);
        if line != self.shown {
            // A terminal that is gone takes no progress.
            let _ = write!(io::stderr(), "\r{line:<40}");
            self.shown = line;
        }
    }
}

impl Default for Meter {
    fn default() -> Self {
        Self::new()
    }
}

impl Drop for Meter {
    fn drop(&mut self) {
        if !self.shown.is_empty() {
            let _ = write!(io::stderr(), "\r{:<40}\r", "");
        }
    }
}
