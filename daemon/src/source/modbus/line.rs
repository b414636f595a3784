//! One connection and all units behind it: one request at a time, in turn.
//!
//! Whoever wants to ask waits in the order of coming (the lock is fair), so units take turns. A turn
//! is one poll; one that lasts too long goes to the end of the queue between two requests. A unit
//! that does not answer costs one time limit, and its poller backs off.
//!
//! Frames over TCP carry a transaction id: after an answer that is missing or wrong the connection is
//! given up and the next request opens another. Serial frames carry none, so after trouble
//! everything that comes is thrown away until the line is quiet; and the first answer of a unit that
//! owed one is only believed when no second one follows it.
//! Never in here: what a request means, or how long a device is left alone.

use super::client::{Answer, Connection};
use super::endpoint::{Endpoint, Framing};
use super::error::{ModbusError, Request, Trouble};
use super::stream::Heard;
use crate::clock::monotonic;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{Mutex, OwnedMutexGuard};
use tokio::time::{Instant, sleep_until};
use tracing::debug;

/// A turn that has lasted so long lets the others go first (common practice: a poll takes well under
/// a second).
const LONGEST_TURN: Duration = Duration::from_secs(1);
/// Whoever talks on for so long does not stop by himself: the connection is opened anew.
const LONGEST_DRAIN: Duration = Duration::from_secs(2);
/// No device answers later than this (common practice: converters give up after seconds).
const LONGEST_OWING: Duration = Duration::from_secs(60);
/// After so many requests in a row without any answer the connection itself is doubted, where
/// silence of a unit alone is no reason to.
const SILENT_BEFORE_REOPENING: u32 = 3;

/// A line, shared by everybody who has a clone.
#[derive(Clone)]
pub struct Line {
    framing: Framing,
    state: Arc<Mutex<State>>,
}

/// The right to ask, until dropped.
pub(super) struct Turn {
    state: OwnedMutexGuard<State>,
    since: Instant,
}

struct State {
    /// `None` where the connection cannot be opened again: it was handed in.
    endpoint: Option<Endpoint>,
    framing: Framing,
    connection: Option<Connection>,
    /// Units that may still answer a request that nobody waits for, and since when.
    owing: BTreeMap<u8, Instant>,
    /// Something may still be on its way.
    is_unsettled: bool,
    /// Requests without any answer in a row, from whichever unit.
    silent: u32,
    last_heard: Instant,
}

/// The lines of a site: each endpoint once.
#[derive(Default)]
pub struct Lines(BTreeMap<Endpoint, Line>);

impl Lines {
    /// The line to this endpoint; the same one every time.
    pub fn line(&mut self, endpoint: &Endpoint) -> Line {
        let new = || Line::to(endpoint.clone());
        self.0.entry(endpoint.clone()).or_insert_with(new).clone()
    }
}

impl Line {
    /// Opens with the first request.
    pub fn to(endpoint: Endpoint) -> Self {
        let framing = endpoint.framing();
        Self::new(Some(endpoint), framing, None)
    }

    pub(super) fn over(connection: Connection, framing: Framing) -> Self {
        Self::new(None, framing, Some(connection))
    }

    fn new(endpoint: Option<Endpoint>, framing: Framing, connection: Option<Connection>) -> Self {
        let state = State {
            endpoint,
            framing,
            connection,
            owing: BTreeMap::new(),
            is_unsettled: false,
            silent: 0,
            last_heard: monotonic(),
        };
        Self {
            framing,
            state: Arc::new(Mutex::new(state)),
        }
    }

    /// Waits until nobody else is asking.
    pub(super) async fn turn(&self) -> Turn {
        Turn {
            state: self.state.clone().lock_owned().await,
            since: monotonic(),
        }
    }

    /// Whether there is a connection and nobody is using it.
    pub(super) fn is_open(&self) -> bool {
        let state = self.state.try_lock();
        state.is_ok_and(|state| state.connection.is_some())
    }

    /// Whether frames carry no transaction id.
    pub fn is_serial(&self) -> bool {
        self.framing != Framing::Tcp
    }
}

impl Turn {
    pub(super) fn is_over(&self) -> bool {
        self.since.elapsed() > LONGEST_TURN
    }

    pub(super) fn is_open(&self) -> bool {
        self.state.connection.is_some()
    }

    /// Opens the connection where there is none.
    pub(super) async fn open(&mut self, within: Duration) -> Result<(), ModbusError> {
        self.state.open(within).await
    }

    /// One request and its answer. What may be due to somebody else is tried once more: a connection
    /// that has stood idle and was closed, and on a serial line somebody's late answer or noise.
    pub(super) async fn ask(
        &mut self,
        unit: u8,
        request: Request,
        within: Duration,
    ) -> Result<Answer, ModbusError> {
        let state = &mut *self.state;
        let was_open = state.connection.is_some();
        let outcome = state.ask(unit, request, within).await;
        let again = match &outcome {
            Err(ModbusError::Broken { .. }) => was_open && state.endpoint.is_some(),
            Err(error) => state.framing != Framing::Tcp && error.trouble() == Trouble::Undecodable,
            Ok(_) => false,
        };
        match again {
            true => state.ask(unit, request, within).await,
            false => outcome,
        }
    }
}

