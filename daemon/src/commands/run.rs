//! `noonmark run SITE`: the daemon of one site, until it is told to stop.
//! Never in here: how it works (`crate::run`).

use super::exit;
use crate::alert::{Composer, Links, PATIENCE, Post, Sender};
use crate::analyse::{AnalyseError, Analyst};
use crate::clock::Clock;
use crate::desk::{Desk, DeskError};
use crate::latest::Latest;
use crate::report;
use crate::run;
use crate::source::Night;
use crate::source::modbus::{Endpoint, Lines, Parity, Poller, SerialLine, Settings};
use crate::source::mqtt::{MessageDevice, Subscriber};
use crate::store::{Event, Layout, Opened, Store, StoreError};
use crate::web::link::{Key, KeyError};
use crate::web::{self, WebError};
use crate::written::Written;
use analysis::reading::{ChannelTable, DeviceId, Span, Time};
use config::checked::{Broker, Link, RegisterMap, SiteFile, Source};
use std::collections::BTreeMap;
use std::future::Future;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
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

/// Runs until `shutdown` is ready.
///
/// # Errors
/// If the site cannot be read live, or its folder cannot be used.
pub async fn run(
    site: &SiteFile,
    folder: &Path,
    clock: Clock,
    shutdown: impl Future<Output = ()>,
) -> Result<(), RunError> {
    let devices = site.without_source();
    if !devices.is_empty() {
        return Err(RunError::WithoutSource { devices });
    }
    std::fs::create_dir_all(folder).map_err(|source| RunError::Folder {
        folder: folder.to_owned(),
        source,
    })?;
    let plant = Arc::new(site.plant.clone());
    let store_file = folder.join(STORE_NAME);
    let opened = Store::open(&store_file, &Layout::of(&plant))?;
    if let Some(aside) = &opened.set_aside {
        error!(kept_as = %aside.display(), "the store was damaged and set aside; a new one starts");
    }
    let store = noted(opened, clock.now());
    let mut analyst = Analyst::open(plant.clone(), store, true)?;
    analyst.resumed(clock.now());
    let table = Arc::new(plant.channels.clone());
    let latest = Arc::new(Latest::new(&table));
    let written = Arc::<Written>::default();
    let resources = web::Resources {
        site: site.clone(),
        folder: folder.to_owned(),
        store_file: store_file.clone(),
        latest: latest.clone(),
        written: written.clone(),
        clock,
    };
    let page = web::open(resources).await?;
    let sources = run::Sources {
        subscribers: subscribers(site, &table),
        pollers: pollers(site, table),
        latest,
    };
    let devices = site.sources.len();
    info!(site = %plant.site.name, devices, folder = %folder.display(), "running");
    let into = folder.to_owned();
    let reports = report::Writer::start(into, store_file.clone(), plant, site.timezone);
    let (post, sender) = mails(site, folder)?.unzip();
    let desk = Desk::new(analyst, store_file, reports, site.keep, post);
    let (server, desk) = match page {
        None => (None, desk),
        Some((server, words)) => (Some(server), desk.hearing(words, written)),
    };
    let outlets = run::Outlets {
        mails: sender,
        page: server,
    };
    Ok(run::run(sources, outlets, desk, clock, shutdown).await?)
}

