//! A device that is read by its register map, from blocks to readings on the plant's channels.
//! Never in here: a clock; the time of a reading comes in as an argument.

use super::decode::{decode, together};
use super::plan::{Block, plan};
use crate::source::modbus::{ModbusError, ReadOnlyClient, RegisterKind};
use analysis::reading::{
    Channel, ChannelId, ChannelTable, DeviceId, Quantity, Reading, Span, Time, Value,
};
use config::registers::{BlockLimits, DeviceMap, Function};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use tracing::{info, warn};

/// A device and what is known about how it answers.
pub struct MapDevice {
    name: DeviceId,
    map: Arc<DeviceMap>,
    /// Where each register's value goes; `None` where the plant has no such channel.
    channels: Vec<Option<ChannelId>>,
    /// From one poll to the next.
    every: Span,
    read_at: Vec<Option<Time>>,
    /// Refused even when asked for alone: not asked for again over this connection.
    refused: BTreeSet<usize>,
    /// What one request may cover; no gaps once the device has refused a block for one.
    limits: BlockLimits,
    /// Refused in a block without gaps and good alone.
    alone: BTreeSet<usize>,
}

/// What came back for one block, register by register.
type Values = Vec<(usize, Value)>;

impl MapDevice {
    /// Nothing has been asked yet. Registers without a channel in the plant are not read.
    pub fn new(name: &DeviceId, map: Arc<DeviceMap>, table: &ChannelTable, every: Span) -> Self {
        let channel = |register: &config::registers::Register| {
            table.id(&Channel {
                device: name.clone(),
                place: register.place,
                quantity: register.quantity,
            })
        };
        Self {
            name: name.clone(),
            channels: map.registers.iter().map(channel).collect(),
            read_at: vec![None; map.registers.len()],
            limits: map.limits.clone(),
            map,
            every,
            refused: BTreeSet::new(),
            alone: BTreeSet::new(),
        }
    }

    /// Reads what is due once, in as few blocks as the device allows, and stamps all of it with one
    /// time. A block that the device refuses is read register by register once, and those that it
    /// refuses alone are named and left out.
    ///
    /// # Errors
    /// If a request fails otherwise, or everything is refused.
    pub async fn poll(
        &mut self,
        client: &mut ReadOnlyClient,
        at: Time,
    ) -> Result<Vec<Reading>, ModbusError> {
        let due = self.due(at);
        let mut values = Values::new();
        let mut refusal = None;
        for block in plan(&self.map.registers, &due, &self.alone, &self.limits) {
            match self.read(client, &block).await {
                Ok(read) => values.extend(read),
                Err(error @ ModbusError::Refused { code, .. }) if is_about_addresses(code) => {
                    let one_by_one = Box::pin(self.one_by_one(client, &block, error));
                    let (read, error) = one_by_one.await?;
                    values.extend(read);
                    refusal = error.or(refusal);
                }
                Err(error) => return Err(error),
            }
        }
        for (index, _) in &values {
            self.read_at[*index] = Some(at);
        }
        match refusal {
            Some(error) if self.wanted().next().is_none() => {
                // It may be an update: with the next poll everything is tried again.
                self.refused.clear();
                Err(error)
            }
            _ => Ok(self.readings(&values, at)),
        }
    }

    /// Addresses of the map that the plant has no channel for.
    pub fn unplanned(&self) -> Vec<String> {
        let registers = self.map.registers.iter().zip(&self.channels);
        let without = registers.filter(|(_, channel)| channel.is_none());
        without
            .map(|(register, _)| format!("{}/{}", self.name, register.channel()))
            .collect()
    }

    /// What is read at every so-many-th poll is due when less than half a poll is missing.
    fn due(&self, at: Time) -> BTreeSet<usize> {
        let is_due = |index: &usize| {
            let every = self.map.registers[*index].every.unwrap_or(self.every);
            let early = self.every.half();
            self.read_at[*index].is_none_or(|read| at < read || at - read + early >= every)
        };
        let due: BTreeSet<usize> = self.wanted().filter(is_due).collect();
        // A poll without any request would look like silence.
        match due.is_empty() {
            true => self.wanted().collect(),
            false => due,
        }
    }

