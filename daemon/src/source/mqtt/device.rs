//! One device behind a broker, from its messages to readings on the plant's channels.
//!
//! Messages that belong together come one after the other: what arrives within `GATHERED` is one poll and has
//! one time. What carries a time of its own belongs to what has the same.
//! Never in here: a connection, or a clock; the time of arrival comes in as an argument.

use super::payload::{Garbage, parts, value_of};
use super::sparkplug::{Event, Number, Told};
use crate::source::registers::{Raw, together};
use analysis::reading::{
    Channel, ChannelId, ChannelTable, DeviceId, Quantity, Reading, Span, Time, Value,
};
use config::messages::{MessageMap, MessageValue};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Longest time from the first to the last message of one poll (common practice: devices publish all they
/// have within a second); half of the device's period where that is shorter.
const GATHERED: Span = Span::from_s(1);
/// A retained message is live if it is not older than so many periods.
const FRESH_PERIODS: i64 = 2;
/// A device whose stamps are further ahead has no right clock: the time of arrival counts.
const AHEAD: Span = Span::from_min(1);

/// A device that publishes.
#[derive(Debug)]
pub struct MessageDevice {
    name: DeviceId,
    topic: String,
    map: Arc<MessageMap>,
    /// Where each value of the map goes; `None` where the plant has no such channel.
    channels: Vec<Option<ChannelId>>,
    every: Span,
    pending: Option<Pending>,
    /// What could not be used.
    pub(super) ignored: Ignored,
}

/// Messages that could not be used, counted.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Ignored {
    /// Not what the map says.
    pub garbage: u64,
    /// Kept by the broker from earlier, and not live.
    pub retained: u64,
    /// Stamped ahead of their arrival; taken with that.
    pub ahead: u64,
}

/// A poll that is not complete yet.
#[derive(Debug)]
struct Pending {
    at: Time,
    arrived: Time,
    values: BTreeMap<ChannelId, Value>,
}

impl MessageDevice {
    /// A device that publishes below `topic`.
    pub fn new(
        name: &DeviceId,
        topic: &str,
        map: Arc<MessageMap>,
        table: &ChannelTable,
        every: Span,
    ) -> Self {
        let channel = |value: &MessageValue| {
            table.id(&Channel {
                device: name.clone(),
                place: value.place,
                quantity: value.quantity,
            })
        };
        Self {
            name: name.clone(),
            topic: topic.to_owned(),
            channels: map.values.iter().map(channel).collect(),
            map,
            every,
            pending: None,
            ignored: Ignored::default(),
        }
    }

    /// Its name.
    pub fn name(&self) -> &DeviceId {
        &self.name
    }

    pub(super) fn topic(&self) -> &str {
        &self.topic
    }

    pub(super) fn map(&self) -> &MessageMap {
        &self.map
    }

    /// Addresses of the map that the plant has no channel for.
    pub fn unplanned(&self) -> Vec<String> {
        let values = self.map.values.iter().zip(&self.channels);
        let without = values.filter(|(_, channel)| channel.is_none());
        without
            .map(|(value, _)| format!("{}/{}", self.name, value.channel()))
            .collect()
    }

    /// Takes a message that came below its topic; gives the poll that is complete by it.
    ///
    /// # Errors
    /// If the message is not what the map says. What came before it is kept.
    pub fn message(
        &mut self,
        arrived: Time,
        topic: &str,
        is_retained: bool,
        bytes: &[u8],
    ) -> Result<Vec<Reading>, Garbage> {
        let (at, parts) = parts(&self.map, topic, bytes).inspect_err(|_| {
            self.ignored.garbage += 1;
        })?;
        if parts.is_empty() {
            return Ok(Vec::new());
        }
        let is_fresh = at.is_some_and(|at| arrived - at <= self.every * FRESH_PERIODS);
        if is_retained && !is_fresh {
            self.ignored.retained += 1;
            return Ok(Vec::new());
        }
        let mut complete = Vec::new();
        for part in parts {
            complete.extend(self.put(arrived, at, part.index, part.value));
        }
        Ok(complete)
    }