impl State {
    async fn open(&mut self, within: Duration) -> Result<(), ModbusError> {
        if let (None, Some(endpoint)) = (&self.connection, &self.endpoint) {
            // On the heap: it is seldom under way, and every device would keep room for it.
            self.connection = Some(Box::pin(endpoint.open(within)).await?);
        }
        Ok(())
    }

    async fn ask(
        &mut self,
        unit: u8,
        request: Request,
        within: Duration,
    ) -> Result<Answer, ModbusError> {
        self.settle().await;
        self.open(within).await?;
        if let Framing::Rtu { gap, .. } = self.framing {
            sleep_until(self.last_heard + gap).await;
        }
        // Taken out while the answer is under way, and noted as owed: whoever stops waiting leaves
        // nothing behind by which that answer could be taken for another.
        let Some(mut connection) = self.connection.take() else {
            return Err(ModbusError::GivenUp { request });
        };
        self.is_unsettled = true;
        let (somebody_owes, was_owing) = self.owe(unit);
        let mut outcome = connection.ask(unit, request, within, somebody_owes).await;
        self.last_heard = monotonic();
        if was_owing && has_answered(&outcome) {
            outcome = self
                .alone(&mut connection, request, within)
                .await
                .and(outcome);
        }
        self.note(unit, &outcome);
        if self.keeps(&outcome) {
            self.connection = Some(connection);
        }
        outcome
    }

    /// Notes that a unit may answer from now on; says whether any unit may have before, and whether
    /// this one. Over TCP it does not matter: an answer says which request it belongs to, and the next
    /// connection has no memory of this one.
    fn owe(&mut self, unit: u8) -> (bool, bool) {
        if self.framing == Framing::Tcp {
            return (false, false);
        }
        self.owing
            .retain(|_, since| since.elapsed() < LONGEST_OWING);
        let somebody_owes = !self.owing.is_empty();
        let was_owing = self.owing.insert(unit, monotonic()).is_some();
        (somebody_owes, was_owing)
    }

    /// On a serial line nothing tells whether this is the answer to this request or a late one to
    /// an earlier request: then the right one is still to come.
    async fn alone(
        &mut self,
        connection: &mut Connection,
        request: Request,
        within: Duration,
    ) -> Result<(), ModbusError> {
        let Framing::Rtu { quiet, .. } = self.framing else {
            return Ok(());
        };
        match connection.drain(within, within + quiet).await {
            Heard::Quiet(0) => Ok(()),
            Heard::Quiet(_) | Heard::Babble | Heard::Gone => {
                let detail = "two came after one had been late".to_owned();
                Err(ModbusError::NotForUs { request, detail })
            }
        }
    }

    fn note(&mut self, unit: u8, outcome: &Result<Answer, ModbusError>) {
        if has_answered(outcome) {
            self.owing.remove(&unit);
            self.is_unsettled = false;
        }
        self.silent = match outcome {
            Err(error) if error.trouble() == Trouble::Link => self.silent + 1,
            _ => 0,
        };
    }

    /// Whether the connection can still be used.
    fn keeps(&self, outcome: &Result<Answer, ModbusError>) -> bool {
        match outcome {
            Ok(_) | Err(ModbusError::Refused { .. } | ModbusError::Span { .. }) => true,
            Err(ModbusError::Broken { .. }) => false,
            Err(_) => {
                let serial = self.framing != Framing::Tcp;
                serial && self.silent < SILENT_BEFORE_REOPENING
            }
        }
    }

    /// Waits until nobody talks any more. Over a converter that holds for a new connection as well:
    /// it passes on whatever comes from its line.
    async fn settle(&mut self) {
        let Framing::Rtu { quiet, .. } = self.framing else {
            return;
        };
        let Some(connection) = &mut self.connection else {
            return;
        };
        let wanted = match self.is_unsettled {
            true => quiet,
            // What has come unasked is thrown away without waiting for more.
            false => Duration::ZERO,
        };
        match connection.drain(wanted, LONGEST_DRAIN).await {
            Heard::Quiet(0) => {}
            Heard::Quiet(bytes) => debug!(bytes, "thrown away before a request"),
            Heard::Babble | Heard::Gone => {
                self.connection = None;
                return;
            }
        }
        self.is_unsettled = false;
    }
}

/// The unit itself has said something that belongs to the request.
fn has_answered(outcome: &Result<Answer, ModbusError>) -> bool {
    match outcome {
        Ok(_) | Err(ModbusError::Span { .. }) => true,
        // The gateway speaks for a unit that does not.
        Err(ModbusError::Refused { code, .. }) => !matches!(code, 10 | 11),
        Err(_) => false,
    }
}

#[cfg(test)]
#[path = "line_tests.rs"]
mod tests;
