//! A copy of a store beside the process that writes to it.
//!
//! The copy is of one moment: a reader of the log sees the same however long it reads. It is made
//! beside its name, checked, and only then takes the place of an earlier one.

use super::audit::{Event, note};
use super::open::{connect, with_suffix};
use super::schema::{Origin, origin};
use super::verify::{self, Verified};
use super::{Store, StoreError};
use analysis::reading::Time;
use rusqlite::backup::{Backup, StepResult};
use rusqlite::{Connection, OpenFlags};
use std::fs::{self, File};
use std::path::Path;
use std::time::Duration;

/// Pages from one word on progress to the next; 16 MB.
const PAGES_PER_STEP: i32 = 4096;
/// The writer's longest step takes less.
const BUSY: Duration = Duration::from_secs(30);

/// How far a long piece of work is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// What it is busy with.
    pub doing: &'static str,
    /// Of `all`, in its own unit.
    pub done: u64,
    /// 0 where nobody knows.
    pub all: u64,
}

/// Copies the store `from` to the file `to` and checks the copy. Says what the check has found; a
/// copy that is not sound is kept as `to` with `.part` at the end, and an earlier `to` stays.
///
/// # Errors
/// If the store cannot be read or the copy cannot be written; then there is no copy.
pub fn back_up(
    from: &Path,
    to: &Path,
    at: Time,
    progress: &mut dyn FnMut(Progress),
) -> Result<Verified, StoreError> {
    let part = with_suffix(to, ".part");
    let copied = copy(from, &part, progress);
    if let Err(error) = copied {
        remove_part(&part);
        return Err(error);
    }
    let verified = verify::verify(&part, progress)?;
    if verified.problems.is_empty() {
        let cannot = |source| StoreError::CannotOpen {
            path: to.to_owned(),
            source,
        };
        fs::rename(&part, to).map_err(cannot)?;
        sync_folder(to).map_err(cannot)?;
        note_in(from, at, to);
    }
    Ok(verified)
}

fn copy(from: &Path, part: &Path, progress: &mut dyn FnMut(Progress)) -> Result<(), StoreError> {
    let doing = "back the store up";
    let at = StoreError::at(doing);
    let source = connect(
        from,
        OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX,
    )?;
    source.busy_timeout(BUSY).map_err(&at)?;
    if origin(&source)? == Origin::Empty {
        return Err(StoreError::Empty {
            path: from.to_owned(),
        });
    }
    // Holds the moment until the copy is whole.
    source
        .execute_batch("BEGIN; SELECT count(*) FROM sqlite_schema;")
        .map_err(&at)?;
    remove_part(part);
    File::create_new(part).map_err(|source| StoreError::CannotOpen {
        path: part.to_owned(),
        source,
    })?;
    let mut copy = connect(part, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
    let backup = Backup::new(&source, &mut copy).map_err(&at)?;
    loop {
        let step = backup.step(PAGES_PER_STEP).map_err(&at)?;
        let pages = backup.progress();
        progress(Progress {
            doing: "copying",
            done: (pages.pagecount - pages.remaining) as u64,
            all: pages.pagecount as u64,
        });
        match step {
            StepResult::Done => break,
            // The source cannot be: this reads a moment of it. The copy is nobody else's.
            StepResult::Busy | StepResult::Locked => std::thread::sleep(Duration::from_millis(50)),
            _ => {}
        }
    }
    drop(backup);
    // One file, without a log beside it.
    copy.query_row("PRAGMA journal_mode = DELETE", [], |row| {
        row.get::<_, String>(0)
    })
    .map_err(&at)?;
    Ok(())
}

/// A part that is left over from a copy that was stopped is worth nothing.
fn remove_part(part: &Path) {
    for suffix in ["", "-journal", "-wal", "-shm"] {
        // Most often there is none.
        let _ = fs::remove_file(with_suffix(part, suffix));
    }
}

/// So that a power cut does not take the new name away.
fn sync_folder(file: &Path) -> std::io::Result<()> {
    let folder = file.parent().filter(|p| !p.as_os_str().is_empty());
    if cfg!(unix) {
        File::open(folder.unwrap_or(Path::new(".")))?.sync_all()?;
    }
    Ok(())
}

/// In the store that was copied, beside its writer. A store that cannot be written to was copied all
/// the same.
fn note_in(from: &Path, at: Time, to: &Path) {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let noted = connect(from, flags).and_then(|db: Connection| {
        db.busy_timeout(BUSY)
            .map_err(StoreError::at("note the copy"))?;
        match origin(&db)? {
            Origin::Ours(Store::LAYOUT_VERSION) => {
                note(&db, at, Event::BackedUp, &to.display().to_string())
            }
            _ => Ok(()),
        }
    });
    if let Err(error) = noted {
        tracing::warn!(%error, "the copy is not noted in the store");
    }
}