    /// Takes what a Sparkplug message says about it.
    pub(super) fn event(&mut self, arrived: Time, event: &Event) -> Vec<Reading> {
        let mut complete = Vec::new();
        match event {
            Event::Values(told) => {
                let map = self.map.clone();
                for metric in told {
                    let at = taken_at(metric);
                    let named = |(_, value): &(usize, &MessageValue)| value.part == metric.name;
                    for (index, wanted) in map.values.iter().enumerate().filter(named) {
                        complete.extend(self.put(arrived, at, index, number(wanted, metric)));
                    }
                }
            }
            Event::Died => {
                complete.extend(self.flush());
                let lost = |channel: &ChannelId| (*channel, Value::Missing);
                self.pending = Some(Pending {
                    at: arrived,
                    arrived,
                    values: self.channels.iter().flatten().map(lost).collect(),
                });
                complete.extend(self.flush());
            }
        }
        complete
    }

    /// When what has come is a whole poll, if anything has.
    pub fn due(&self) -> Option<Time> {
        let pending = self.pending.as_ref()?;
        Some(pending.arrived + GATHERED.min(self.every.half()))
    }

    /// What has come so far.
    pub fn flush(&mut self) -> Vec<Reading> {
        let Some(Pending { at, values, .. }) = self.pending.take() else {
            return Vec::new();
        };
        let reading = |(channel, value)| Reading { channel, at, value };
        values.into_iter().map(reading).collect()
    }

    fn put(
        &mut self,
        arrived: Time,
        own: Option<Time>,
        index: usize,
        value: Value,
    ) -> Vec<Reading> {
        let Some(channel) = self.channels[index] else {
            return Vec::new();
        };
        let is_ahead = own.is_some_and(|at| at > arrived + AHEAD);
        self.ignored.ahead += u64::from(is_ahead);
        let own = own.filter(|_| !is_ahead);
        let is_bits = self.map.values[index].quantity == Quantity::EventBits;
        let is_over = self.due().is_some_and(|due| arrived >= due);
        let belongs = |pending: &Pending| {
            let same_time = own.is_none_or(|own| own == pending.at);
            same_time && !is_over && (is_bits || !pending.values.contains_key(&channel))
        };
        let complete = match &self.pending {
            Some(pending) if !belongs(pending) => self.flush(),
            _ => Vec::new(),
        };
        let pending = self.pending.get_or_insert_with(|| Pending {
            at: own.unwrap_or(arrived),
            arrived,
            values: BTreeMap::new(),
        });
        let known = pending.values.get(&channel).copied();
        let value = known.map_or(value, |known| together(known, value));
        pending.values.insert(channel, value);
        complete
    }
}

fn taken_at(metric: &Told) -> Option<Time> {
    let ms = i64::try_from(metric.at_ms?).ok()?;
    Some(Time::from_unix_ms(ms))
}

