//! `noonmark run SITE`: the daemon of one site, until it is told to stop.
//! Never in here: how it works (`crate::run`).

mod reload;

use super::exit;
use crate::alert::{
    Announcer, AtStore, Caller, Composer, Courier, Links, PATIENCE, Post, Postman, Sender,
};
use crate::analyse::{AnalyseError, Analyst};
use crate::clock::Clock;
use crate::desk::{self, Asked, Desk, DeskError};
use crate::latest::Latest;
use crate::report::{self, Tally};
use crate::run;
use crate::signals::{Order, Orders};
use crate::source::{pollers, subscribers};
use crate::store::{Event, Layout, Opened, Store, StoreError};
use crate::supervisor::Supervisor;
use crate::web::link::{Key, KeyError};
use crate::web::{self, Door, Listening, WebError};
use crate::written::Written;
use analysis::plant::Plant;
use analysis::reading::{DeviceId, Time};
use config::checked::SiteFile;
use std::future::Future;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thiserror::Error;
use tracing::{error, info, warn};

/// Name of the store in the daemon's folder.
pub const STORE_NAME: &str = "noonmark.sqlite";

/// Why the daemon does not run. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum RunError {
    /// Some devices have no source; the site file is for replay.
    #[error("run this site: no source to read live from: {}", list(.devices))]
    WithoutSource {
        /// Each of them.
        devices: Vec<DeviceId>,
    },
    /// Its folder cannot be made.
    #[error("make the folder {}: {source}", .folder.display())]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The store cannot be opened.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The plant cannot be modelled.
    #[error(transparent)]
    Analyse(#[from] AnalyseError),
    /// The page cannot be served as the site file says.
    #[error(transparent)]
    Web(#[from] WebError),
    /// The key of links in mails cannot be kept.
    #[error(transparent)]
    Key(#[from] KeyError),
    /// Work ended before it was told to, or its last step or report cannot be written.
    #[error(transparent)]
    Work(#[from] DeskError),
}

fn list(devices: &[DeviceId]) -> String {
    devices
        .iter()
        .map(ToString::to_string)
        .collect::<Vec<_>>()
        .join(", ")
}

impl RunError {
    /// The exit code that says the same.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::WithoutSource { .. } | Self::Analyse(AnalyseError::Engine(_)) => {
                exit::BAD_SITE_FILE
            }
            Self::Web(WebError::Access(_) | WebError::Identity(_)) => exit::BAD_SITE_FILE,
            Self::Folder { .. } | Self::Key(_) | Self::Web(WebError::Listen { .. }) => {
                exit::CANNOT_CREATE
            }
            Self::Store(_) | Self::Analyse(AnalyseError::Store(_)) | Self::Work(_) => {
                exit::CANNOT_WRITE
            }
        }
    }
}

/// Runs until told to stop. Told to read the site file again it does so: a wrong one is said, and work
/// goes on as before; with a right one all tasks end in order and start anew on the same store.
///
/// # Errors
/// If the site cannot be read live, or its folder cannot be used.
pub async fn serve(
    file: &Path,
    mut site: SiteFile,
    folder: &Path,
    clock: Clock,
    mut orders: Orders,
) -> Result<(), RunError> {
    let supervisor = Supervisor::OfEnvironment;
    let mut door = opened(&site, folder, None).await?;
    loop {
        let before = door.as_ref().map(|door| door.listening.clone());
        let (ask, asked) = desk::ask();
        let mut next = None;
        let told = async {
            while orders.next().await == Order::Reload {
                supervisor.reloading();
                let read = reload::reload(file, folder, before.clone()).await;
                next = tokio::select! {
                    stored = reload::stored(read, &ask) => stored,
                    () = orders.stop() => break,
                };
                if next.is_some() {
                    return;
                }
                supervisor.kept();
            }
            supervisor.stopping();
        };
        let how = How { clock, supervisor };
        work(&site, door, folder, how, Some(asked), told).await?;
        let Some((new_site, new_door)) = next else {
            return Ok(());
        };
        (site, door) = (new_site, new_door);
    }
}

/// Runs until `shutdown` is ready, and tells no supervisor.
///
/// # Errors
/// If the site cannot be read live, or its folder cannot be used.
pub async fn run(
    site: &SiteFile,
    folder: &Path,
    clock: Clock,
    shutdown: impl Future<Output = ()>,
) -> Result<(), RunError> {
    let door = opened(site, folder, None).await?;
    let supervisor = Supervisor::Nobody;
    let how = How { clock, supervisor };
    work(site, door, folder, how, None, shutdown).await
}

/// By which clock it works, and who hears of it.
#[derive(Clone, Copy)]
struct How {
    clock: Clock,
    supervisor: Supervisor,
}

