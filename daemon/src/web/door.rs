//! The door of the page: where it listens, encryption, passwords. All that can be wrong with a page as
//! the site file wants it shows here, before anything is served.
//! Never in here: connections, or what a page shows.

use super::access::{Access, AccessError};
use super::serve::{self, IdentityError};
use config::checked::Web;
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::path::Path;
use std::sync::Arc;
use thiserror::Error;
use tokio::net::TcpListener;
use tokio_rustls::TlsAcceptor;
use tracing::{info, warn};

/// Why there is no page. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum WebError {
    /// Passwords and keys.
    #[error(transparent)]
    Access(#[from] AccessError),
    /// Certificate and key.
    #[error(transparent)]
    Identity(#[from] IdentityError),
    /// The address is taken, or not one of this machine.
    #[error("serve the page at {address}: {source}")]
    Listen {
        /// Where.
        address: SocketAddr,
        /// What the system said.
        source: io::Error,
    },
}

/// A listener, bound once: when the site file is read again it stays, so that nobody who knocks
/// meanwhile is turned away.
#[derive(Debug, Clone)]
pub struct Listening {
    /// As the site file says; port 0 is any.
    address: SocketAddr,
    pub(super) listener: Arc<TcpListener>,
}

/// Where the page is reached and who may come in.
pub struct Door {
    /// What may be kept for the next door.
    pub listening: Listening,
    pub(super) acceptor: Option<TlsAcceptor>,
    pub(super) access: Access,
    pub(super) proxy: Option<IpAddr>,
}

/// The door that the site file wants; `None` where the page is switched off. `before` is kept where it
/// listens at the same address. Where the site file does not speak of a page, one that cannot be served
/// is no reason not to watch the plant.
///
/// # Errors
/// If there cannot be one as the site file says.
pub async fn door(
    web: Option<&Web>,
    folder: &Path,
    before: Option<Listening>,
) -> Result<Option<Door>, WebError> {
    let Some(web) = web else {
        return Ok(None);
    };
    let acceptor = web.identity.as_ref().map(serve::acceptor).transpose()?;
    let access = Access::new(web.clone(), folder)?;
    let kept = before.filter(|before| before.address == web.listen);
    let scheme = if acceptor.is_some() { "https" } else { "http" };
    let listening = match kept {
        Some(kept) => kept,
        None => match Listening::at(web.listen, scheme).await {
            Err(error) if !web.is_stated => {
                warn!(%error, "no page; say in [web] where it may be");
                return Ok(None);
            }
            listening => listening?,
        },
    };
    Ok(Some(Door {
        listening,
        acceptor,
        access,
        proxy: web.trusted_proxy,
    }))
}

impl Listening {
    async fn at(address: SocketAddr, scheme: &str) -> Result<Self, WebError> {
        let cannot = |source| WebError::Listen { address, source };
        let listener = TcpListener::bind(address).await.map_err(cannot)?;
        let bound = listener.local_addr().map_err(cannot)?;
        info!("the page is at {scheme}://{bound}/");
        Ok(Self {
            address,
            listener: Arc::new(listener),
        })
    }
}
