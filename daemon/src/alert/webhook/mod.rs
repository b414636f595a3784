//! Calls to programs by HTTP: one connection for each, signed, never led elsewhere.
//!
//! The secret and the authority are read anew at each call and kept nowhere.
//! Never in here: which calls there are, what they tell, or trying again.

mod answer;
mod signature;

use super::announcement::Announcement;
use crate::{secret, tls};
use analysis::reading::{Span, Time};
use config::checked::{Tls, Webhook};
use hyper::client::conn::http1;
use hyper::header::{CONTENT_TYPE, HOST, USER_AGENT};
use hyper::{Method, Request, Response, body::Incoming};
use hyper_util::rt::TokioIo;
use rustls::pki_types::ServerName;
use signature::{ALGORITHM, Parameters, content_digest, sign};
use std::io;
use std::time::Duration;
use thiserror::Error;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;
use tokio::task::JoinSet;
use tokio_rustls::TlsConnector;

const JSON: &str = "application/json";
const SELF: &str = concat!("noonmark/", env!("CARGO_PKG_VERSION"));
/// The name of the only signature in a call.
const LABEL: &str = "noonmark";

/// Why a call was not taken. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum CallError {
    /// The secret or the authority cannot be read.
    #[error("read {what} of the webhook: {source}")]
    Setting {
        /// Which.
        what: &'static str,
        /// Why.
        source: io::Error,
    },
    /// The receiver was not reached.
    #[error("reach the receiver: {0}")]
    Unreachable(io::Error),
    /// The receiver has not answered.
    #[error("call the receiver: no answer within {} s", .after.as_secs())]
    Silent {
        /// How long it had.
        after: Duration,
    },
    /// The connection broke, or what came was no HTTP.
    #[error("call the receiver: {0}")]
    Broken(#[from] hyper::Error),
    /// What is sent cannot be said in HTTP.
    #[error("put the call together: {0}")]
    Unsayable(#[from] hyper::http::Error),
    /// It said no.
    #[error("call the receiver: it answers {status}")]
    Refused {
        /// Status.
        status: u16,
        /// How long it wants to be left alone.
        wait: Option<Span>,
    },
    /// It said to go elsewhere, which nobody has checked.
    #[error("call the receiver: it answers {status} and leads to {to}, which is not followed")]
    Elsewhere {
        /// Status.
        status: u16,
        /// Where to.
        to: String,
    },
    /// It said never again.
    #[error("call the receiver: it answers 410, it is gone")]
    Gone,
}

impl CallError {
    /// Whether it is no use to try again.
    pub fn is_final(&self) -> bool {
        matches!(self, Self::Gone)
    }

    /// How long the receiver wants to be left alone, if it says so.
    pub fn asks_to_wait(&self) -> Option<Span> {
        match self {
            Self::Refused { wait, .. } => *wait,
            _ => None,
        }
    }
}

/// Calls one program.
#[derive(Debug)]
pub struct Caller {
    /// Which.
    pub webhook: Webhook,
}

impl Caller {
    /// Tells what is new.
    ///
    /// # Errors
    /// If it cannot be put together, or was not taken.
    pub async fn carry(&self, told: Announcement, now: Time) -> Result<(), CallError> {
        call(&self.webhook, told.body, now).await
    }
}

/// Posts a body to a webhook.
///
/// # Errors
/// If its secret or authority cannot be read, or it was not taken.
pub async fn call(webhook: &Webhook, body: String, now: Time) -> Result<(), CallError> {
    let request = request(webhook, body, now)?;
    let after = Duration::from_millis(webhook.timeout.ms().unsigned_abs());
    let answer = tokio::time::timeout(after, ask(webhook, request)).await;
    let answer = answer.map_err(|_| CallError::Silent { after })??;
    answer::taken(answer.status(), answer.headers(), now)
}

fn request(webhook: &Webhook, body: String, now: Time) -> Result<Request<String>, CallError> {
    let secret = secret::read(&webhook.secret).map_err(|source| CallError::Setting {
        what: "the secret",
        source,
    })?;
    let digest = content_digest(body.as_bytes());
    let covered = [
        ("@method", Method::POST.as_str()),
        ("@target-uri", &webhook.url.text),
        ("content-type", JSON),
        ("content-digest", &digest),
    ];
    let parameters = Parameters {
        created: now.unix_ms() / 1000,
        keyid: &webhook.id,
        alg: Some(ALGORITHM),
    };
    let (input, signature) = sign(LABEL, &covered, parameters, secret.as_bytes());
    let request = Request::post(&webhook.url.path)
        .header(HOST, &webhook.url.authority)
        .header(USER_AGENT, SELF)
        .header(CONTENT_TYPE, JSON)
        .header("content-digest", &digest)
        .header("signature-input", input)
        .header("signature", signature);
    Ok(request.body(body)?)
}

async fn ask(webhook: &Webhook, request: Request<String>) -> Result<Response<Incoming>, CallError> {
    let address = &webhook.url.address;
    let stream = TcpStream::connect((address.host.as_str(), address.port)).await;
    let stream = stream.map_err(CallError::Unreachable)?;
    if !webhook.url.is_encrypted {
        return over(stream, request).await;
    }
    let settings = tls::settings(&Tls {
        ca_file: webhook.ca_file.clone(),
        identity: None,
    });
    let settings = settings.map_err(|source| CallError::Setting {
        what: "the authority",
        source,
    })?;
    let name = ServerName::try_from(address.host.clone());
    let name = name.map_err(|error| CallError::Unreachable(io::Error::other(error)))?;
    let stream = TlsConnector::from(settings).connect(name, stream).await;
    over(stream.map_err(CallError::Unreachable)?, request).await
}

async fn over(
    stream: impl AsyncRead + AsyncWrite + Unpin + Send + 'static,
    request: Request<String>,
) -> Result<Response<Incoming>, CallError> {
    let (mut sender, connection) = http1::handshake(TokioIo::new(stream)).await?;
    // Ends with this function: what the receiver says beside its status is not read.
    let mut driver = JoinSet::new();
    driver.spawn(connection);
    Ok(sender.send_request(request).await?)
}
