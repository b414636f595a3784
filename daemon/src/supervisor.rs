//! What the supervisor that started the daemon is told: the messages of sd_notify(3), over the socket
//! that `NOTIFY_SOCKET` names. Without one nothing is said, and nobody misses it.
//! Never in here: when something is ready, or alive.

use crate::clock::monotonic;
use sd_notify::NotifyState;
use std::time::Duration;
use tokio::time::Instant;
use tracing::warn;

/// So many signs of life in the time after which the supervisor gives up (its manual wants two; the
/// rest is for a busy machine).
const BEATS_PER_TIMEOUT: u32 = 4;

/// Who started the daemon.
#[derive(Debug, Clone, Copy)]
pub enum Supervisor {
    /// Nobody who wants to know.
    Nobody,
    /// One that may be listening, as the environment says.
    OfEnvironment,
}

/// Signs of life of one line of work.
#[derive(Debug)]
pub struct Heart {
    /// How often they are wanted; `None` for nobody.
    every: Option<Duration>,
    last: Option<Instant>,
}

impl Supervisor {
    /// Sources are started and the store is open.
    pub fn ready(self) {
        self.tell(&[NotifyState::Ready, NotifyState::Status("running")]);
    }

    /// The site file is read again, from now on until [`Self::ready`] or [`Self::kept`].
    pub fn reloading(self) {
        match NotifyState::monotonic_usec_now() {
            Ok(now) => self.tell(&[NotifyState::Reloading, now]),
            Err(error) => {
                warn!(%error, "the supervisor is not told of reading the site file again")
            }
        }
    }

    /// The site file is not taken; work goes on with the one before.
    pub fn kept(self) {
        let status = NotifyState::Status("running with the site file as it was; the log says why");
        self.tell(&[NotifyState::Ready, status]);
    }

    /// Work ends.
    pub fn stopping(self) {
        self.tell(&[NotifyState::Stopping, NotifyState::Status("stopping")]);
    }

    /// What tells it of life.
    pub fn heart(self) -> Heart {
        let timeout = match self {
            Self::Nobody => None,
            Self::OfEnvironment => sd_notify::watchdog_enabled(),
        };
        Heart {
            every: timeout.map(|timeout| timeout / BEATS_PER_TIMEOUT),
            last: None,
        }
    }

    fn tell(self, state: &[NotifyState<'_>]) {
        if let Self::OfEnvironment = self
            && let Err(error) = sd_notify::notify(state)
        {
            warn!(%error, "the supervisor cannot be told");
        }
    }
}

impl Heart {
    /// Says that work goes on, as often as it is wanted.
    pub fn beat(&mut self) {
        let Some(every) = self.every else {
            return;
        };
        let now = monotonic();
        if self.last.is_some_and(|last| now - last < every) {
            return;
        }
        self.last = Some(now);
        if let Err(error) = sd_notify::notify(&[NotifyState::Watchdog]) {
            warn!(%error, "the supervisor does not hear that this lives");
        }
    }
}
