//! One device on Modbus, from its registers to readings on the plant's channels.
//! Never in here: a clock; the time of a reading comes in as an argument.

use super::error::{ModbusError, Trouble};
use super::unit::ReadOnlyClient;
use crate::source::sunspec::{
    self, Decoded, Device, DiscoverError, Model, Reads, Spot, WalkEnd, best, decode, discover,
};
use analysis::plant::GridSettings;
use analysis::reading::{
    Channel, ChannelId, ChannelTable, DeviceId, Place, Quantity, Reading, Time, Value,
};
use std::collections::BTreeSet;
use thiserror::Error;
use tracing::{info, warn};

/// Why a device gives no readings. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum SourceError {
    /// It cannot be asked, or its models cannot be read.
    #[error(transparent)]
    Discover(#[from] DiscoverError),
    /// The plant has no channel for anything in its register map.
    #[error("find a channel of the plant in the register map {map}, which gives {channels:?}")]
    NoChannels {
        /// Name of the map.
        map: String,
        /// What it gives.
        channels: Vec<String>,
    },
    /// It has models, but none with values for us.
    #[error("find a model with values among the models {models:?}")]
    NoValues {
        /// Ids of the models that it has.
        models: Vec<u16>,
    },
}

impl SourceError {
    /// Which kind of failure it is.
    pub fn trouble(&self) -> Trouble {
        match self {
            Self::Discover(DiscoverError::Modbus(error)) => error.trouble(),
            Self::Discover(DiscoverError::NoMarker | DiscoverError::Changed { .. })
            | Self::NoValues { .. }
            | Self::NoChannels { .. } => Trouble::Undecodable,
        }
    }
}

impl SourceError {
    /// Whether others on the line had to wait for an answer that has not come.
    pub(super) fn has_kept_the_line(&self) -> bool {
        matches!(
            self,
            Self::Discover(DiscoverError::Modbus(
                ModbusError::Timeout { .. } | ModbusError::ConnectTimeout { .. }
            ))
        )
    }
}

impl From<ModbusError> for SourceError {
    fn from(error: ModbusError) -> Self {
        Self::Discover(error.into())
    }
}

/// A device whose models are known.
pub struct ModbusSource {
    name: DeviceId,
    device: Device,
    used: Vec<(Model, Reads)>,
    /// Where each value goes; in order.
    channels: Vec<((Spot, Quantity), ChannelId)>,
    unplanned: BTreeSet<(Spot, Quantity)>,
    refused: BTreeSet<u16>,
}

impl ModbusSource {
    /// Asks the device which models it has.
    pub async fn find(
        client: &mut ReadOnlyClient,
        name: &DeviceId,
        table: &ChannelTable,
    ) -> Result<Self, SourceError> {
        let device = discover(client).await?;
        let planned = |model: Model| Some((model, Reads::plan(&model)?));
        let used: Vec<_> = device.used().into_iter().filter_map(planned).collect();
        if used.is_empty() {
            let models = device.models.iter().map(|m| m.id).collect();
            return Err(SourceError::NoValues { models });
        }
        let ids: Vec<u16> = device.models.iter().map(|m| m.id).collect();
        info!(device = %name, base = device.base, models = ?ids, "connected");
        if device.end != WalkEnd::Marker {
            warn!(device = %name, end = ?device.end, "list of models without its end marker");
        }
        Ok(Self {
            name: name.clone(),
            channels: channels(name, table, &used),
            device,
            used,
            unplanned: BTreeSet::new(),
            refused: BTreeSet::new(),
        })
    }

    /// Reads every model with values once, AC and DC back to back, and stamps all of it with one
    /// time. A model that the device refuses gives no readings; it is an error if it refuses all.
    pub async fn poll(
        &mut self,
        client: &mut ReadOnlyClient,
        at: Time,
    ) -> Result<Vec<Reading>, SourceError> {
        let values = best(self.read_all(client).await?);
        let mut readings = Vec::with_capacity(values.len());
        let mut without = Vec::new();
        for decoded in values {
            let (place, value) = (decoded.place(), decoded.value);
            match self.channels.binary_search_by_key(&place, |c| c.0) {
                Ok(found) => {
                    let channel = self.channels[found].1;
                    readings.push(Reading { channel, at, value });
                }
                Err(_) => without.push(decoded),
            }
        }
        self.note_unplanned(&without);
        Ok(readings)
    }

    /// What the device offers.
    pub fn device(&self) -> &Device {
        &self.device
    }

