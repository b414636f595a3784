//! Keeps a device connected: connects when needed, gives up a connection that cannot be trusted,
//! says how long to wait. Never in here: sleeping, or a clock.

use super::endpoint::Endpoint;
use super::error::Trouble;
use super::line::Line;
use super::source::{ModbusSource, SourceError};
use super::unit::{ReadOnlyClient, Words};
use crate::source::registers::MapDevice;
use crate::source::sunspec::Spot;
use crate::source::{LONGEST_WAIT, Waits};
use analysis::plant::GridSettings;
use analysis::reading::{ChannelTable, DeviceId, Quantity, Reading, Span, Time};
use config::registers::DeviceMap;
use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;
use thiserror::Error;
use tracing::{info, warn};

/// After so many polls in a row in which the device refused everything, its models are asked for
/// again: an update may have moved them (common practice).
const REFUSALS_BEFORE_DISCOVERY: u32 = 3;

/// How often an inverter's settings are read again: they change with a visit or an update (common
/// practice).
const SETTINGS_EVERY: Span = Span::from_h(1);

/// A device on a shared line that does not answer leaves it to its neighbours for so many times as
/// long as it has kept it: it takes a tenth at most.
const NEIGHBOURS_SHARE: u32 = 9;

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

/// How a device is reached and what its registers mean.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Where it is reached; devices with the same one share its connection.
    pub endpoint: Endpoint,
    /// Unit id.
    pub unit: u8,
    /// Longest wait for a connection and for each answer.
    pub timeout: Duration,
    /// From one poll to the next; kept for the caller, who owns the clock.
    pub every: Duration,
    /// The same in the night, for an inverter.
    pub night_every: Duration,
    /// Its register map; `None` where it describes itself by the open models.
    pub map: Option<Arc<DeviceMap>>,
}

/// A device that is polled for years.
pub struct Poller {
    settings: Settings,
    name: DeviceId,
    table: Arc<ChannelTable>,
    client: ReadOnlyClient,
    is_neighbour: bool,
    source: Option<Known>,
    waits: Waits,
    unplanned: BTreeSet<(Spot, Quantity)>,
    /// When settings were last asked for, over whichever connection.
    settings_read: Option<Time>,
    /// Read and not handed over yet.
    published: Option<GridSettings>,
}

/// What is known about a device.
enum Known {
    Models(ModbusSource),
    Map(MapDevice),
}

impl Poller {
    /// Not yet connected; the first poll connects. The device has its connection for itself.
    pub fn new(settings: Settings, name: DeviceId, table: Arc<ChannelTable>) -> Self {
        let line = Line::to(settings.endpoint.clone());
        Self::on(&line, false, settings, name, table)
    }

    /// Not yet connected; the first poll of whichever device on the line connects.
    pub fn on(
        line: &Line,
        is_neighbour: bool,
        settings: Settings,
        name: DeviceId,
        table: Arc<ChannelTable>,
    ) -> Self {
        Self {
            client: ReadOnlyClient::on(line.clone(), settings.unit, settings.timeout),
            is_neighbour,
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

    /// Waits until no other device on the line is asked. The next poll keeps the line from here on,
    /// so that its time can be taken when it begins.
    pub async fn ready(&mut self) {
        self.client.begin_turn().await;
    }

    /// Readings stamped with `at`, or why there are none and how long to wait. After a success the
    /// next poll is due after `Settings::every`. If the future is dropped, the next poll connects
    /// again.
    pub async fn poll(&mut self, at: Time) -> Result<Vec<Reading>, Failure> {
        self.client.begin_turn().await;
        let outcome = self.connect_and_poll(at).await;
        self.client.end_turn();
        match outcome {
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

    /// What the device has answered since this was asked last, as it came.
    pub fn take_words(&mut self) -> Words {
        self.client.take_heard()
    }

    /// The device's name.
    pub fn name(&self) -> &DeviceId {
        &self.name
    }

    /// How the device is reached.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// The channels of the plant.
    pub fn table(&self) -> &ChannelTable {
        &self.table
    }

    /// The device by its models, if it is known.
    pub fn source(&self) -> Option<&ModbusSource> {
        match self.source.as_ref()? {
            Known::Models(source) => Some(source),
            Known::Map(_) => None,
        }
    }

    async fn connect_and_poll(&mut self, at: Time) -> Result<Vec<Reading>, SourceError> {
        if self.source.is_none() {
            // On the heap, as what else is seldom under way: every device would keep room for it.
            self.source = Some(Box::pin(self.find()).await?);
            // Who it is, and where its models stand, is no value of it.
            self.client.take_heard();
        }
        let source = match self.source.as_mut().expect("found just above") {
            Known::Map(device) => return Ok(device.poll(&mut self.client, at).await?),
            Known::Models(source) => source,
        };
        let readings = source.poll(&mut self.client, at).await?;
        let is_due = |read: Time| at < read || at - read >= SETTINGS_EVERY;
        if self.settings_read.is_none_or(is_due) {
            // Noted before it is tried: a model that never answers must not cost every poll.
            self.settings_read = Some(at);
            match Box::pin(source.read_settings(&mut self.client)).await {
                Ok(settings) => self.published = settings,
                // What has been read is kept; they are asked for again in an hour.
                Err(error) => {
                    warn!(device = %self.name, %error, "settings not read, values are");
                    self.after_settings(error.trouble());
                }
            }
        }
        Ok(readings)
    }

    /// Where another model stands now, the device is asked again what it has.
    fn after_settings(&mut self, trouble: Trouble) {
        if trouble == Trouble::Undecodable {
            self.give_up();
        }
    }

    async fn find(&mut self) -> Result<Known, SourceError> {
        let (name, table) = (&self.name, &self.table);
        let Some(map) = &self.settings.map else {
            let mut source = ModbusSource::find(&mut self.client, name, table).await?;
            source.expect_unplanned(std::mem::take(&mut self.unplanned));
            return Ok(Known::Models(source));
        };
        let every = Span::from_ms(self.settings.every.as_millis() as i64);
        let device = MapDevice::new(name, map.clone(), table, every);
        let unplanned = device.unplanned();
        if !device.has_channels() {
            let (map, channels) = (map.name.clone(), unplanned);
            return Err(SourceError::NoChannels { map, channels });
        }
        // Nothing is asked yet, so this is not "connected".
        if !unplanned.is_empty() && self.waits.attempts() == 0 {
            let channels = unplanned.join(", ");
            info!(device = %name, map = map.name, channels, "values without a channel in the plant");
        }
        Ok(Known::Map(device))
    }

    fn failure(&mut self, error: SourceError) -> Failure {
        let mut wait = self.waits.after_failure();
        if self.is_neighbour && error.has_kept_the_line() {
            wait = wait
                .max(self.settings.timeout * NEIGHBOURS_SHARE)
                .min(LONGEST_WAIT);
        }
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
        if let Some(Known::Models(mut source)) = self.source.take() {
            self.unplanned = source.take_unplanned();
        }
    }
}
