//! The page: what a technician reads beside the inverter, on a telephone or elsewhere.
//!
//! `view` says what is shown, as plain data; `page` shows it to people, `api` to programs. Both only
//! read; what people say goes to the one that writes to the store (`desk`).
//! Everything is served from the program itself: no other site is ever asked.
//! Never in here: what is wrong with a plant.

mod access;
mod ahead;
mod api;
mod assets;
mod balances;
mod calendar;
mod door;
pub mod link;
mod live;
mod page;
mod paths;
mod reading;
mod rooms;
mod serve;
mod shared;
mod show;
mod texts;
mod view;

pub use access::{LEAST_CHARACTERS, PasswordError, hash};
pub use door::{Door, Listening, WebError, door};
pub use serve::Server;

use crate::clock::Clock;
use crate::desk::Word;
use crate::latest::Latest;
use crate::report::Tally;
use crate::store::{Layout, Said, Store, StoreError};
use crate::written::Written;
use access::Access;
use balances::Balances;
use config::checked::SiteFile;
use reading::{StoreReader, Unavailable};
use shared::Shared;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{Semaphore, mpsc, oneshot, watch};
use view::overview::{Overview, overview};

/// What people say may wait for the store so many at a time; of more, people are asked to try again.
const WORDS_QUEUE: usize = 32;
/// How long somebody waits for what he said to be stored. It is looked at once a second.
const STORED_WITHIN: Duration = Duration::from_secs(15);

/// Everything that pages are made of.
#[derive(Debug)]
pub(crate) struct Page {
    site: SiteFile,
    latest: Arc<Latest>,
    clock: Clock,
    access: Access,
    store: StoreReader,
    words: mpsc::Sender<Word>,
    /// Figures of everything in the store so far.
    tally: Arc<Tally>,
    /// Of days that are over.
    balances: Balances,
    /// The first page, which is looked at most.
    first: Shared<Overview>,
    /// Browsers that are told when something changes.
    live: Arc<Semaphore>,
    /// Whether the page is about to end.
    closing: watch::Sender<bool>,
}

/// What the page needs from the daemon.
#[derive(Debug)]
pub struct Resources {
    /// The site file.
    pub site: SiteFile,
    /// The daemon's folder.
    pub folder: PathBuf,
    /// The store in it.
    pub store_file: PathBuf,
    /// What was heard last.
    pub latest: Arc<Latest>,
    /// Which slots have been written.
    pub written: Arc<Written>,
    /// Figures of everything in the store, for whoever shows them.
    pub tally: Arc<Tally>,
    /// The daemon's clock.
    pub clock: Clock,
}

/// The page, ready to be served behind its door, and what people say on it.
pub fn open(resources: Resources, door: Door) -> (Server, mpsc::Receiver<Word>) {
    let (words, heard) = mpsc::channel(WORDS_QUEUE);
    let page = Page::new(resources, door.access, words);
    let page = Arc::new(page);
    let server = Server {
        page: page.clone(),
        closing: page.closing.clone(),
        listener: door.listening.listener,
        acceptor: door.acceptor,
        proxy: door.proxy,
        router: page::router(page),
    };
    (server, heard)
}

/// Why what was said is not stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum NotHeard {
    /// Too much is said at once, or the program stops.
    Busy,
    /// The store did not take it.
    NotStored,
}

impl Page {
    fn new(resources: Resources, access: Access, words: mpsc::Sender<Word>) -> Self {
        let plant = &resources.site.plant;
        Self {
            store: StoreReader::new(resources.store_file, Layout::of(plant)),
            tally: resources.tally,
            balances: Balances::new(resources.written),
            first: Shared::default(),
            site: resources.site,
            latest: resources.latest,
            clock: resources.clock,
            access,
            words,
            live: Arc::new(Semaphore::new(live::MOST)),
            closing: watch::Sender::new(false),
        }
    }

    /// Reads what a page shows.
    async fn view<T: Send + 'static>(
        self: &Arc<Self>,
        what: impl FnOnce(&Page, &Store) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, Unavailable> {
        let page = self.clone();
        self.store.read(move |store| what(&page, store)).await
    }

    /// The first page.
    async fn overview(self: &Arc<Self>) -> Result<Arc<Overview>, Unavailable> {
        self.first.get(self.view(overview)).await
    }

    /// Hands on what somebody said, and waits until it is stored.
    async fn say(&self, said: Said) -> Result<(), NotHeard> {
        let (stored, answer) = oneshot::channel();
        let word = Word { said, stored };
        self.words.try_send(word).map_err(|_| NotHeard::Busy)?;
        match tokio::time::timeout(STORED_WITHIN, answer).await {
            Ok(Ok(true)) => {
                self.first.forget().await;
                Ok(())
            }
            Ok(Ok(false)) => Err(NotHeard::NotStored),
            Ok(Err(_)) | Err(_) => Err(NotHeard::Busy),
        }
    }
}

/// Where the key of the page is in the daemon's folder: for tests of what it leaves there.
pub fn key_file(folder: &Path) -> PathBuf {
    folder.join(access::KEY_NAME)
}
