//! The store: one SQLite file with readings, slots, findings and the engine's state.
//!
//! Everything that one step of the engine made is written in one transaction, or none of it. One
//! process writes; any number may read beside it.
//! Never in here: what a value means, a clock, or a text for people.

mod answers;
mod audit;
mod backup;
mod commit;
mod delivery;
mod error;
mod history;
mod layout;
mod learned;
mod mornings;
mod news;
mod open;
mod outbox;
mod query;
mod schema;
mod slot_rows;
mod verify;

#[cfg(test)]
mod backup_tests;
#[cfg(test)]
mod fault_tests;
#[cfg(test)]
mod older_tests;

pub use answers::{InForce, Maintenance, MaintenanceEnd, Response, Said, What, in_force};
pub use audit::{Audit, Event};
pub use backup::{Progress, back_up};
pub use commit::Step;
pub use delivery::{About, Delivery, NewDelivery, Outcome, Target, Try, Way};
pub use error::StoreError;
pub use history::{Cell, HOUR, Held, Keep, MINUTE, Size, Thinned, date};
pub use layout::Layout;
pub use news::{News, Turn};
pub use open::Opened;
pub use outbox::LATE_AFTER;
pub use verify::{Verified, verify};

use layout::Numbers;
use rusqlite::Connection;
use std::fs::File;
use std::path::Path;

/// An open store.
#[derive(Debug)]
pub struct Store {
    db: Connection,
    layout: Layout,
    numbers: Numbers,
    /// Held while this process is the one that writes; `None` in memory and for reading.
    _lock: Option<File>,
}

impl Store {
    /// Another reader of the same file, for another thread; `None` of a store in memory.
    ///
    /// # Errors
    /// If the file cannot be opened again.
    pub fn beside(&self) -> Result<Option<Store>, StoreError> {
        match self.db.path() {
            None | Some("") => Ok(None),
            Some(path) => Store::open_to_read(Path::new(path), &self.layout).map(Some),
        }
    }

    /// The connection, with no step half done on it. Undoing a step can itself be stopped; then it
    /// is undone here, before anything is read or written.
    fn settled(&self) -> Result<&Connection, StoreError> {
        if !self.db.is_autocommit() {
            let undone = self.db.execute_batch("ROLLBACK");
            undone.map_err(StoreError::at("undo a step"))?;
        }
        Ok(&self.db)
    }
}

/// The engine's state as it was handed over: opaque here, with the version that wrote it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EngineState {
    /// Version of the encoding, as the engine numbers it.
    pub version: u32,
    /// The encoded state.
    pub bytes: Vec<u8>,
}
