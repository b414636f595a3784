//! The listener and its connections: encrypted or not, so many at a time, none for ever.
//!
//! All of it shares the runtime with the pollers and takes a bounded part of it: connections are
//! counted, whoever is slow to ask is cut off, reading the store has threads of its own (`reading`).
//! On shutdown nothing new is taken, what is being answered has a moment, and the rest is cut off.
//! Never in here: what is answered.

use super::access::Peer;
use super::rooms::Rooms;
use super::{Page, ahead};
use crate::secret;
use axum::Router;
use axum::body::Body;
use axum::extract::Request;
use hyper::body::Incoming;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use rustls::ServerConfig;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use std::net::{IpAddr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use thiserror::Error;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, watch};
use tokio::task::JoinSet;
use tokio::time::timeout;
use tokio_rustls::TlsAcceptor;
use tracing::{debug, warn};

/// Connections at a time; more wait in the system's queue (judgement: browsers hold up to six).
const MOST_CONNECTIONS: usize = 320;
/// How long a connection may take to be encrypted, and to say what it wants.
pub(super) const ASK_WITHIN: Duration = Duration::from_secs(10);
/// However busy, a connection ends after this; browsers open another.
const LONGEST: Duration = Duration::from_secs(600);
/// What is being answered at shutdown has this long.
const FINISH_WITHIN: Duration = Duration::from_millis(500);
/// Where the system has no room for another connection, it is tried again after this.
const RETRY_AFTER: Duration = Duration::from_millis(200);
/// Head of a request and what is read at once.
const BUFFER_BYTES: usize = 32 << 10;

/// Why the page is not encrypted. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum IdentityError {
    /// A file of the certificate or key.
    #[error("read {}: {reason}", .path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// What is wrong with it.
        reason: String,
    },
    /// They do not go together.
    #[error("use the certificate and key of the page: {0}")]
    Pair(#[from] rustls::Error),
}

/// Encryption with a certificate and its key.
///
/// # Errors
/// If they cannot be read or do not fit.
pub fn acceptor((certificate, key): &(PathBuf, PathBuf)) -> Result<TlsAcceptor, IdentityError> {
    let wrong = |path: &Path| {
        let path = path.to_owned();
        move |error: rustls::pki_types::pem::Error| IdentityError::File {
            path,
            reason: error.to_string(),
        }
    };
    let placed = |path: &Path| {
        let placed = secret::place(path).map(|path| path.into_owned());
        placed.map_err(|error| IdentityError::File {
            path: path.to_owned(),
            reason: error.to_string(),
        })
    };
    let (certificate, key) = (&placed(certificate)?, &placed(key)?);
    let chain = CertificateDer::pem_file_iter(certificate).map_err(wrong(certificate))?;
    let chain: Result<Vec<_>, _> = chain.collect();
    let chain = chain.map_err(wrong(certificate))?;
    let private = PrivateKeyDer::from_pem_file(key).map_err(wrong(key))?;
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()?
        .with_no_client_auth()
        .with_single_cert(chain, private)?;
    Ok(TlsAcceptor::from(Arc::new(config)))
}

/// The page, ready to be served.
pub struct Server {
    pub(super) listener: Arc<TcpListener>,
    pub(super) acceptor: Option<TlsAcceptor>,
    /// The only one that is listened to.
    pub(super) proxy: Option<IpAddr>,
    pub(super) router: Router,
    /// What is added up ahead.
    pub(super) page: Arc<Page>,
    /// Ends what goes on by itself.
    pub(super) closing: watch::Sender<bool>,
}

/// How one connection is served.
#[derive(Clone)]
struct Service {
    acceptor: Option<TlsAcceptor>,
    router: Router,
    stopped: watch::Receiver<bool>,
}

