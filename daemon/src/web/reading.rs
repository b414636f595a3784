//! Reads the store for the page, beside the one that writes to it: few at a time, on threads of their
//! own, so that however many ask, pollers and analysis do not wait.
//! Never in here: what is read.

use crate::store::{Layout, Store, StoreError};
use std::path::PathBuf;
use std::time::Duration;
use thiserror::Error;
use tokio::sync::Semaphore;
use tracing::warn;

/// Reads at a time. With one more the pages are no faster on a small server, which has a core or two
/// for everything (judgement).
const AT_A_TIME: usize = 2;
/// Who would wait longer is told to come again.
const LONGEST_WAIT: Duration = Duration::from_secs(10);

/// Why nothing can be shown just now.
#[derive(Debug, Error)]
pub enum Unavailable {
    /// Too many want to see something.
    #[error("too many pages are asked for at once")]
    Busy,
    /// The store cannot be read.
    #[error("read the store")]
    Store(#[from] StoreError),
}

/// The store, to read.
#[derive(Debug)]
pub struct StoreReader {
    file: PathBuf,
    layout: Layout,
    turns: Semaphore,
}

impl StoreReader {
    /// Of the store in a file.
    pub fn new(file: PathBuf, layout: Layout) -> Self {
        Self {
            file,
            layout,
            turns: Semaphore::new(AT_A_TIME),
        }
    }

    /// Reads something, when it is its turn. The store is opened for it: a file that turned out
    /// damaged and was set aside meanwhile is not read on.
    ///
    /// # Errors
    /// If it is busy for too long, or the store cannot be read.
    pub async fn read<T: Send + 'static>(
        &self,
        what: impl FnOnce(&Store) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, Unavailable> {
        let turn = tokio::time::timeout(LONGEST_WAIT, self.turns.acquire()).await;
        let _turn = turn
            .map_err(|_| Unavailable::Busy)?
            .expect("it is never closed");
        let (file, layout) = (self.file.clone(), self.layout.clone());
        let read = tokio::task::spawn_blocking(move || {
            let store = Store::open_to_read(&file, &layout)?;
            what(&store)
        });
        let result = read.await.expect("reading does not panic");
        result.map_err(|error| {
            warn!(%error, "the page cannot read the store");
            Unavailable::Store(error)
        })
    }
}
