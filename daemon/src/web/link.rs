//! Links that may be followed without signing in, for one thing each, until a time: for mails.
//!
//! A token says until when it holds and is signed together with what it is for; it is of no use for
//! anything else.
//! Never in here: what a link does.

pub use super::access::{Key, KeyError};
use analysis::reading::Time;
use thiserror::Error;

/// What a link is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// To say that a finding has been seen.
    Acknowledge,
}

impl Purpose {
    /// Its name in links.
    pub const fn name(self) -> &'static str {
        match self {
            Purpose::Acknowledge => "acknowledge",
        }
    }
}

/// Why a token does not open anything.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum LinkError {
    /// It is of something else, or was made up.
    #[error("the link is not one of ours for this")]
    Wrong,
    /// Its time is over.
    #[error("the link has expired")]
    Expired,
}

/// A token for one purpose and subject (a finding's id) that holds until a time.
pub fn sign(key: &Key, purpose: Purpose, subject: &str, until: Time) -> String {
    let until = until.unix_ms().to_string();
    let signature = key.sign(&["link", purpose.name(), subject, &until]);
    format!("{until}-{signature}")
}

/// The path of the page to which a token belongs; what comes before it (scheme, host, port) only the
/// site knows.
pub fn path(purpose: Purpose, subject: &str, token: &str) -> String {
    let (purpose, subject) = (purpose.name(), super::paths::encoded(subject));
    format!("/link/{purpose}/{subject}?token={token}")
}

/// Whether a token opens this, now.
///
/// # Errors
/// If it does not.
pub fn verify(
    key: &Key,
    purpose: Purpose,
    subject: &str,
    token: &str,
    now: Time,
) -> Result<(), LinkError> {
    let (until, signature) = token.split_once('-').ok_or(LinkError::Wrong)?;
    if !key.is_signature(&["link", purpose.name(), subject, until], signature) {
        return Err(LinkError::Wrong);
    }
    let until: i64 = until.parse().map_err(|_| LinkError::Wrong)?;
    if now.unix_ms() < until {
        Ok(())
    } else {
        Err(LinkError::Expired)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_token_opens_one_thing_until_its_time() {
        let (key, other) = (Key::new(&[7; 32]), Key::new(&[8; 32]));
        let at = Time::from_unix_ms;
        let open = |key, subject, token: &str, now| {
            verify(key, Purpose::Acknowledge, subject, token, at(now))
        };
        let token = sign(&key, Purpose::Acknowledge, "barn.link_lost.5", at(1000));
        assert_eq!(open(&key, "barn.link_lost.5", &token, 999), Ok(()));
        assert_eq!(
            open(&key, "barn.link_lost.5", &token, 1000),
            Err(LinkError::Expired)
        );
        assert_eq!(
            open(&key, "barn.link_lost.6", &token, 1),
            Err(LinkError::Wrong)
        );
        assert_eq!(
            open(&other, "barn.link_lost.5", &token, 1),
            Err(LinkError::Wrong)
        );
        let longer = token.replacen("1000", "9000", 1);
        assert_eq!(
            open(&key, "barn.link_lost.5", &longer, 1),
            Err(LinkError::Wrong)
        );
        assert_eq!(open(&key, "barn.link_lost.5", "", 1), Err(LinkError::Wrong));
    }
}
