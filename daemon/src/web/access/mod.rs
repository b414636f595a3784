//! Who may come in: under which name, with which password, how often tried, and whether a form was
//! really filled in on one of our pages. Every request passes [`gate`] first.
//! Never in here: what a page shows.

mod attempts;
mod cookies;
mod from;
mod gate;
mod headers;
mod key;
mod password;
mod sessions;

pub use cookies::set_cookie;
pub use from::place;
pub use gate::{Visit, gate};
pub use key::{KEY_NAME, Key, KeyError};
pub use password::{Hash, LEAST_CHARACTERS, PasswordError, hash};

use attempts::Attempts;
use axum::http::HeaderValue;
use config::checked::Web;
use sessions::Sessions;
use std::net::{IpAddr, SocketAddr};
use std::path::Path;
use std::time::Duration;
use thiserror::Error;
use tokio::sync::Semaphore;

/// What somebody may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Role {
    /// See everything.
    Reader,
    /// Answer to findings and plan maintenance too.
    Technician,
}

impl Role {
    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Role::Reader => "reader",
            Role::Technician => "technician",
        }
    }
}

/// Where a connection comes from.
#[derive(Debug, Clone, Copy)]
pub struct Peer(pub SocketAddr);

/// Why nobody is let in. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum AccessError {
    /// The key of the page.
    #[error(transparent)]
    Key(#[from] KeyError),
    /// A password's hash.
    #[error(transparent)]
    Password(#[from] PasswordError),
}

/// Why a sign-in failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refusal {
    /// Tried too often; again after this.
    TooOften(Duration),
    /// It is nobody's password.
    WrongPassword,
    /// No session can be begun.
    NoChance,
}

/// How people are let in.
#[derive(Debug)]
pub struct Access {
    /// Signs forms and links.
    pub key: Key,
    web: Web,
    technician: Option<Hash>,
    reader: Option<Hash>,
    sessions: Sessions,
    attempts: Attempts,
    /// One hash at a time: each takes 19 MB.
    hashing: Semaphore,
    /// Proofs of passwords that were right, so that a program that asks every minute costs no hash.
    proven: std::sync::Mutex<Vec<(String, Role)>>,
}

impl Access {
    /// As the site file says, with the key in the daemon's folder.
    ///
    /// # Errors
    /// If a hash or the key is not there.
    pub fn new(web: Web, folder: &Path) -> Result<Self, AccessError> {
        let hash = |secret: &Option<_>| secret.as_ref().map(Hash::read).transpose();
        Ok(Self {
            key: Key::of_folder(folder)?,
            technician: hash(&web.technician)?,
            reader: hash(&web.reader)?,
            web,
            sessions: Sessions::default(),
            attempts: Attempts::new(crate::clock::monotonic()),
            hashing: Semaphore::new(1),
            proven: std::sync::Mutex::default(),
        })
    }

    /// Whether people sign in; else everybody who gets here is a technician.
    pub fn has_password(&self) -> bool {
        self.technician.is_some()
    }

    /// Whether browsers reach the page encrypted.
    pub fn is_encrypted(&self) -> bool {
        self.web.identity.is_some() || self.web.trusted_proxy.is_some()
    }

    /// Name of the cookie; by port, because browsers keep those of all ports of a host together.
    fn cookie(&self) -> String {
        format!("noonmark-{}", self.web.listen.port())
    }

    /// Name of the cookie that forms are signed with.
    fn form_cookie(&self) -> String {
        format!("noonmark-form-{}", self.web.listen.port())
    }

    /// Name of the cookie of the language.
    fn language_cookie(&self) -> String {
        format!("noonmark-language-{}", self.web.listen.port())
    }

    /// What keeps a language in a browser.
    pub fn keep_language(&self, code: &str) -> HeaderValue {
        cookies::language_cookie(self, code)
    }

    /// A session for somebody who knows a password.
    ///
    /// # Errors
    /// Why there is none.
    pub async fn sign_in(&self, from: IpAddr, password: &str) -> Result<String, Refusal> {
        let role = self.role_of(from, password).await?;
        let session = self.sessions.begin(role, crate::clock::monotonic());
        session.map_err(|_| Refusal::NoChance)
    }

    /// Ends a session.
    pub fn sign_out(&self, session: &str) {
        self.sessions.end(session);
    }

    /// Whose password it is; asking counts as a try.
    async fn role_of(&self, from: IpAddr, password: &str) -> Result<Role, Refusal> {
        let may = self.attempts.may(from, crate::clock::monotonic());
        may.map_err(Refusal::TooOften)?;
        let hashes = [
            (self.technician.clone(), Role::Technician),
            (self.reader.clone(), Role::Reader),
        ];
        let password = password.to_owned();
        let _one = self.hashing.acquire().await.expect("it is never closed");
        let role = tokio::task::spawn_blocking(move || {
            let is_of = |(hash, _): &(Option<Hash>, Role)| {
                hash.as_ref().is_some_and(|hash| hash.is_of(&password))
            };
            hashes.into_iter().find(is_of).map(|(_, role)| role)
        });
        let role = role.await.expect("hashing does not panic");
        let role = role.ok_or(Refusal::WrongPassword)?;
        self.attempts.signed_in(from, crate::clock::monotonic());
        Ok(role)
    }

    /// The role of a program that sends its password with every request. What was right once is
    /// remembered as a signature.
    async fn role_of_program(&self, from: IpAddr, password: &str) -> Result<Role, Refusal> {
        let proof = self.key.sign(&["program", password]);
        let known = |proven: &Vec<(String, Role)>| {
            let found = proven.iter().find(|(known, _)| *known == proof);
            found.map(|(_, role)| *role)
        };
        let lock = || self.proven.lock().expect("nothing under this lock panics");
        if let Some(role) = known(&lock()) {
            return Ok(role);
        }
        let role = self.role_of(from, password).await?;
        let mut proven = lock();
        if known(&proven).is_none() {
            // There are two passwords.
            proven.truncate(1);
            proven.push((proof.clone(), role));
        }
        Ok(role)
    }
}