/// Where mails are made and who sends them, if somebody is to get any.
fn mails(site: &SiteFile, folder: &Path) -> Result<Option<(Post, Sender)>, RunError> {
    let (Some(server), Some(mut composer)) = (&site.alerts.mail, Composer::of(site)) else {
        return Ok(None);
    };
    if let Some(page) = &site.alerts.page {
        let key = Key::of_folder(folder)?;
        composer.links = Some(Links {
            page: page.clone(),
            key,
        });
    }
    let (post, to_post) = Post::new(composer.alerts.clone(), server, site.timezone);
    let sender = Sender::new(
        composer,
        server.clone(),
        folder.join(STORE_NAME),
        to_post,
        PATIENCE,
    );
    Ok(Some((post, sender)))
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

/// One poller for each device; those with the same address or serial port share a line.
fn pollers(site: &SiteFile, table: Arc<ChannelTable>) -> Vec<(Poller, Option<Night>)> {
    let known = |source| Some((settings(source)?, source.device.clone()));
    let known: Vec<_> = site.sources.iter().filter_map(known).collect();
    let mut on_line: BTreeMap<&Endpoint, Vec<Duration>> = BTreeMap::new();
    for (settings, _) in &known {
        let periods = on_line.entry(&settings.endpoint).or_default();
        periods.push(settings.every);
    }
    let mut lines = Lines::default();
    let poller = |(settings, device): &(Settings, DeviceId)| {
        let periods = &on_line[&settings.endpoint];
        // One answer that is waited for must not cost a neighbour more than one of its polls.
        let quickest = periods.iter().min().copied().unwrap_or(settings.every);
        let settings = Settings {
            timeout: settings.timeout.min(quickest),
            ..settings.clone()
        };
        let line = lines.line(&settings.endpoint);
        let every = Span::from_ms(settings.night_every.as_millis() as i64);
        let night = Night::of(&site.plant, device, every);
        let (is_neighbour, table) = (periods.len() > 1, table.clone());
        let poller = Poller::on(&line, is_neighbour, settings, device.clone(), table);
        (poller, night)
    };
    known.iter().map(poller).collect()
}

/// One subscriber for each broker, with all devices behind it.
fn subscribers(site: &SiteFile, table: &ChannelTable) -> Vec<Subscriber> {
    let mut behind: BTreeMap<&Broker, Vec<MessageDevice>> = BTreeMap::new();
    for source in &site.sources {
        let (Link::Mqtt { broker, topic }, RegisterMap::Messages { map, .. }) =
            (&source.link, &source.map)
        else {
            continue;
        };
        let (name, map) = (&source.device, map.clone());
        let device = MessageDevice::new(name, topic, map, table, source.every);
        behind.entry(broker).or_default().push(device);
    }
    let subscriber = |(broker, devices): (&Broker, _)| Subscriber::new(broker.clone(), devices);
    behind.into_iter().map(subscriber).collect()
}

/// How a device is polled; `None` for one that is not.
pub fn settings(source: &Source) -> Option<Settings> {
    let duration = |span: Span| Duration::from_millis(span.ms().unsigned_abs());
    let (endpoint, unit) = endpoint(&source.link)?;
    Some(Settings {
        endpoint,
        unit,
        timeout: duration(source.timeout),
        every: duration(source.every),
        night_every: duration(source.night_every),
        map: match &source.map {
            RegisterMap::File { map, .. } => Some(map.clone()),
            RegisterMap::SunSpec | RegisterMap::Messages { .. } => None,
        },
    })
}

fn endpoint(link: &Link) -> Option<(Endpoint, u8)> {
    match link {
        Link::ModbusTcp { address, unit } => {
            let address = address.to_string();
            Some((Endpoint::Tcp { address }, *unit))
        }
        Link::ModbusRtuOverTcp { address, unit } => {
            let address = address.to_string();
            Some((Endpoint::RtuOverTcp { address }, *unit))
        }
        Link::ModbusRtu {
            serial,
            baud,
            parity,
            stop_bits,
            unit,
        } => {
            let line = SerialLine {
                path: serial.clone(),
                baud: *baud,
                parity: match parity {
                    config::checked::Parity::None => Parity::None,
                    config::checked::Parity::Even => Parity::Even,
                    config::checked::Parity::Odd => Parity::Odd,
                },
                two_stop_bits: *stop_bits == 2,
            };
            Some((Endpoint::Serial(line), *unit))
        }
        Link::Mqtt { .. } => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Barn and mast stand behind one converter; the mast is told to be waited for longer than the
    /// barn has from one poll to the next.
    #[test]
    fn an_answer_is_not_waited_for_longer_than_a_neighbour_has_time() {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/sites/hillside-barn.toml");
        let text = std::fs::read_to_string(path).expect("an example");
        let text = text.replace("every_s = 30", "every_s = 30\ntimeout_s = 25");
        let site = config::parse("barn", &text, Path::new("")).expect("a right file");
        let table = Arc::new(site.plant.channels.clone());
        let pollers = pollers(&site, table);
        let limits = pollers.iter().map(|(poller, night)| {
            let settings = poller.settings();
            (
                poller.name().as_str().to_owned(),
                settings.timeout.as_secs(),
                night.is_some(),
            )
        });
        let wanted = [("barn".to_owned(), 3, true), ("mast".to_owned(), 10, false)];
        assert_eq!(limits.collect::<Vec<_>>(), wanted);
    }
}
