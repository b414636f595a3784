//! Writing a file so that a reader finds the old one or the new one, never half of one.
//!
//! It grows beside its place, under a name of its own and locked. What a power cut leaves of it nobody
//! locks any more: the next file that is written into the folder clears it away.
//! Never in here: what is in the file.

use std::fs::{self, File, create_dir_all};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use tempfile::{Builder, NamedTempFile};
use thiserror::Error;

/// How the names of growing files begin and end; no others are cleared away.
const PART: (&str, &str) = (".", ".noonmark-part");

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
    clear_left_over(folder);
    let mut file = part(folder)?;
    write(&mut file)?;
    // Before the rename, so that a power cut cannot leave the new name on an empty file.
    file.as_file().sync_all()?;
    readable_by_all(file.as_file())?;
    file.persist(path)?;
    Ok(())
}

/// Locked as long as it is open: so others see that somebody is writing it.
fn part(folder: &Path) -> io::Result<NamedTempFile> {
    let (begin, end) = PART;
    let part = Builder::new()
        .prefix(begin)
        .suffix(end)
        .tempfile_in(folder)?;
    // Where a file system has no locks, nothing is cleared away either.
    let _ = part.as_file().try_lock();
    Ok(part)
}

/// What cannot be cleared away is in nobody's way; the writing says what is wrong with the folder.
fn clear_left_over(folder: &Path) {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let is_part = |name: &str| name.starts_with(PART.0) && name.ends_with(PART.1);
    for entry in entries.filter(|entry| entry.file_name().to_str().is_some_and(is_part)) {
        let path = entry.path();
        let is_file = entry.file_type().is_ok_and(|kind| kind.is_file());
        // Opened to write: some file systems lock nothing else.
        let opened = is_file.then(|| File::options().write(true).open(&path));
        if let Some(Ok(file)) = opened
            && file.try_lock().is_ok()
        {
            let _ = fs::remove_file(&path);
        }
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).expect("a folder");
        let name = |entry: io::Result<fs::DirEntry>| entry.expect("an entry").file_name();
        let mut names: Vec<_> = entries
            .map(|entry| name(entry).into_string().expect("a plain name"))
            .collect();
        names.sort();
        names
    }

    #[test]
    fn what_a_power_cut_left_of_a_file_is_gone_after_the_next_one() {
        let dir = tempfile::tempdir().expect("a directory");
        let folder = dir.path();
        let (locked, left_over) = part(folder).expect("room").keep().expect("kept");
        fs::write(&left_over, "half a lin").expect("room");
        let others = [".tmpAbC123", "ledger.noonmark-part", ".noonmark-part.csv"];
        for other in others {
            fs::write(folder.join(other), "somebody else's").expect("room");
        }
        // As long as somebody writes it, it is no left-over.
        write_whole(&folder.join("ledger.csv"), b"1").expect("room");
        assert!(left_over.exists());
        drop(locked);
        write_whole(&folder.join("ledger.csv"), b"2").expect("room");
        let mut wanted = vec!["ledger.csv"];
        wanted.extend(others);
        wanted.sort_unstable();
        assert_eq!(names(folder), wanted);
        assert_eq!(fs::read(folder.join("ledger.csv")).expect("there"), b"2");
    }

    #[test]
    fn what_cannot_be_made_leaves_the_old_file_and_nothing_beside_it() {
        let dir = tempfile::tempdir().expect("a directory");
        let path = dir.path().join("kpi.csv");
        write_whole(&path, b"old").expect("room");
        let made = write_pieces(&path, |file| {
            file.write_all(b"half a lin").expect("room");
            Err(WriteError {
                path: path.clone(),
                source: io::Error::other("no more"),
            })
        });
        assert_eq!(made.expect_err("not made").source.to_string(), "no more");
        assert_eq!(fs::read(&path).expect("there"), b"old");
        assert_eq!(names(dir.path()), ["kpi.csv"]);
    }
}
