//! Sends the mails of the outbox: at least once, however long a server is away.
//!
//! A mail that a server has not taken is tried again after a minute, then after twice the time, up to
//! an hour, until it is taken. Before it is noted that one was taken the program may end; then it
//! goes out again with the same Message-ID. Passwords are read anew at each try and kept nowhere.
//! Never in here: which mails there are, or what stands in them.

use super::compose::{ComposeError, Composer};
use super::post::ToPost;
use crate::clock::Clock;
use crate::secret;
use crate::store::{Layout, Mail, Outcome, Store, StoreError, Try};
use analysis::reading::{Span, Time};
use config::checked::{MailSecurity, MailServer};
use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::{Certificate, CertificateStore, Tls, TlsParameters};
use lettre::{AsyncSmtpTransport, AsyncTransport, Message, Tokio1Executor};
use std::collections::BTreeMap;
use std::io;
use std::path::PathBuf;
use std::time::Duration;
use thiserror::Error;
use tracing::{error, info, warn};

/// From one look into the outbox to the next while nobody says that there is something new.
const LOOK_EVERY: Duration = Duration::from_secs(30);
/// How long a server may take for a mail; some look through it before they answer (RFC 5321 wants
/// minutes of patience).
pub const PATIENCE: Duration = Duration::from_secs(300);
/// The waits after a try that failed: the first, and the longest.
const FIRST_WAIT: Span = Span::from_min(1);
const LONGEST_WAIT: Span = Span::from_h(1);
/// After this a person must act.
pub const TOO_LONG: Span = Span::from_h(24);

/// Why a mail has not left. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum SendError {
    /// It cannot be written.
    #[error(transparent)]
    Compose(#[from] ComposeError),
    /// The outbox cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The password or the authority cannot be read.
    #[error("read {what} of the mail server: {source}")]
    Setting {
        /// Which.
        what: &'static str,
        /// Why.
        source: io::Error,
    },
    /// The server has not answered.
    #[error("hand a mail to {server}: no answer within {} s", .after.as_secs())]
    Silent {
        /// Which.
        server: String,
        /// How long it had.
        after: Duration,
    },
    /// The server was not reached, or has refused it.
    #[error("hand a mail to {server}: {}", with_reasons(.source))]
    Smtp {
        /// Which.
        server: String,
        /// Why.
        source: lettre::transport::smtp::Error,
    },
}

fn with_reasons(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut reason = error.source();
    while let Some(next) = reason {
        text = format!("{text}: {next}");
        reason = next.source();
    }
    text
}

/// Sends what is in the outbox of one site.
#[derive(Debug)]
pub struct Sender {
    composer: Composer,
    server: MailServer,
    store_file: PathBuf,
    to_post: ToPost,
    patience: Duration,
    /// Tries that the store may not show yet, by mail: how many there were then.
    tried: BTreeMap<i64, u32>,
}

impl Sender {
    /// A sender of what lies in the store's outbox, which gives a server so long for each mail.
    pub fn new(
        composer: Composer,
        server: MailServer,
        store_file: PathBuf,
        to_post: ToPost,
        patience: Duration,
    ) -> Self {
        Self {
            composer,
            server,
            store_file,
            to_post,
            patience,
            tried: BTreeMap::new(),
        }
    }

    /// Sends until it is dropped, or until nobody notes any more what became of mails.
    pub async fn run(mut self, clock: Clock) {
        loop {
            let pause = self.look(clock).await.unwrap_or_else(|error| {
                warn!(%error, "the outbox cannot be read; tried again");
                LOOK_EVERY
            });
            if self.to_post.tries.is_closed() {
                return;
            }
            // Either is a reason to look; which one it was does not matter.
            let _ = tokio::time::timeout(pause, self.to_post.made.notified()).await;
        }
    }

    /// Tries every mail that is due. Says how long there is nothing to do.
    async fn look(&mut self, clock: Clock) -> Result<Duration, StoreError> {
        let now = clock.now();
        let waiting = self.with_store(|store, _| store.waiting_mails()).await?;
        self.tried
            .retain(|id, _| waiting.iter().any(|mail| mail.id == *id));
        let is_due = |mail: &Mail| {
            let is_noted = self
                .tried
                .get(&mail.id)
                .is_none_or(|tries| *tries < mail.tries + 1);
            is_noted && mail.next_try.is_some_and(|at| at <= now)
        };
        let mut pause = LOOK_EVERY;
        let due: Vec<Mail> = waiting.into_iter().filter(is_due).collect();
        for mail in due {
            let sent = self.send(&mail, clock).await;
            let at = clock.now();
            self.tried.insert(mail.id, mail.tries + 1);
            let outcome = outcome(&mail, sent, at);
            if let Outcome::Later(_, again) = &outcome {
                let real_s = clock.real_seconds(*again - at);
                pause = pause.min(Duration::from_secs_f64(real_s));
            }
            let tried = Try {
                mail: mail.id,
                at,
                outcome,
            };
            if self.to_post.tries.send(tried).await.is_err() {
                break;
            }
        }
        Ok(pause)
    }

    async fn send(&self, mail: &Mail, clock: Clock) -> Result<(), SendError> {
        let (mail, now) = (mail.clone(), clock.now());
        let composed = self
            .with_store(move |store, composer| composer.compose(store, &mail, now))
            .await?;
        send(&self.server, composed.message, self.patience).await
    }