/// All that can be wrong with a site before work begins, and the door of its page.
async fn opened(
    site: &SiteFile,
    folder: &Path,
    before: Option<Listening>,
) -> Result<Option<Door>, RunError> {
    let devices = site.without_source();
    if !devices.is_empty() {
        return Err(RunError::WithoutSource { devices });
    }
    std::fs::create_dir_all(folder).map_err(|source| RunError::Folder {
        folder: folder.to_owned(),
        source,
    })?;
    Ok(web::door(site.web.as_ref(), folder, before).await?)
}

async fn work(
    site: &SiteFile,
    door: Option<Door>,
    folder: &Path,
    How { clock, supervisor }: How,
    asked: Option<Asked>,
    shutdown: impl Future<Output = ()>,
) -> Result<(), RunError> {
    let plant = Arc::new(site.plant.clone());
    let store_file = folder.join(STORE_NAME);
    let opened = Store::open(&store_file, &Layout::of(&plant))?;
    if let Some(aside) = &opened.set_aside {
        error!(kept_as = %aside.display(), "the store was damaged and set aside; a new one starts");
    }
    let store = noted(opened, clock.now());
    let analyst = Analyst::open(plant.clone(), store, true)?;
    let table = Arc::new(plant.channels.clone());
    let latest = Arc::new(Latest::new(&table));
    let written = Arc::<Written>::default();
    let tally = Arc::new(Tally::new(&plant));
    let resources = web::Resources {
        site: site.clone(),
        folder: folder.to_owned(),
        store_file: store_file.clone(),
        latest: latest.clone(),
        written: written.clone(),
        tally: tally.clone(),
        clock,
    };
    let page = door.map(|door| web::open(resources, door));
    let sources = run::Sources {
        subscribers: subscribers(site, &table),
        pollers: pollers(site, table),
        latest,
    };
    let devices = site.sources.len();
    info!(site = %plant.site.name, devices, folder = %folder.display(), "running");
    let (into, whose) = (folder.to_owned(), (plant.clone(), site.timezone));
    let reports = report::Writer::start(into, store_file.clone(), whose, tally);
    let (post, senders) = outbox(site, plant, folder)?;
    let mut desk = Desk::new(analyst, store_file, reports, site.keep, Some(post));
    desk.resumed(clock.now());
    if let Some(asked) = asked {
        desk = desk.asked(asked);
    }
    let (server, desk) = match page {
        None => (None, desk),
        Some((server, words)) => (Some(server), desk.hearing(words, written)),
    };
    let outlets = run::Outlets {
        senders,
        page: server,
    };
    Ok(run::run(sources, outlets, desk, clock, supervisor, shutdown).await?)
}

/// Where what leaves is made, and who takes it where.
fn outbox(
    site: &SiteFile,
    plant: Arc<Plant>,
    folder: &Path,
) -> Result<(Post, Vec<Sender>), RunError> {
    let (post, to_post) = Post::new(Arc::new(site.alerts.clone()), site.timezone);
    let at_store = AtStore {
        file: folder.join(STORE_NAME),
        plant,
    };
    let webhooks = site.alerts.webhooks.iter().cloned();
    let mut couriers: Vec<Courier> = webhooks
        .map(|webhook| Courier::Webhook(Caller { webhook }))
        .collect();
    couriers.extend(
        site.alerts
            .mqtt
            .clone()
            .map(|told| Courier::Mqtt(Announcer::new(told))),
    );
    if let (Some(server), Some(mut composer)) = (&site.alerts.mail, Composer::of(site)) {
        composer.links = links(site, folder)?;
        couriers.push(Courier::Mail(Box::new(Postman {
            composer,
            server: server.clone(),
            patience: PATIENCE,
        })));
    }
    let sender = |courier| Sender::new(courier, at_store.clone(), to_post.clone());
    Ok((post, couriers.into_iter().map(sender).collect()))
}

fn links(site: &SiteFile, folder: &Path) -> Result<Option<Links>, RunError> {
    let Some(page) = &site.alerts.page else {
        return Ok(None);
    };
    Ok(Some(Links {
        page: page.clone(),
        key: Key::of_folder(folder)?,
    }))
}

/// The store, with what opening did to it written down. One that cannot be written to just now is
/// worked with all the same: readings wait for it in memory.
fn noted(opened: Opened, now: Time) -> Store {
    let Opened {
        mut store,
        set_aside,
        migrated_from,
    } = opened;
    let aside = set_aside.map(|aside| (Event::SetAside, aside.display().to_string()));
    let migrated = migrated_from.map(|from| {
        let subject = format!("layout {from} to {}", Store::LAYOUT_VERSION);
        info!(%subject, "the store was brought forward");
        (Event::Migrated, subject)
    });
    let by = (Event::Opened, env!("CARGO_PKG_VERSION").to_owned());
    for (event, subject) in aside.into_iter().chain(migrated).chain([by]) {
        if let Err(error) = store.note(now, event, &subject) {
            warn!(%error, "what was done to the store is not written down");
        }
    }
    store
}
