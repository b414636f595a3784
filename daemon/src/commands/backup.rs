//! `noonmark backup STORE --to FILE`: a checked copy of a store, also while the daemon writes to it.
//! Never in here: how it is copied.

use super::at_store::{exit_code, there};
use super::exit;
use super::meter::Meter;
use super::verify::{print_problems, print_sound};
use crate::store::{StoreError, back_up};
use analysis::reading::Time;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why there is no copy. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum BackupError {
    /// The store cannot be read or the copy cannot be written.
    #[error("back up {}", from.display())]
    Store {
        /// The store.
        from: PathBuf,
        /// Why.
        source: StoreError,
    },
    /// The copy is not sound, as the store is not.
    #[error("back up {}: the copy is not sound and was kept as {}.part", from.display(), to.display())]
    NotSound {
        /// The store.
        from: PathBuf,
        /// The copy that was wanted.
        to: PathBuf,
    },
    /// The terminal cannot be written to.
    #[error("write to the terminal: {0}")]
    Print(#[from] io::Error),
}

impl BackupError {
    /// The exit code that says the same.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Store { source, .. } => exit_code(source),
            Self::NotSound { .. } => exit::BAD_DATA,
            Self::Print(_) => exit::CANNOT_WRITE,
        }
    }
}

/// Copies the store in a folder of the daemon, or the store itself, to a file; an earlier copy of
/// that name is replaced when the new one has been checked.
///
/// # Errors
/// If there is no sound copy.
pub fn backup(store: &Path, to: &Path, now: Time, out: &mut dyn Write) -> Result<(), BackupError> {
    let failed = |source| BackupError::Store {
        from: store.to_owned(),
        source,
    };
    let from = there(store).map_err(failed)?;
    let mut meter = Meter::new();
    let verified = back_up(&from, to, now, &mut |progress| meter.show(progress));
    drop(meter);
    let verified = verified.map_err(failed)?;
    if !verified.problems.is_empty() {
        print_problems(&verified, out)?;
        return Err(BackupError::NotSound {
            from,
            to: to.to_owned(),
        });
    }
    write!(out, "{}: ", to.display())?;
    Ok(print_sound(&verified, out)?)
}