    /// Work with the store, and with pictures, off the threads on which others wait.
    async fn with_store<T: Send + 'static, E: From<StoreError> + Send + 'static>(
        &self,
        work: impl FnOnce(&Store, &Composer) -> Result<T, E> + Send + 'static,
    ) -> Result<T, E> {
        let (file, composer) = (self.store_file.clone(), self.composer.clone());
        let work = tokio::task::spawn_blocking(move || {
            // Opened each time: a store that was damaged is set aside, and another takes its place.
            let store = Store::open_to_read(&file, &Layout::of(&composer.plant))?;
            work(&store, &composer)
        });
        work.await.expect("writing a mail does not panic")
    }
}

/// Hands a message to a server.
///
/// # Errors
/// If its password or authority cannot be read, or the server is not reached or refuses.
pub async fn send(
    server: &MailServer,
    message: Message,
    patience: Duration,
) -> Result<(), SendError> {
    let transport = transport(server)?;
    let sent = tokio::time::timeout(patience, transport.send(message)).await;
    let sent = sent.map_err(|_| SendError::Silent {
        server: server.address.to_string(),
        after: patience,
    })?;
    sent.map(drop).map_err(|source| SendError::Smtp {
        server: server.address.to_string(),
        source,
    })
}

/// Connects to a server as for a mail, with encryption and password, and hands nothing over.
///
/// # Errors
/// If its password or authority cannot be read, or the server is not reached or refuses.
pub async fn greet(server: &MailServer, patience: Duration) -> Result<(), SendError> {
    let transport = transport(server)?;
    let greeted = tokio::time::timeout(patience, transport.test_connection()).await;
    let greeted = greeted.map_err(|_| SendError::Silent {
        server: server.address.to_string(),
        after: patience,
    })?;
    greeted.map(drop).map_err(|source| SendError::Smtp {
        server: server.address.to_string(),
        source,
    })
}

fn transport(server: &MailServer) -> Result<AsyncSmtpTransport<Tokio1Executor>, SendError> {
    let host = &server.address.host;
    let tls = || parameters(server);
    let tls = match server.security {
        MailSecurity::Tls => Tls::Wrapper(tls()?),
        MailSecurity::StartTls => Tls::Required(tls()?),
        MailSecurity::None => Tls::None,
    };
    let transport = AsyncSmtpTransport::<Tokio1Executor>::builder_dangerous(host)
        .port(server.address.port)
        // Around all of it is a limit; the library's own is for the connection alone.
        .timeout(None)
        .tls(tls);
    let Some(user) = &server.user else {
        return Ok(transport.build());
    };
    let password = server.password.as_ref().map(secret::read).transpose();
    let password = password.map_err(|source| SendError::Setting {
        what: "the password",
        source,
    })?;
    let known = Credentials::new(user.clone(), password.unwrap_or_default());
    Ok(transport.credentials(known).build())
}

fn parameters(server: &MailServer) -> Result<TlsParameters, SendError> {
    let what = "the authority";
    let wrong = |source| SendError::Setting { what, source };
    let mut builder = TlsParameters::builder(server.address.host.clone());
    if let Some(path) = &server.ca_file {
        let named = |error: String| io::Error::other(format!("{}: {error}", path.display()));
        let pem = std::fs::read(path).map_err(|error| wrong(named(error.to_string())))?;
        let authority = Certificate::from_pem(&pem);
        let authority = authority.map_err(|error| wrong(named(error.to_string())))?;
        builder = builder
            .certificate_store(CertificateStore::None)
            .add_root_certificate(authority);
    }
    builder.build().map_err(|source| SendError::Smtp {
        server: server.address.to_string(),
        source,
    })
}

fn outcome(mail: &Mail, sent: Result<(), SendError>, at: Time) -> Outcome {
    let (to, id) = (&mail.made.reader, &mail.made.message_id);
    match sent {
        Ok(()) => {
            info!(%to, %id, "mail sent");
            Outcome::Sent
        }
        Err(error @ SendError::Compose(ComposeError::NoReader { .. })) => {
            warn!(%id, %error, "mail given up");
            Outcome::GivenUp(error.to_string())
        }
        Err(error) => {
            note_failure(mail, &error, at);
            Outcome::Later(error.to_string(), at + wait(mail.tries))
        }
    }
}

/// How long to wait after a try, when there were so many before it.
fn wait(tries: u32) -> Span {
    let doubled = FIRST_WAIT.ms() << tries.min(10);
    Span::from_ms(doubled.min(LONGEST_WAIT.ms()))
}

/// Said at the first try, and once more each time a person must be told again.
fn note_failure(mail: &Mail, error: &SendError, at: Time) {
    let to = &mail.made.reader;
    let waits_h = (at - mail.made.at).seconds() / 3600.0;
    if at - mail.made.at >= TOO_LONG {
        error!(%to, waits_h, %error, "a mail has waited for more than a day");
    } else if mail.tries == 0 {
        warn!(%to, %error, "mail not sent; tried again, after longer each time");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_up_to_an_hour() {
        let waits: Vec<i64> = (0..8).map(|tries| wait(tries).ms() / 60_000).collect();
        assert_eq!(waits, [1, 2, 4, 8, 16, 32, 60, 60]);
        assert_eq!(wait(u32::MAX), LONGEST_WAIT);
    }
}
