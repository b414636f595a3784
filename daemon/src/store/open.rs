//! Opening a store: whose file it is, which version, whether it is sound.
//!
//! A damaged file is given another name and kept; a new one takes its place and the caller is told.

use super::layout::{Layout, Numbers, register};
use super::query::{each_row, get, table_names};
use super::schema::{MIGRATIONS, Origin, migrate, origin, refuse_newer};
use super::{Store, StoreError};
use analysis::reading::Channel;
use rusqlite::{Connection, OpenFlags};
use std::ffi::OsString;
use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};

/// Up to this size the whole file is checked when it is opened; above it the readings, which are
/// most of it and the least missed, are left out, so that a start does not take minutes on a slow
/// card (common practice for such cards: 20 MB/s, so about ten seconds).
const FULL_CHECK_BYTES: u64 = 256 << 20;

/// Left out of the check of a large file. What is packed carries checksums of its own.
const LARGE_TABLES: &[&str] = &["reading", "reading_day", "minute_day", "hour_day"];

/// Prepared statements kept; there are about a dozen different ones.
const STATEMENTS_KEPT: usize = 32;

/// A store that was opened for writing.
#[derive(Debug)]
pub struct Opened {
    /// The store.
    pub store: Store,
    /// Where the damaged file is now, if there was one. The store is empty then.
    pub set_aside: Option<PathBuf>,
    /// The layout that the file had before, if it was brought forward.
    pub migrated_from: Option<i64>,
}

impl Store {
    /// The newest layout, to which an older file is brought when it is opened for writing.
    pub const LAYOUT_VERSION: i64 = MIGRATIONS.len() as i64;

    /// Opens the file for writing, or makes a new one.
    pub fn open(path: &Path, layout: &Layout) -> Result<Opened, StoreError> {
        let lock = take_lock(path)?;
        let ((mut db, version), set_aside) = match open_sound(path) {
            Err(StoreError::Corrupt { .. }) => {
                let aside = set_aside(path)?;
                (open_sound(path)?, Some(aside))
            }
            other => (other?, None),
        };
        register(&mut db, layout)?;
        let store = Self::assemble(db, layout, Some(lock))?;
        let is_older = 0 < version && version < Self::LAYOUT_VERSION;
        Ok(Opened {
            store,
            set_aside,
            migrated_from: is_older.then_some(version),
        })
    }

    /// Opens an existing file for reading, beside the process that writes to it.
    pub fn open_to_read(path: &Path, layout: &Layout) -> Result<Self, StoreError> {
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let db = connect(path, flags)?;
        let known = MIGRATIONS.len() as i64;
        let found = match origin(&db)? {
            Origin::Empty => 0,
            Origin::Ours(version) => version,
        };
        refuse_newer(found, MIGRATIONS)?;
        if found < known {
            return Err(StoreError::Older { found, known });
        }
        Self::assemble(db, layout, None)
    }

    /// The channels that a file has ever had, by name. Those that this program does not know are left
    /// out.
    pub fn addresses(path: &Path) -> Result<Vec<Channel>, StoreError> {
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let db = connect(path, flags)?;
        if origin(&db)? == Origin::Empty {
            let path = path.to_owned();
            return Err(StoreError::Empty { path });
        }
        let mut channels = Vec::new();
        each_row(
            &db,
            "SELECT address FROM channel ORDER BY address",
            [],
            |row| {
                channels.extend(get::<String>(row, "address")?.parse::<Channel>().ok());
                Ok(())
            },
        )?;
        Ok(channels)
    }

    /// A store that is gone when it is dropped.
    pub fn in_memory(layout: &Layout) -> Result<Self, StoreError> {
        let mut db =
            Connection::open_in_memory().map_err(StoreError::at("open a store in memory"))?;
        configure(&db)?;
        migrate(&mut db, 0, MIGRATIONS)?;
        register(&mut db, layout)?;
        Self::assemble(db, layout, None)
    }

    /// Gives up a store that said [`StoreError::Corrupt`] in the middle of work: the file is
    /// renamed and kept, and the next opening starts a new one. Says where the file is now.
    pub fn set_aside(self, path: &Path) -> Result<PathBuf, StoreError> {
        let Store { db, _lock, .. } = self;
        drop(db);
        set_aside(path)
    }

    fn assemble(db: Connection, layout: &Layout, lock: Option<File>) -> Result<Self, StoreError> {
        db.set_prepared_statement_cache_capacity(STATEMENTS_KEPT);
        let numbers = Numbers::load(&db, layout)?;
        Ok(Self {
            db,
            layout: layout.clone(),
            numbers,
            _lock: lock,
        })
    }
}

/// The lock goes with the process, however that ends.
fn take_lock(path: &Path) -> Result<File, StoreError> {
    let cannot_open = |source| StoreError::CannotOpen {
        path: path.to_owned(),
        source,
    };
    let lock = File::create(with_suffix(path, ".lock")).map_err(cannot_open)?;
    match lock.try_lock() {
        Ok(()) => Ok(lock),
        Err(TryLockError::WouldBlock) => Err(StoreError::InUse {
            path: path.to_owned(),
        }),
        Err(TryLockError::Error(source)) => Err(cannot_open(source)),
    }
}