    fn wanted(&self) -> impl Iterator<Item = usize> {
        let planned = (0..self.channels.len()).filter(|index| self.channels[*index].is_some());
        planned.filter(|index| !self.refused.contains(index))
    }

    /// Whether the plant has a channel for anything in the map.
    pub fn has_channels(&self) -> bool {
        self.channels.iter().any(Option::is_some)
    }

    async fn read(
        &self,
        client: &mut ReadOnlyClient,
        block: &Block,
    ) -> Result<Values, ModbusError> {
        let words = words(client, block).await?;
        let value = |index: &usize| {
            let register = &self.map.registers[*index];
            let start = usize::from(register.address - block.first);
            let end = start + usize::from(register.encoding.kind.width());
            (*index, decode(register, &words[start..end]))
        };
        Ok(block.registers.iter().map(value).collect())
    }

    /// Which of a refused block's registers the device has; `Err` if it stops answering.
    async fn one_by_one(
        &mut self,
        client: &mut ReadOnlyClient,
        block: &Block,
        error: ModbusError,
    ) -> Result<(Values, Option<ModbusError>), ModbusError> {
        let mut values = Values::new();
        let mut bad = Vec::new();
        let singles = block.registers.iter().copied().collect();
        let mut refusal = None;
        for single in plan(&self.map.registers, &singles, &singles, &self.limits) {
            let index = single.registers[0];
            match self.read(client, &single).await {
                Ok(read) => values.extend(read),
                Err(error @ ModbusError::Refused { code, .. }) if is_about_addresses(code) => {
                    bad.push(format!("{} ({error})", self.map.registers[index].channel()));
                    self.refused.insert(index);
                    refusal = Some(error);
                }
                Err(error) => return Err(error),
            }
        }
        if bad.is_empty() {
            // What lies between them is the trouble; if not, how many there are.
            if self.limits.max_gap == 0 {
                self.alone.extend(&block.registers);
            }
            self.limits.max_gap = 0;
            let channels = self.channels_of(block);
            info!(device = %self.name, %error, channels, "block refused, each of its registers answers");
        } else {
            warn!(device = %self.name, bad = bad.join(", "), "registers refused, not read any more");
        }
        Ok((values, refusal))
    }

    fn channels_of(&self, block: &Block) -> String {
        let channels = block.registers.iter();
        let channels: Vec<_> = channels.map(|i| self.map.registers[*i].channel()).collect();
        channels.join(", ")
    }

    fn readings(&self, values: &Values, at: Time) -> Vec<Reading> {
        let mut by_channel: BTreeMap<ChannelId, Value> = BTreeMap::new();
        for (index, value) in values {
            let Some(channel) = self.channels[*index] else {
                continue;
            };
            let is_bits = self.map.registers[*index].quantity == Quantity::EventBits;
            let known = by_channel.get(&channel).copied().filter(|_| is_bits);
            let value = known.map_or(*value, |known| together(known, *value));
            by_channel.insert(channel, value);
        }
        let reading = |(channel, value)| Reading { channel, at, value };
        by_channel.into_iter().map(reading).collect()
    }
}

async fn words(client: &mut ReadOnlyClient, block: &Block) -> Result<Vec<u16>, ModbusError> {
    let Block { first, count, .. } = *block;
    let bits = match block.function {
        Function::Holding => {
            return client.registers(RegisterKind::Holding, first, count).await;
        }
        Function::Input => return client.registers(RegisterKind::Input, first, count).await,
        Function::Coil => client.coils(first, count).await?,
        Function::DiscreteInput => client.discrete_inputs(first, count).await?,
    };
    Ok(bits.into_iter().map(u16::from).collect())
}

/// Illegal address, and illegal value: too many at once. Source: MODBUS Application Protocol
/// Specification V1.1b3, 7.
fn is_about_addresses(code: u8) -> bool {
    matches!(code, 2 | 3)
}

#[cfg(test)]
#[path = "device_tests.rs"]
mod tests;
