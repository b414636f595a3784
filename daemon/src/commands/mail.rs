//! `noonmark mail SITE`: a trial mail to every reader, to see that mails arrive.
//! Never in here: what stands in it, or how it is sent.

use super::exit;
use crate::alert::{ComposeError, Composer, PATIENCE, SendError, send};
use crate::clock::Clock;
use config::checked::SiteFile;
use std::io::{self, Write};
use thiserror::Error;

/// Why a trial mail has not left. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum MailError {
    /// Nobody gets mails.
    #[error("send a trial mail: the site file has no [alerts.mail]")]
    Nobody,
    /// It cannot be written.
    #[error(transparent)]
    Compose(#[from] ComposeError),
    /// Some have not left; why, was printed.
    #[error("send {count} of {all} trial mails")]
    NotSent {
        /// How many have not left.
        count: usize,
        /// How many there are.
        all: usize,
    },
    /// The terminal cannot be written to.
    #[error("write to the terminal: {0}")]
    Print(#[from] io::Error),
}

impl MailError {
    /// The exit code that says the same.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Nobody => exit::BAD_SITE_FILE,
            Self::Compose(_) => exit::INTERNAL,
            Self::NotSent { .. } => exit::UNREACHABLE,
            Self::Print(_) => exit::CANNOT_WRITE,
        }
    }
}

/// Sends a trial mail to every reader and says what became of each.
///
/// # Errors
/// If nobody gets mails, or one has not left.
pub async fn mail(site: &SiteFile, clock: Clock, out: &mut dyn Write) -> Result<(), MailError> {
    let server = site.alerts.mail.as_ref().ok_or(MailError::Nobody)?;
    let composer = Composer::of(site).ok_or(MailError::Nobody)?;
    let readers = &site.alerts.readers;
    let mut failed = 0;
    for (n, reader) in readers.iter().enumerate() {
        let message = composer.trial(n, clock.now())?;
        let sent: Result<(), SendError> = send(server, message, PATIENCE).await;
        match sent {
            Ok(()) => writeln!(out, "{}: taken by {}", reader.email, server.address)?,
            Err(error) => {
                failed += 1;
                writeln!(out, "{}: not sent; failed to {error}", reader.email)?;
            }
        }
    }
    match failed {
        0 => Ok(()),
        count => Err(MailError::NotSent {
            count,
            all: readers.len(),
        }),
    }
}
