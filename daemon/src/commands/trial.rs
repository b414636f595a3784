//! `noonmark trial SITE`: tells everybody who would be told of a finding that nothing is wrong, to see that
//! it arrives.
//! Never in here: what is told, or how it leaves.

use super::exit;
use crate::alert::{
    ComposeError, Composer, PATIENCE, announce_trial, call, send, trial as trial_body,
};
use crate::clock::Clock;
use config::checked::SiteFile;
use std::fmt::Display;
use std::io::{self, Write};
use thiserror::Error;

/// Why not everybody was told. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum TrialError {
    /// Nobody is told anything.
    #[error(
        "tell somebody: the site file has no [alerts.mail], [[alerts.webhook]] or [alerts.mqtt]"
    )]
    Nobody,
    /// A mail cannot be written.
    #[error(transparent)]
    Compose(#[from] ComposeError),
    /// Some were not told; why, was printed.
    #[error("tell {count} of {all}")]
    NotTold {
        /// How many were not.
        count: usize,
        /// How many there are.
        all: usize,
    },
    /// The terminal cannot be written to.
    #[error("write to the terminal: {0}")]
    Print(#[from] io::Error),
}

impl TrialError {
    /// The exit code that says the same.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Nobody => exit::BAD_SITE_FILE,
            Self::Compose(_) => exit::INTERNAL,
            Self::NotTold { .. } => exit::UNREACHABLE,
            Self::Print(_) => exit::CANNOT_WRITE,
        }
    }
}

/// Tells every reader, every webhook and the broker, and says what became of each.
///
/// # Errors
/// If nobody is told anything, or somebody was not.
pub async fn trial(site: &SiteFile, clock: Clock, out: &mut dyn Write) -> Result<(), TrialError> {
    let mut tally = Tally { failed: 0, all: 0 };
    let (alerts, place) = (&site.alerts, &site.plant.site);
    if let (Some(server), Some(composer)) = (&alerts.mail, Composer::of(site)) {
        for (n, reader) in alerts.readers.iter().enumerate() {
            let message = composer.trial(n, clock.now())?;
            let sent = send(server, message, PATIENCE).await;
            tally.note(out, &reader.email, &server.address, sent)?;
        }
    }
    for webhook in &alerts.webhooks {
        let now = clock.now();
        let told = call(webhook, trial_body(now, place), now).await;
        let name = format!("webhook {}", webhook.id);
        tally.note(out, &name, &webhook.url.text, told)?;
    }
    if let Some(mqtt) = &alerts.mqtt {
        let told = announce_trial(mqtt, place, clock.now()).await;
        let name = format!("{}/events", mqtt.prefix);
        tally.note(out, &name, &mqtt.broker.address, told)?;
    }
    match tally {
        Tally { all: 0, .. } => Err(TrialError::Nobody),
        Tally { failed: 0, .. } => Ok(()),
        Tally { failed: count, all } => Err(TrialError::NotTold { count, all }),
    }
}

struct Tally {
    failed: usize,
    all: usize,
}

impl Tally {
    fn note(
        &mut self,
        out: &mut dyn Write,
        name: &str,
        by: &dyn Display,
        told: Result<(), impl Display>,
    ) -> io::Result<()> {
        self.all += 1;
        match told {
            Ok(()) => writeln!(out, "{name}: taken by {by}"),
            Err(error) => {
                self.failed += 1;
                writeln!(out, "{name}: not told; failed to {error}")
            }
        }
    }
}
