//! Keeps a device connected: connects when needed, gives up a connection that cannot be trusted,
//! says how long to wait. Never in here: sleeping, or a clock.

use super::error::Trouble;
use super::source::{ModbusSource, Settings, SourceError};
use crate::source::Waits;
use crate::source::sunspec::Spot;
use analysis::plant::GridSettings;
use analysis::reading::{ChannelTable, DeviceId, Quantity, Reading, Span, Time};
use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;
use thiserror::Error;

/// After so many polls in a row in which the device refused everything, its models are asked for
/// again: an update may have moved them (common practice).
const REFUSALS_BEFORE_DISCOVERY: u32 = 3;

/// How often an inverter's settings are read again: they change with a visit or an update (common
/// practice).
const SETTINGS_EVERY: Span = Span::from_h(1);

/// A poll that gave nothing.
#[derive(Debug, Error)]
#[error("{error}; attempt {attempt}, next in {} s", wait.as_secs())]
pub struct Failure {
    /// Why.
    pub error: SourceError,
    /// Failures in a row, this one included.
    pub attempt: u32,
    /// How long to wait before the next poll.
    pub wait: Duration,
}

/// A device that is polled for years.
pub struct Poller {
    settings: Settings,
    name: DeviceId,
    table: Arc<ChannelTable>,
    source: Option<ModbusSource>,
    waits: Waits,
    unplanned: BTreeSet<(Spot, Quantity)>,
    /// When settings were last asked for, over whichever connection.
    settings_read: Option<Time>,
    /// Read and not handed over yet.
    published: Option<GridSettings>,
}

impl Poller {
    /// Not yet connected; the first poll connects.
    pub fn new(settings: Settings, name: DeviceId, table: Arc<ChannelTable>) -> Self {
        Self {
            settings,
            name,
            table,
            source: None,
            waits: Waits::new(),
            unplanned: BTreeSet::new(),
            settings_read: None,
            published: None,
        }
    }

    /// Readings stamped with `at`, or why there are none and how long to wait. After a success the
    /// next poll is due after `Settings::every`. If the future is dropped, the next poll connects
    /// again.
    pub async fn poll(&mut self, at: Time) -> Result<Vec<Reading>, Failure> {
        match self.connect_and_poll(at).await {
            Ok(readings) => {
                self.waits.after_success();
                Ok(readings)
            }
            Err(error) => Err(self.failure(error)),
        }
    }

    /// How the device says that it is set, where the last poll has read it; `None` where it publishes
    /// nothing of the kind.
    pub fn take_settings(&mut self) -> Option<GridSettings> {
        self.published.take()
    }

    /// The device's name.
    pub fn name(&self) -> &DeviceId {
        &self.name
    }

    /// How the device is reached.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// The connected device, if there is a connection.
    pub fn source(&self) -> Option<&ModbusSource> {
        self.source.as_ref()
    }

    async fn connect_and_poll(&mut self, at: Time) -> Result<Vec<Reading>, SourceError> {
        if self.source.is_none() {
            let mut source = ModbusSource::connect(&self.settings, &self.name, &self.table).await?;
            source.expect_unplanned(std::mem::take(&mut self.unplanned));
            self.source = Some(source);
        }
        let source = self.source.as_mut().expect("connected just above");
        let readings = source.poll(at).await?;
        let is_due = |read: Time| at < read || at - read >= SETTINGS_EVERY;
        if self.settings_read.is_none_or(is_due) {
            // Noted before it is tried: a model that never answers must not cost every poll.
            self.settings_read = Some(at);
            self.published = source.read_settings().await?;
        }
        Ok(readings)
    }

    fn failure(&mut self, error: SourceError) -> Failure {
        let wait = self.waits.after_failure();
        let attempt = self.waits.attempts();
        let discover_again = attempt.is_multiple_of(REFUSALS_BEFORE_DISCOVERY);
        if error.trouble() != Trouble::Refused || discover_again {
            self.give_up();
        }
        Failure {
            error,
            attempt,
            wait,
        }
    }

    /// What has been listed once stays listed over a reconnection.
    fn give_up(&mut self) {
        if let Some(mut source) = self.source.take() {
            self.unplanned = source.take_unplanned();
        }
    }
}
