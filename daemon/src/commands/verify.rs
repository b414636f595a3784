//! `noonmark verify STORE`: whether a store or a copy of one is sound.
//! Never in here: what is checked.

use super::at_store::{exit_code, there};
use super::exit;
use super::meter::Meter;
use crate::store::{StoreError, Verified};
use crate::text::count;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why a store is not sound. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum VerifyError {
    /// It cannot be read.
    #[error("verify {}", path.display())]
    Store {
        /// The store.
        path: PathBuf,
        /// Why.
        source: StoreError,
    },
    /// Something in it is wrong; what, was printed.
    #[error("verify {}: {}", path.display(), crate::text::count(*count, "problem"))]
    NotSound {
        /// The store.
        path: PathBuf,
        /// How many; a hundred stands for more.
        count: usize,
    },
    /// The terminal cannot be written to.
    #[error("write to the terminal: {0}")]
    Print(#[from] io::Error),
}

impl VerifyError {
    /// The exit code that says the same.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Store { source, .. } => exit_code(source),
            Self::NotSound { .. } => exit::BAD_DATA,
            Self::Print(_) => exit::CANNOT_WRITE,
        }
    }
}

/// Checks the store in a folder of the daemon, or the store itself. Reads only, also beside the
/// daemon.
///
/// # Errors
/// If it cannot be read or is not sound.
pub fn verify(store: &Path, out: &mut dyn Write) -> Result<(), VerifyError> {
    let failed = |source| VerifyError::Store {
        path: store.to_owned(),
        source,
    };
    let path = there(store).map_err(failed)?;
    let mut meter = Meter::new();
    let verified = crate::store::verify(&path, &mut |progress| meter.show(progress));
    drop(meter);
    let verified = verified.map_err(failed)?;
    if verified.problems.is_empty() {
        write!(out, "{}: ", path.display())?;
        return Ok(print_sound(&verified, out)?);
    }
    print_problems(&verified, out)?;
    Err(VerifyError::NotSound {
        path,
        count: verified.problems.len(),
    })
}

pub(super) fn print_sound(verified: &Verified, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "sound; {}, {}; of a channel and day {} with readings, {} with minutes, \
         {} with hours",
        count(verified.slots as usize, "slot"),
        count(verified.findings as usize, "finding"),
        verified.days_of_readings,
        verified.days_of_minutes,
        verified.days_of_hours
    )
}

pub(super) fn print_problems(verified: &Verified, out: &mut dyn Write) -> io::Result<()> {
    verified
        .problems
        .iter()
        .try_for_each(|problem| writeln!(out, "{problem}"))
}