    /// Addresses of what the device has given and the plant has no channel for.
    pub fn unplanned(&self) -> Vec<String> {
        let address = |(spot, quantity)| address(&self.name, spot, quantity);
        self.unplanned.iter().copied().map(address).collect()
    }

    pub(super) fn take_unplanned(&mut self) -> BTreeSet<(Spot, Quantity)> {
        std::mem::take(&mut self.unplanned)
    }

    pub(super) fn expect_unplanned(&mut self, known: BTreeSet<(Spot, Quantity)>) {
        self.unplanned = known;
    }

    async fn read_all(&mut self, client: &mut ReadOnlyClient) -> Result<Vec<Decoded>, SourceError> {
        let mut values = Vec::new();
        let mut refusals = Vec::new();
        for (model, reads) in &self.used {
            match sunspec::read_planned(client, self.device.kind, model, reads).await {
                Ok(image) => values.append(&mut decode(model.id, &image)),
                Err(DiscoverError::Modbus(error @ ModbusError::Refused { .. })) => {
                    refusals.push((model.id, error));
                }
                Err(error) => return Err(error.into()),
            }
        }
        self.note_refused(&refusals);
        match refusals.pop() {
            Some((_, error)) if refusals.len() + 1 == self.used.len() => Err(error.into()),
            _ => Ok(values),
        }
    }

    /// How the device says that it is set; `None` where it publishes nothing of the kind.
    pub(super) async fn read_settings(
        &mut self,
        client: &mut ReadOnlyClient,
    ) -> Result<Option<GridSettings>, SourceError> {
        let settings = sunspec::read_settings(client, &self.device).await?;
        Ok((!settings.is_empty()).then_some(settings))
    }

    /// Says it when the set of refused models changes, not at every poll.
    fn note_refused(&mut self, refusals: &[(u16, ModbusError)]) {
        let refused: BTreeSet<u16> = refusals.iter().map(|(model, _)| *model).collect();
        for (model, error) in refusals {
            if !self.refused.contains(model) {
                warn!(device = %self.name, model, %error, "model refused");
            }
        }
        for model in self.refused.difference(&refused) {
            info!(device = %self.name, model, "model answers again");
        }
        self.refused = refused;
    }

    /// Lists what has no channel, once.
    fn note_unplanned(&mut self, without: &[Decoded]) {
        let inputs_apart = has_inputs(&self.used);
        let mut new = Vec::new();
        for decoded in without {
            let summed = inputs_apart && decoded.spot == Spot::AllInputs;
            let given = decoded.value != Value::Missing && !summed;
            if given && self.unplanned.insert(decoded.place()) {
                new.push(address(&self.name, decoded.spot, decoded.quantity));
            }
        }
        if !new.is_empty() {
            let (count, channels) = (new.len(), new.join(", "));
            info!(device = %self.name, count, channels, "values without a channel in the plant");
        }
    }
}

/// Where each value goes. Without a model of single inputs, the sum of all inputs is that of the
/// only one, if the plant has only one.
fn channels(
    name: &DeviceId,
    table: &ChannelTable,
    used: &[(Model, Reads)],
) -> Vec<((Spot, Quantity), ChannelId)> {
    let own: Vec<_> = table.of(name).collect();
    let input = |channel: &Channel| match channel.place {
        Place::Input(n) => Some(n),
        Place::Device | Place::String(..) => None,
    };
    let inputs: BTreeSet<u8> = own.iter().filter_map(|(_, c)| input(c)).collect();
    let only_input = inputs.len() == 1 && !has_inputs(used);
    let mut channels = Vec::new();
    for (id, channel) in own {
        let spot = match channel.place {
            Place::Device => Spot::Device,
            Place::Input(_) if only_input => Spot::AllInputs,
            Place::Input(n) => Spot::Input(n),
            // The models that are read have no strings.
            Place::String(..) => continue,
        };
        channels.push(((spot, channel.quantity), id));
    }
    channels.sort_unstable();
    channels
}

fn has_inputs(used: &[(Model, Reads)]) -> bool {
    used.iter().any(|(model, _)| model.has_inputs())
}

fn address(name: &DeviceId, spot: Spot, quantity: Quantity) -> String {
    let quantity = quantity.name();
    match spot {
        Spot::Device => format!("{name}/{quantity}"),
        Spot::AllInputs => format!("{name}/{quantity} (all inputs together)"),
        Spot::Input(n) => format!("{name}/input-{n}/{quantity}"),
    }
}

#[cfg(test)]
#[path = "source_tests.rs"]
mod tests;
