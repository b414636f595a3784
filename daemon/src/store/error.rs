//! What can go wrong with the store. "The disk is full", "the file is damaged" and "this does not
//! fit the plant" stay apart: each is answered differently.

use analysis::reading::ChannelId;
use rusqlite::ErrorCode;
use std::io;
use std::path::PathBuf;
use thiserror::Error;

/// Why the store could not do it. Nothing of the refused step was written.
#[derive(Debug, Error)]
pub enum StoreError {
    /// The file or its lock cannot be opened or created.
    #[error("open the store {}", path.display())]
    CannotOpen {
        /// The store.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Another process writes to it.
    #[error("open the store {}: another process writes to it", path.display())]
    InUse {
        /// The store.
        path: PathBuf,
    },
    /// Written by a newer version of this program.
    #[error("open the store: its layout has version {found}, this program knows up to {known}")]
    Newer {
        /// Version in the file.
        found: i64,
        /// Newest known version.
        known: i64,
    },
    /// Written by an older version and not yet brought forward by the process that writes.
    #[error("open the store for reading: its layout has version {found}, wanted {known}")]
    Older {
        /// Version in the file.
        found: i64,
        /// Wanted version.
        known: i64,
    },
    /// There is no such file, or it may not be looked at.
    #[error("find the store {}: {source}", path.display())]
    NotThere {
        /// The store.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Nothing was ever written to it.
    #[error("open the store {}: it is empty", path.display())]
    Empty {
        /// The store.
        path: PathBuf,
    },
    /// A database of another program.
    #[error("open the store: application id {found:#010x} is not ours, wanted {wanted:#010x}")]
    NotOurs {
        /// Id in the file.
        found: i64,
        /// Our id.
        wanted: i64,
    },
    /// The file is damaged. Opening for writing sets it aside.
    #[error("{doing}: the store is damaged: {detail}")]
    Corrupt {
        /// What was tried.
        doing: &'static str,
        /// What is damaged.
        detail: String,
    },
    /// The damaged file could not be given another name.
    #[error("set the damaged store aside as {}", to.display())]
    SetAside {
        /// The new name.
        to: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// No room left.
    #[error("{doing}: the disk is full")]
    DiskFull {
        /// What was tried.
        doing: &'static str,
    },
    /// The file, its directory or this connection may not be written.
    #[error("{doing}: the store is read-only")]
    ReadOnly {
        /// What was tried.
        doing: &'static str,
    },
    /// The disk failed.
    #[error("{doing}: input/output error {extended_code}")]
    Disk {
        /// What was tried.
        doing: &'static str,
        /// SQLite's extended result code.
        extended_code: i32,
    },
    /// Any other refusal by the database.
    #[error("{doing}")]
    Sql {
        /// What was tried.
        doing: &'static str,
        /// What the database said.
        source: rusqlite::Error,
    },
    /// A row holds what no version of this program writes.
    #[error("read {column}: found `{found}`")]
    Undecodable {
        /// Table and column.
        column: &'static str,
        /// What it holds.
        found: String,
    },
    /// The channel number is not one of this plant's.
    #[error("find channel {} among the {known} of this plant", channel.0)]
    UnknownChannel {
        /// The number.
        channel: ChannelId,
        /// How many channels the plant has.
        known: usize,
    },
    /// The slot does not have the planes, inverters and inputs of this plant.
    #[error("store a slot of {found} {what}, the plant has {wanted}")]
    SlotShape {
        /// Planes, inverters or inputs.
        what: &'static str,
        /// How many the slot has.
        found: usize,
        /// How many the plant has.
        wanted: usize,
    },
    /// NaN or infinity, which must not travel this far.
    #[error("store {what}: {found} is not a number to keep")]
    NotFinite {
        /// Where it stood.
        what: String,
        /// The value.
        found: f64,
    },
    /// A finding could not be encoded.
    #[error("encode finding {id}")]
    Encode {
        /// The finding.
        id: String,
        /// What the encoder said.
        source: serde_json::Error,
    },
}

impl StoreError {
    /// Sorts a refusal by the database.
    pub(super) fn at(doing: &'static str) -> impl Fn(rusqlite::Error) -> StoreError {
        move |source| match (source.sqlite_error_code(), source.sqlite_error()) {
            (Some(ErrorCode::DiskFull), _) => StoreError::DiskFull { doing },
            (Some(ErrorCode::ReadOnly), _) => StoreError::ReadOnly { doing },
            (Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase), _) => {
                StoreError::Corrupt {
                    doing,
                    detail: source.to_string(),
                }
            }
            (Some(ErrorCode::SystemIoFailure), Some(code)) => StoreError::Disk {
                doing,
                extended_code: code.extended_code,
            },
            _ => StoreError::Sql { doing, source },
        }
    }
}
