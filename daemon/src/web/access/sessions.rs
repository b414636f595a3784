//! Who is signed in. A session is a number that nobody can guess, kept in memory: after a restart
//! people sign in again.
//! Never in here: cookies, or passwords.

use super::Role;
use super::key::{KeyError, chance, hex};
use std::collections::BTreeMap;
use std::sync::Mutex;
use std::time::Duration;
use tokio::time::Instant;

/// Without a request for so long it is over (common practice: a working day).
const IDLE: Duration = Duration::from_secs(12 * 3600);
/// However busy, it ends after so long.
const LONGEST: Duration = Duration::from_secs(7 * 24 * 3600);
/// Of more at a time, the one that was idle longest ends.
const MOST: usize = 200;
const NAME_BYTES: usize = 32;

#[derive(Debug, Clone, Copy)]
struct Session {
    role: Role,
    began: Instant,
    seen: Instant,
}

/// All of them.
#[derive(Debug, Default)]
pub struct Sessions(Mutex<BTreeMap<String, Session>>);

/// A new name for a session.
///
/// # Errors
/// If the system gives no random numbers.
pub fn new_name() -> Result<String, KeyError> {
    Ok(hex(&chance::<NAME_BYTES>()?))
}

/// Whether a text has the form of such a name: others are never taken from a cookie.
pub fn is_name(text: &str) -> bool {
    text.len() == 2 * NAME_BYTES && text.bytes().all(|c| c.is_ascii_hexdigit())
}

impl Sessions {
    /// Somebody has signed in.
    ///
    /// # Errors
    /// If the system gives no random numbers.
    pub fn begin(&self, role: Role, now: Instant) -> Result<String, KeyError> {
        let name = new_name()?;
        let mut sessions = self.0.lock().expect("nothing under this lock panics");
        if sessions.len() >= MOST {
            let idle = sessions.iter().min_by_key(|(_, session)| session.seen);
            let idle = idle.map(|(name, _)| name.clone());
            idle.and_then(|name| sessions.remove(&name));
        }
        let session = Session {
            role,
            began: now,
            seen: now,
        };
        sessions.insert(name.clone(), session);
        Ok(name)
    }

    /// Whose it is; asking keeps it alive.
    pub fn role(&self, name: &str, now: Instant) -> Option<Role> {
        let mut sessions = self.0.lock().expect("nothing under this lock panics");
        sessions.retain(|_, s| {
            now.saturating_duration_since(s.seen) < IDLE
                && now.saturating_duration_since(s.began) < LONGEST
        });
        let session = sessions.get_mut(name)?;
        session.seen = now;
        Some(session.role)
    }

    /// Somebody signs out.
    pub fn end(&self, name: &str) {
        let mut sessions = self.0.lock().expect("nothing under this lock panics");
        sessions.remove(name);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_session_lasts_while_it_is_used_and_ends_when_told() {
        let sessions = Sessions::default();
        let start = crate::clock::monotonic();
        let at = |hours: u64| start + Duration::from_secs(hours * 3600);
        let name = sessions.begin(Role::Reader, start).expect("chance");
        assert!(is_name(&name));
        assert_eq!(sessions.role(&name, at(11)), Some(Role::Reader));
        assert_eq!(sessions.role(&name, at(22)), Some(Role::Reader));
        assert_eq!(sessions.role(&name, at(35)), None);
        let name = sessions.begin(Role::Technician, start).expect("chance");
        sessions.end(&name);
        assert_eq!(sessions.role(&name, start), None);
        assert!(!is_name("../../etc") && !is_name(""));
    }
}