impl Server {
    /// Serves until told to stop.
    pub async fn serve(self, mut stopped: watch::Receiver<bool>) {
        let service = Service {
            acceptor: self.acceptor,
            router: self.router,
            stopped: stopped.clone(),
        };
        let ahead = tokio::spawn(ahead::add_up(self.page));
        let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
        let rooms = Rooms::new(self.proxy);
        let mut stranger_came = false;
        let mut connections = JoinSet::new();
        loop {
            let permit = tokio::select! {
                _ = stopped.changed() => break,
                permit = room.clone().acquire_owned() => permit.expect("it is never closed"),
            };
            let accepted = tokio::select! {
                _ = stopped.changed() => break,
                accepted = self.listener.accept() => accepted,
            };
            while connections.try_join_next().is_some() {}
            match accepted.map(|(stream, peer)| (stream, canonical(peer))) {
                Err(error) => {
                    warn!(%error, "no room for a connection to the page");
                    tokio::time::sleep(RETRY_AFTER).await;
                }
                Ok((_, peer)) if is_stranger(self.proxy, peer) => {
                    if !std::mem::replace(&mut stranger_came, true) {
                        warn!(%peer, "somebody else than the trusted_proxy of [web] came to the page; not listened to, and not said again");
                    }
                }
                Ok((stream, peer)) => match rooms.take(peer.ip()) {
                    None => debug!(%peer, "too many connections from there"),
                    Some(own) => {
                        let service = service.clone();
                        connections.spawn(async move {
                            service.connection(stream, peer).await;
                            drop((permit, own));
                        });
                    }
                },
            }
        }
        ahead.abort();
        self.closing.send_replace(true);
        let finished = async { while connections.join_next().await.is_some() {} };
        if timeout(FINISH_WITHIN, finished).await.is_err() {
            connections.shutdown().await;
        }
    }
}

/// Where it listens to IPv6, those of IPv4 come in another form.
fn canonical(peer: SocketAddr) -> SocketAddr {
    SocketAddr::new(peer.ip().to_canonical(), peer.port())
}

/// Whether somebody else comes where only a proxy may.
fn is_stranger(proxy: Option<IpAddr>, peer: SocketAddr) -> bool {
    proxy.is_some_and(|proxy| proxy.to_canonical() != peer.ip().to_canonical())
}

impl Service {
    async fn connection(self, stream: TcpStream, peer: SocketAddr) {
        // Answers are small and whole.
        let _ = stream.set_nodelay(true);
        let served = async {
            match self.acceptor.clone() {
                None => self.requests(stream, peer).await,
                Some(acceptor) => match timeout(ASK_WITHIN, acceptor.accept(stream)).await {
                    Ok(Ok(stream)) => self.requests(stream, peer).await,
                    Ok(Err(error)) => debug!(%peer, %error, "not encrypted"),
                    Err(_) => debug!(%peer, "too slow to be encrypted"),
                },
            }
        };
        if timeout(LONGEST, served).await.is_err() {
            debug!(%peer, "a connection had its time");
        }
    }

    async fn requests(mut self, stream: impl AsyncRead + AsyncWrite + Unpin, peer: SocketAddr) {
        let router = TowerToHyperService::new(self.router);
        let answer = service_fn(move |request: Request<Incoming>| {
            let mut request = request.map(Body::new);
            request.extensions_mut().insert(Peer(peer));
            hyper::service::Service::call(&router, request)
        });
        let connection = hyper::server::conn::http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(ASK_WITHIN)
            .max_buf_size(BUFFER_BYTES)
            .serve_connection(TokioIo::new(stream), answer);
        tokio::pin!(connection);
        let result = tokio::select! {
            result = connection.as_mut() => result,
            _ = self.stopped.changed() => {
                connection.as_mut().graceful_shutdown();
                connection.await
            }
        };
        if let Err(error) = result {
            debug!(%peer, %error, "a connection broke");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_proxy_over_ipv4_is_known_where_ipv6_is_listened_to() {
        let address = |text: &str| text.parse::<IpAddr>().expect("an address");
        let peer = |text: &str| canonical(SocketAddr::new(address(text), 40_000));
        for proxy in ["192.0.2.5", "::ffff:192.0.2.5"] {
            let proxy = Some(address(proxy));
            assert!(!is_stranger(proxy, peer("::ffff:192.0.2.5")));
            assert!(!is_stranger(proxy, peer("192.0.2.5")));
            assert!(is_stranger(proxy, peer("::ffff:192.0.2.6")));
            assert!(is_stranger(proxy, peer("2001:db8::5")));
        }
        assert!(!is_stranger(None, peer("192.0.2.6")));
        assert_eq!(peer("::ffff:192.0.2.5").ip(), address("192.0.2.5"));
    }
}
