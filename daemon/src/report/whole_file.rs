//! Writing a file so that a reader finds the old one or the new one, never half of one.
//! Never in here: what is in the file.

use std::fs::{File, create_dir_all};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;
use thiserror::Error;

/// Why a file could not be written; the old one, if any, is untouched.
#[derive(Debug, Error)]
#[error("write {}: {source}", path.display())]
pub struct WriteError {
    /// The file.
    pub path: PathBuf,
    /// What the system said.
    pub source: io::Error,
}

/// Writes a file in place of an earlier one, making its folder if there is none.
///
/// # Errors
/// If the system refuses.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), WriteError> {
    let all = |file: &mut dyn Write| file.write_all(bytes);
    replace(path, all).map_err(|source| WriteError {
        path: path.to_owned(),
        source,
    })
}

/// The same for what is made piece by piece.
///
/// # Errors
/// If the system refuses, or what makes the pieces fails.
pub fn write_pieces<E: From<WriteError>>(
    path: &Path,
    make: impl FnOnce(&mut dyn Write) -> Result<(), E>,
) -> Result<(), E> {
    let mut made = Ok(());
    let pieces = |file: &mut dyn Write| {
        let mut buffered = BufWriter::new(file);
        made = make(&mut buffered);
        buffered.flush()?;
        match &made {
            Ok(()) => Ok(()),
            // Its own words are in `made`; this only keeps the old file.
            Err(_) => Err(io::Error::other("the pieces could not be made")),
        }
    };
    let written = replace(path, pieces).map_err(|source| WriteError {
        path: path.to_owned(),
        source,
    });
    made?;
    Ok(written?)
}

fn replace(path: &Path, write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> io::Result<()> {
    // In the same folder: a rename between file systems would be a copy.
    let folder = path
        .parent()
        .filter(|p| !p.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    create_dir_all(folder)?;
    let mut file = NamedTempFile::new_in(folder)?;
    write(&mut file)?;
    // Before the rename, so that a power cut cannot leave the new name on an empty file.
    file.as_file().sync_all()?;
    readable_by_all(file.as_file())?;
    file.persist(path)?;
    Ok(())
}

/// A temporary file is its owner's alone; a report is for whoever may enter the folder.
#[cfg(unix)]
fn readable_by_all(file: &File) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.set_permissions(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn readable_by_all(_: &File) -> io::Result<()> {
    Ok(())
}
