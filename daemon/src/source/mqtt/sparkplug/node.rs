//! What a node and its devices say, message by message.
//! Never in here: topics, or what a metric means for the plant.

use super::message::{Metric, Number, Payload, number};
use super::topic::Verb;
use crate::source::mqtt::payload::{Garbage, quoted};
use prost::Message;
use std::collections::BTreeMap;

/// Sequence numbers go up to it and begin again.
const SEQUENCE_END: u64 = 256;

/// What a message says about one metric.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    /// Its name.
    pub name: String,
    /// When it was taken [ms since 1970], if that is told.
    pub at_ms: Option<u64>,
    /// `None` where there is no number.
    pub number: Option<Number>,
    /// Whether its sender says that it is not good.
    pub is_faulty: bool,
}

/// What happened to a device or node with a message.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// It was born, or has sent data.
    Values(Vec<Told>),
    /// Nothing is known of it until its next birth.
    Died,
}

/// What is odd about a message that was taken all the same.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Oddity {
    /// Messages before it are missing.
    Gap {
        /// The number that was due.
        wanted: u64,
        /// The number that came.
        found: u64,
    },
    /// Values by an alias that no birth has told, left out; none is asked for.
    NoBirth,
}

/// What is known of an edge node and its devices.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct EdgeNode {
    /// Name and kind behind each alias; aliases are the node's, not the device's.
    aliases: BTreeMap<u64, (String, Option<u32>)>,
    /// Kind of each metric by device and name.
    kinds: BTreeMap<(Option<String>, String), u32>,
    next: Option<u64>,
}

impl EdgeNode {
    /// Takes one message of the node or of one of its devices, in the order in which they came.
    ///
    /// # Errors
    /// If the bytes are no payload.
    pub fn take(
        &mut self,
        verb: Verb,
        device: Option<&str>,
        bytes: &[u8],
    ) -> Result<(Event, Vec<Oddity>), Garbage> {
        let payload = Payload::decode(bytes).map_err(|error| Garbage::Sparkplug {
            found: quoted(bytes),
            why: error.to_string(),
        })?;
        let mut odd = Vec::new();
        match (verb, device) {
            // The broker sends it in the name of the node, and it has no number.
            (Verb::Death, None) => {
                *self = Self::default();
                return Ok((Event::Died, odd));
            }
            (Verb::Birth, None) => {
                *self = Self::default();
                self.next = payload.seq.map(after);
            }
            _ => odd.extend(self.count(payload.seq)),
        }
        if verb == Verb::Death {
            return Ok((Event::Died, odd));
        }
        let mut told = Vec::new();
        let mut is_unborn = false;
        for metric in payload.metrics {
            if verb == Verb::Birth {
                self.note(device, &metric);
            }
            match self.told(device, metric, payload.timestamp) {
                Some(metric) => told.push(metric),
                None => is_unborn = true,
            }
        }
        odd.extend(is_unborn.then_some(Oddity::NoBirth));
        Ok((Event::Values(told), odd))
    }

    fn count(&mut self, seq: Option<u64>) -> Option<Oddity> {
        let found = seq?;
        let wanted = self.next.replace(after(found))?;
        (wanted != found).then_some(Oddity::Gap { wanted, found })
    }

    fn note(&mut self, device: Option<&str>, metric: &Metric) {
        let Some(name) = &metric.name else { return };
        if let Some(alias) = metric.alias {
            self.aliases.insert(alias, (name.clone(), metric.datatype));
        }
        if let Some(kind) = metric.datatype {
            let key = (device.map(str::to_owned), name.clone());
            self.kinds.insert(key, kind);
        }
    }

    /// `None` where nobody knows which metric it is.
    fn told(&self, device: Option<&str>, metric: Metric, sent_ms: Option<u64>) -> Option<Told> {
        let is_faulty = metric.is_faulty();
        let by_alias = metric.alias.and_then(|alias| self.aliases.get(&alias));
        let name = metric.name.or_else(|| Some(by_alias?.0.clone()))?;
        let kind = metric.datatype.or_else(|| by_alias?.1);
        let key = (device.map(str::to_owned), name);
        let kind = kind.or_else(|| self.kinds.get(&key).copied());
        let value = metric.value.filter(|_| metric.is_null != Some(true));
        Some(Told {
            name: key.1,
            at_ms: metric.timestamp.or(sent_ms),
            number: value.and_then(|value| number(&value, kind)),
            is_faulty,
        })
    }
}

fn after(seq: u64) -> u64 {
    seq.wrapping_add(1) % SEQUENCE_END
}
