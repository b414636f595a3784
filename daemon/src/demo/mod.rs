//! The demo: an invented plant with faults, polled over real Modbus TCP on loopback.
//!
//! Time is stepped, not waited for: each step computes the plant, fills the registers of a server,
//! polls them as any device is polled, and hands the readings to the same analysis as ever.
//! Never in here: anything that `run` and `replay` could share with it, or a real plant.

mod mails;
mod register_server;
mod registers;
mod scenario;
mod twin;
mod weather;

use crate::alert::ComposeError;
use crate::analyse::{AnalyseError, Analyst};
use crate::commands::exit;
use crate::report::{self, ReportError, WriteError};
use crate::source::modbus::{Endpoint, Poller, Settings};
use crate::source::settings;
use crate::store::{Layout, Store, StoreError};
use crate::text;
use analysis::reading::{Reading, Span, Time};
use config::checked::SiteFile;
pub use register_server::{Registers, serve};
use std::io::Write;
use std::path::Path;
use std::sync::Arc;
use thiserror::Error;
use tokio::net::TcpListener;
use tokio::sync::oneshot;

/// The demo's site file, as anybody can read it.
const SITE: &str = include_str!("../../../config/sites/quince-row-dairy.toml");

/// Why the demo cannot be shown. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum DemoError {
    /// No server on loopback.
    #[error("listen on loopback: {0}")]
    Listen(std::io::Error),
    /// A device did not answer where the scenario wants it to.
    #[error("poll the demo's {device}: {reason}")]
    Poll {
        /// The device.
        device: String,
        /// Why.
        reason: String,
    },
    /// The plant cannot be modelled.
    #[error(transparent)]
    Analyse(#[from] AnalyseError),
    /// The plant cannot be simulated.
    #[error(transparent)]
    Twin(#[from] twin::TwinError),
    /// The values do not fit into registers.
    #[error(transparent)]
    Encode(#[from] crate::source::sunspec::EncodeError),
    /// The store in memory refused.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The reports cannot be written.
    #[error(transparent)]
    Report(#[from] ReportError),
    /// A mail cannot be written.
    #[error(transparent)]
    Mail(#[from] ComposeError),
    /// A mail cannot be put into its file.
    #[error(transparent)]
    MailFile(#[from] WriteError),
    /// The terminal cannot be written to.
    #[error("write to the terminal: {0}")]
    Print(std::io::Error),
}

impl DemoError {
    /// The exit code that says the same.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Report(_) | Self::MailFile(_) => exit::CANNOT_CREATE,
            Self::Print(_) => exit::CANNOT_WRITE,
            _ => exit::INTERNAL,
        }
    }
}

/// Shows the demo: findings as they come, then where the reports are.
///
/// # Errors
/// If loopback, the terminal or the output folder cannot be used.
pub async fn demo(into: &Path, out: &mut dyn Write) -> Result<(), DemoError> {
    let site = config::parse("the demo's site file", SITE, Path::new(""))
        .expect("tests/run checks every file in config/sites");
    let listener = TcpListener::bind("127.0.0.1:0")
        .await
        .map_err(DemoError::Listen)?;
    let address = listener.local_addr().map_err(DemoError::Listen)?;
    let registers = Registers::new();
    let (stop, stopped) = oneshot::channel::<()>();
    let server = tokio::spawn(serve(listener, registers.clone(), async {
        // Dropping the sender stops the server as well.
        let _ = stopped.await;
    }));
    let say = |out: &mut dyn Write, line: String| writeln!(out, "{line}").map_err(DemoError::Print);
    say(
        out,
        format!(
            "{}: {} days over Modbus TCP on {address}",
            site.plant.site.name,
            scenario::DAYS
        ),
    )?;
    let plant = Arc::new(site.plant.clone());
    let mut pollers = pollers(&site, &address.to_string());
    let store = Store::in_memory(&Layout::of(&plant))?;
    let mut analyst = Analyst::open(plant.clone(), store, true)?;
    let mut twin = twin::Twin::new(&plant)?;
    let mut mails = mails::Mails::new(&site);
    let mut at = scenario::START;
    while at < scenario::END {
        let now = twin.at(at)?;
        registers::fill(&registers, &plant, &now)?;
        let readings = poll_all(&mut pollers, at).await?;
        let changed = analyst.take(&readings, at);
        for finding in &changed {
            say(out, text::line(finding, site.timezone))?;
        }
        at = at + scenario::STEP;
        let is_day = (at - scenario::START).ms() % Span::from_h(24).ms() == 0;
        if is_day || !changed.is_empty() {
            analyst.save()?;
        }
        mails.make(analyst.store_mut(), at)?;
    }
    analyst.save()?;
    mails.sum_up(analyst.store_mut(), at)?;
    let _ = stop.send(());
    // The server ends with its connections; nothing depends on how.
    drop(pollers);
    let _ = server.await;
    let tally = report::Tally::new(&plant);
    let about = report::About {
        plant: &plant,
        timezone: site.timezone,
    };
    for finding in analyst.standing() {
        say(
            out,
            text::standing_line(finding, &plant.site, site.timezone),
        )?;
    }
    for mail in mails.write(into)? {
        say(out, mail)?;
    }
    for file in report::write(into, about, analyst.store(), None, &tally)? {
        say(out, file.display().to_string())?;
    }
    Ok(())
}

/// As `run` polls them, but at the demo's own address.
fn pollers(site: &SiteFile, address: &str) -> Vec<Poller> {
    let table = Arc::new(site.plant.channels.clone());
    let poller = |source: &config::checked::Source| {
        let settings = Settings {
            endpoint: Endpoint::Tcp {
                address: address.to_owned(),
            },
            ..settings(source)?
        };
        Some(Poller::new(settings, source.device.clone(), table.clone()))
    };
    site.sources.iter().filter_map(poller).collect()
}

async fn poll_all(pollers: &mut [Poller], at: Time) -> Result<Vec<Reading>, DemoError> {
    let mut readings = Vec::new();
    for poller in pollers {
        match poller.poll(at).await {
            Ok(values) => readings.extend(values),
            // The scenario takes a device off the line for a while: that is a lost link.
            Err(failure) if failure.error.trouble() == crate::source::modbus::Trouble::Refused => {}
            Err(failure) => {
                let device = poller.settings().unit.to_string();
                return Err(DemoError::Poll {
                    device,
                    reason: failure.error.to_string(),
                });
            }
        }
    }
    Ok(readings)
}
