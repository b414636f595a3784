//! Mails by SMTP: written when they leave, and handed to the server.
//! Never in here: which mails there are, or trying again.

use super::compose::{ComposeError, Composer};
use super::sender::AtStore;
use crate::secret;
use crate::store::Delivery;
use crate::text::with_reasons;
use analysis::reading::Time;
use config::checked::{MailSecurity, MailServer};
use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::{Certificate, CertificateStore, Tls, TlsParameters};
use lettre::{AsyncSmtpTransport, AsyncTransport, Message, Tokio1Executor};
use std::future::Future;
use std::io;
use std::time::Duration;
use thiserror::Error;

/// How long a server may take for a mail; some look through it before they answer (RFC 5321 wants
/// minutes of patience).
pub const PATIENCE: Duration = Duration::from_secs(300);

/// Why a mail has not left. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum SendError {
    /// It cannot be written.
    #[error(transparent)]
    Compose(#[from] ComposeError),
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
    /// The server does not encrypt what it should.
    #[error(
        "hand a mail to {server}: found no STARTTLS in what it offers; wanted by `security` in [alerts.mail], \
         which is \"starttls\" where it is left out (but for port 465). \"tls\" encrypts from the first byte, \
         \"none\" sends mails in the clear"
    )]
    NoStartTls {
        /// Which.
        server: String,
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

/// Takes mails to a server.
#[derive(Debug)]
pub struct Postman {
    /// Writes them.
    pub composer: Composer,
    /// The server.
    pub server: MailServer,
    /// How long it may take for each.
    pub patience: Duration,
}

impl Postman {
    /// Writes a mail from what is known now, and hands it over.
    ///
    /// # Errors
    /// If it cannot be written, or the server does not take it.
    pub async fn carry(
        &self,
        at_store: &AtStore,
        mail: &Delivery,
        now: Time,
    ) -> Result<(), SendError> {
        let (mail, composer) = (mail.clone(), self.composer.clone());
        let composed = at_store
            .with(move |store| composer.compose(store, &mail, now))
            .await?;
        send(&self.server, composed.message, self.patience).await
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
    taken(server, patience, transport.send(message)).await
}

/// Connects to a server as for a mail, with encryption and password, and hands nothing over.
///
/// # Errors
/// If its password or authority cannot be read, or the server is not reached or refuses.
pub async fn greet(server: &MailServer, patience: Duration) -> Result<(), SendError> {
    let transport = transport(server)?;
    taken(server, patience, transport.test_connection()).await
}

/// What a server says, as long as we wait for it.
async fn taken<T>(
    server: &MailServer,
    patience: Duration,
    asked: impl Future<Output = Result<T, lettre::transport::smtp::Error>>,
) -> Result<(), SendError> {
    let answered = tokio::time::timeout(patience, asked).await;
    let answered = answered.map_err(|_| SendError::Silent {
        server: server.address.to_string(),
        after: patience,
    })?;
    let server = server.address.to_string();
    answered.map(drop).map_err(|source| {
        // The library has no name for it but these words.
        let words = with_reasons(&source);
        match source.is_client() && words.contains("STARTTLS is not supported") {
            true => SendError::NoStartTls { server },
            false => SendError::Smtp { server, source },
        }
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
        let pem = secret::place(path).and_then(std::fs::read);
        let pem = pem.map_err(|error| wrong(named(error.to_string())))?;
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