/// The file, and which version it had; 0 if there was none.
fn open_sound(path: &Path) -> Result<(Connection, i64), StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
        | OpenFlags::SQLITE_OPEN_CREATE
        | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut db = connect(path, flags)?;
    // Another program's database must be left as it was, so this comes before any change.
    let version = match origin(&db)? {
        Origin::Empty => 0,
        Origin::Ours(version) => version,
    };
    refuse_newer(version, MIGRATIONS)?;
    check(&db, path, FULL_CHECK_BYTES)?;
    if version == 0 {
        prepare_to_shrink(&db)?;
    }
    configure(&db)?;
    migrate(&mut db, version, MIGRATIONS)?;
    Ok((db, version))
}

pub(super) fn connect(path: &Path, flags: OpenFlags) -> Result<Connection, StoreError> {
    Connection::open_with_flags(path, flags).map_err(StoreError::at("open the store"))
}

fn check(db: &Connection, path: &Path, full_up_to_bytes: u64) -> Result<(), StoreError> {
    let bytes = fs::metadata(path).map_or(0, |file| file.len());
    if bytes <= full_up_to_bytes {
        return quick_check(db, "PRAGMA quick_check(1)");
    }
    // By name from the file itself: an older layout has fewer tables.
    let tables = table_names(db)?;
    let small = tables
        .iter()
        .filter(|t| !LARGE_TABLES.contains(&t.as_str()));
    let table_check = |table: &String| quick_check(db, &format!("PRAGMA quick_check({table})"));
    small.into_iter().try_for_each(table_check)
}

/// So that pages can be given back to the disk later, a few at a time. Only a new file takes it; an
/// older one would have to be written anew as a whole.
fn prepare_to_shrink(db: &Connection) -> Result<(), StoreError> {
    db.execute_batch("PRAGMA auto_vacuum = INCREMENTAL")
        .map_err(StoreError::at("set the store up"))
}

fn quick_check(db: &Connection, pragma: &str) -> Result<(), StoreError> {
    let doing = "check the store";
    let answer: String = db
        .query_row(pragma, [], |row| row.get(0))
        .map_err(StoreError::at(doing))?;
    if answer == "ok" {
        return Ok(());
    }
    Err(StoreError::Corrupt {
        doing,
        detail: answer,
    })
}

/// Write-ahead log, so that reports read while the daemon writes; every commit reaches the disk
/// before it counts, because a mail may go out on the strength of it.
fn configure(db: &Connection) -> Result<(), StoreError> {
    let doing = "set the store up";
    // Answers with the mode that is in force: `wal`, or `memory` for a store in memory.
    db.query_row("PRAGMA journal_mode = WAL", [], |row| {
        row.get::<_, String>(0)
    })
    .map_err(StoreError::at(doing))?;
    db.execute_batch("PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;")
        .map_err(StoreError::at(doing))
}

/// Renames the file and its log to the first free name. The log goes first: a log left alone beside
/// a new file would be thrown away.
fn set_aside(path: &Path) -> Result<PathBuf, StoreError> {
    let parts = ["-wal", "-shm", ""];
    let free = |aside: &PathBuf| parts.iter().all(|p| !with_suffix(aside, p).exists());
    let aside = (1..)
        .map(|n| with_suffix(path, &format!(".damaged-{n}")))
        .find(free)
        .expect("there are more numbers than files");
    for part in parts {
        let (from, to) = (with_suffix(path, part), with_suffix(&aside, part));
        if from.exists() {
            fs::rename(from, &to).map_err(|source| StoreError::SetAside { to, source })?;
        }
    }
    Ok(aside)
}

pub(super) fn with_suffix(path: &Path, suffix: &str) -> PathBuf {
    let mut name = OsString::from(path);
    name.push(suffix);
    PathBuf::from(name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::reading::ChannelTable;

    fn empty_layout() -> Layout {
        Layout {
            planes: Vec::new(),
            inverters: Vec::new(),
            channels: ChannelTable::default(),
        }
    }

    #[test]
    fn damage_is_found_in_a_large_file_too() {
        // Smaller than any database, so that every file counts as large.
        const EVERY_FILE_IS_LARGE: u64 = 0;
        let dir = tempfile::tempdir().expect("a directory");
        let path = dir.path().join("site.sqlite");
        let opened = Store::open(&path, &empty_layout()).expect("the store opens");
        let root = |table: &str| -> u32 {
            let sql = "SELECT rootpage FROM sqlite_schema WHERE name = ?1";
            let db = &opened.store.db;
            db.query_row(sql, [table], |row| row.get(0))
                .expect("the table has a page")
        };
        let (slot, reading) = (root("slot"), root("reading"));
        drop(opened);
        let sound = fs::read(&path).expect("it is there");
        let check_with_damage_at = |page: u32| {
            let mut bytes = sound.clone();
            let start = (page as usize - 1) * 4096;
            bytes[start..start + 64].fill(0xa5);
            fs::write(&path, bytes).expect("room for it");
            let db = connect(&path, OpenFlags::SQLITE_OPEN_READ_ONLY).expect("it opens");
            check(&db, &path, EVERY_FILE_IS_LARGE)
        };
        let found = check_with_damage_at(slot).expect_err("slots are checked");
        assert!(matches!(found, StoreError::Corrupt { .. }));
        check_with_damage_at(reading).expect("readings are left out");
    }
}