fn number(wanted: &MessageValue, metric: &Told) -> Value {
    let raw = metric.number.map(|number| match number {
        Number::Whole(whole) => Raw::whole(whole),
        Number::Float(number) => Raw::number(number),
    });
    let value = raw.map_or(Value::Missing, |raw| value_of(wanted, raw));
    match metric.is_faulty {
        true => value.faulty(),
        false => value,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::reading::Place;
    use config::messages::parse_message_map;

    const EVERY: Span = Span::from_s(10);

    fn at(ms: i64) -> Time {
        Time::from_unix_ms(1_000_000_000_000 + ms)
    }

    fn device(payload: &str, values: &str) -> MessageDevice {
        let text = format!("name = \"Test\"\n{payload}\n{values}");
        let map = parse_message_map("test.toml", &text).unwrap_or_else(|e| panic!("{e}"));
        let name = DeviceId::new("inv-1");
        let channel = |place, quantity| Channel {
            device: name.clone(),
            place,
            quantity,
        };
        let table = ChannelTable::new([
            channel(Place::Device, Quantity::AcPower),
            channel(Place::Input(1), Quantity::DcVoltage),
        ]);
        MessageDevice::new(&name, "barn/inv-1", Arc::new(map), &table, EVERY)
    }

    fn numbers() -> MessageDevice {
        device(
            "payload = \"number\"",
            "[[value]]\nchannel = \"ac_power_w\"\ntopic = \"p\"\n\
             [[value]]\nchannel = \"input-1/dc_voltage_v\"\ntopic = \"v\"\n\
             [[value]]\nchannel = \"input-2/dc_voltage_v\"\ntopic = \"v2\"\n",
        )
    }

    fn stamped() -> MessageDevice {
        device(
            "payload = \"json\"\ntime = \"unix-ms\"\ntime_pointer = \"/t\"",
            "[[value]]\nchannel = \"ac_power_w\"\npointer = \"/p\"\n\
             [[value]]\nchannel = \"input-1/dc_voltage_v\"\npointer = \"/v\"\n",
        )
    }

    fn times(readings: &[Reading]) -> Vec<Time> {
        readings.iter().map(|reading| reading.at).collect()
    }

    #[test]
    fn what_arrives_within_a_second_is_one_poll() {
        let mut device = numbers();
        assert_eq!(device.message(at(0), "p", false, b"100"), Ok(vec![]));
        assert_eq!(device.message(at(600), "v", false, b"400"), Ok(vec![]));
        assert_eq!(device.due(), Some(at(1_000)));
        let next = device
            .message(at(10_000), "p", false, b"110")
            .expect("right");
        assert_eq!(times(&next), [at(0), at(0)]);
        assert_eq!(times(&device.flush()), [at(10_000)]);
        assert_eq!(device.unplanned(), ["inv-1/input-2/dc_voltage_v"]);
    }

    #[test]
    fn the_same_channel_again_begins_the_next_poll() {
        let mut device = numbers();
        device.message(at(0), "p", false, b"100").expect("right");
        let complete = device.message(at(300), "p", false, b"101").expect("right");
        assert_eq!(times(&complete), [at(0)]);
        assert_eq!(times(&device.flush()), [at(300)]);
    }

    #[test]
    fn what_the_broker_has_kept_is_not_live_unless_it_says_when() {
        let mut plain = numbers();
        assert_eq!(plain.message(at(0), "p", true, b"100"), Ok(vec![]));
        assert_eq!((plain.due(), plain.ignored.retained), (None, 1));
        let mut device = stamped();
        let sent = |ms: i64| format!("{{\"t\":{},\"p\":1}}", at(ms).unix_ms());
        device
            .message(at(0), "", true, sent(-21_000).as_bytes())
            .expect("right");
        assert_eq!((device.due(), device.ignored.retained), (None, 1));
        device
            .message(at(0), "", true, sent(-5_000).as_bytes())
            .expect("right");
        assert_eq!(times(&device.flush()), [at(-5_000)]);
    }

    #[test]
    fn a_stamp_far_ahead_gives_way_to_the_arrival() {
        let mut device = stamped();
        let ahead = format!("{{\"t\":{},\"p\":1,\"v\":2}}", at(3_600_000).unix_ms());
        device
            .message(at(0), "", false, ahead.as_bytes())
            .expect("right");
        assert_eq!(times(&device.flush()), [at(0), at(0)]);
        assert_eq!(device.ignored.ahead, 2);
    }

    #[test]
    fn garbage_is_counted_and_leaves_what_came_before() {
        let mut device = numbers();
        device.message(at(0), "p", false, b"100").expect("right");
        device
            .message(at(10), "v", false, b"\xff\xfe")
            .expect_err("no number");
        assert_eq!(device.ignored.garbage, 1);
        assert_eq!(device.flush().len(), 1);
    }

    #[test]
    fn after_a_death_everything_is_missing() {
        let mut device = device(
            "payload = \"sparkplug\"",
            "[[value]]\nchannel = \"ac_power_w\"\nmetric = \"AC/Power\"\nscale = 1000\n",
        );
        let told = Told {
            name: "AC/Power".to_owned(),
            at_ms: Some(at(-300).unix_ms() as u64),
            number: Some(Number::Float(2.5)),
            is_faulty: false,
        };
        assert_eq!(device.event(at(0), &Event::Values(vec![told])), []);
        let lost = device.event(at(500), &Event::Died);
        assert_eq!(times(&lost), [at(-300), at(500)]);
        let values: Vec<Value> = lost.iter().map(|reading| reading.value).collect();
        assert_eq!(values, [Value::Good(2500.0), Value::Missing]);
    }
}
