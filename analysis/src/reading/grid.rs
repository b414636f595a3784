//! From a stream of readings to time order and to means in slots.
//!
//! Readings may come late, repeated or shuffled. They wait in [`Arrivals`] until the watermark has
//! passed them by the allowed lateness, then leave in the order of their time and channel, each
//! once. [`SlotMeans`] adds up what left, slot by slot.
//! Never in here: what a reading means.

use super::{ChannelId, Reading, Span, Time, Value};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

/// What became of an offered reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Offer {
    /// It waits for its turn.
    Waiting,
    /// The same reading is waiting already.
    Repeated,
    /// Another value of the same channel and time is waiting; the better one is kept.
    Conflict,
    /// Its time has been passed; it takes no part any more.
    TooLate,
}

/// Clocks are corrected by less than this; more means that the time before was wrong.
const CORRECTION: Span = Span::from_min(1);

/// Readings that wait for their turn.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Arrivals {
    /// By time, then by channel: few times wait at once, and they leave as a whole.
    #[serde(with = "flat")]
    waiting: BTreeMap<Time, BTreeMap<ChannelId, Value>>,
    passed: Option<Time>,
}

impl Arrivals {
    /// Nothing waits, nothing has passed.
    pub fn new() -> Self {
        Self {
            waiting: BTreeMap::new(),
            passed: None,
        }
    }

    /// Takes a reading, unless its time has been passed.
    pub fn offer(&mut self, reading: Reading) -> Offer {
        if self.passed.is_some_and(|passed| reading.at <= passed) {
            return Offer::TooLate;
        }
        let at_once = self.waiting.entry(reading.at).or_default();
        match at_once.entry(reading.channel) {
            Entry::Vacant(place) => {
                place.insert(reading.value);
                Offer::Waiting
            }
            Entry::Occupied(present) if *present.get() == reading.value => Offer::Repeated,
            Entry::Occupied(mut present) => {
                // Whatever the order of arrival, the same one of the two must stay.
                if preference(reading.value) > preference(*present.get()) {
                    present.insert(reading.value);
                }
                Offer::Conflict
            }
        }
    }

    /// Counts again from `at` on, if that has been passed by more than a correction of the clock.
    /// Says whether it was.
    pub fn go_back(&mut self, at: Time) -> bool {
        let is_back = self.passed.is_some_and(|passed| passed - at > CORRECTION);
        if is_back {
            self.passed = Some(at);
            self.waiting.clear();
        }
        is_back
    }

    /// Lets go of everything up to and including `until`, in order of time and channel.
    pub fn release(&mut self, until: Time) -> Vec<Reading> {
        if self.passed.is_some_and(|passed| until <= passed) {
            return Vec::new();
        }
        self.passed = Some(until);
        let mut released = Vec::new();
        while let Some(next) = self.waiting.first_entry().filter(|e| *e.key() <= until) {
            let (at, readings) = next.remove_entry();
            let readings = readings.into_iter();
            released.extend(readings.map(|(channel, value)| Reading { channel, at, value }));
        }
        released
    }
}

/// What waits is kept on disk as one map, by time and channel together.
mod flat {
    use super::{BTreeMap, ChannelId, Time, Value};
    use serde::ser::SerializeMap;
    use serde::{Deserialize, Deserializer, Serializer};

    type Nested = BTreeMap<Time, BTreeMap<ChannelId, Value>>;

    pub(super) fn serialize<S: Serializer>(waiting: &Nested, to: S) -> Result<S::Ok, S::Error> {
        let count = waiting.values().map(BTreeMap::len).sum();
        let mut map = to.serialize_map(Some(count))?;
        for (at, readings) in waiting {
            for (channel, value) in readings {
                map.serialize_entry(&(at, channel), value)?;
            }
        }
        map.end()
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Nested, D::Error> {
        let mut waiting = Nested::new();
        for ((at, channel), value) in BTreeMap::<(Time, ChannelId), Value>::deserialize(from)? {
            waiting.entry(at).or_default().insert(channel, value);
        }
        Ok(waiting)
    }
}

impl Default for Arrivals {
    fn default() -> Self {
        Self::new()
    }
}

/// Good before out of range before missing before faulty; among equals the larger number. A total order.
fn preference(value: Value) -> (u8, u64) {
    let ordered = |v: f64| {
        let bits = v.to_bits();
        if bits >> 63 == 1 {
            !bits
        } else {
            bits | (1 << 63)
        }
    };
    match value {
        Value::Good(v) => (4, ordered(v)),
        Value::OutOfRange(v) => (3, ordered(v)),
        Value::Missing => (2, 0),
        Value::Faulty(Some(v)) => (1, ordered(v)),
        Value::Faulty(None) => (0, 0),
    }
}

/// Mean, spread and count of the good readings of one channel in one slot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Stat {
    /// How many good readings.
    pub count: u32,
    /// Arithmetic mean.
    pub mean: f64,
    /// Sum of squared deviations from the mean (Welford).
    sum_sq: f64,
    /// Smallest.
    pub min: f64,
    /// Largest.
    pub max: f64,
    /// Last in time.
    pub last: f64,
}

impl Stat {
    fn first(value: f64) -> Self {
        Self {
            count: 1,
            mean: value,
            sum_sq: 0.0,
            min: value,
            max: value,
            last: value,
        }
    }

    fn add(&mut self, value: f64) {
        self.count += 1;
        let delta = value - self.mean;
        self.mean += delta / f64::from(self.count);
        self.sum_sq += delta * (value - self.mean);
        self.min = self.min.min(value);
        self.max = self.max.max(value);
        self.last = value;
    }

    /// Standard deviation of the readings; zero for fewer than two.
    pub fn std(&self) -> f64 {
        if self.count < 2 {
            0.0
        } else {
            (self.sum_sq / f64::from(self.count - 1)).sqrt()
        }
    }
}

/// The means of one slot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SlotMeans {
    /// Where the slot begins.
    pub start: Time,
    stats: BTreeMap<ChannelId, Stat>,
}

impl SlotMeans {
    /// An empty slot.
    pub fn new(start: Time) -> Self {
        Self {
            start,
            stats: BTreeMap::new(),
        }
    }

    /// Adds a reading that lies in the slot; only good ones count.
    pub fn add(&mut self, reading: &Reading) {
        let Some(value) = reading.value.good() else {
            return;
        };
        self.stats
            .entry(reading.channel)
            .and_modify(|stat| stat.add(value))
            .or_insert_with(|| Stat::first(value));
    }

    /// The statistics of a channel, if it had a good reading.
    pub fn get(&self, channel: ChannelId) -> Option<&Stat> {
        self.stats.get(&channel)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn reading(at: i64, channel: u16, value: f64) -> Reading {
        let value = Value::Good(value);
        Reading {
            channel: ChannelId(channel),
            at: Time::from_unix_ms(at),
            value,
        }
    }

    proptest! {
        #[test]
        fn order_and_repetition_of_arrival_change_nothing(
            mut readings in prop::collection::vec((0i64..50, 0u16..3, 0.0..9.0f64), 1..60),
            repeats in prop::collection::vec(0usize..60, 0..20),
            seed in any::<u64>(),
        ) {
            let until = Time::from_unix_ms(60);
            let mut in_order = Arrivals::new();
            for &(at, channel, value) in &readings {
                in_order.offer(reading(at, channel, value));
            }
            let extra: Vec<_> = repeats.iter().map(|i| readings[i % readings.len()]).collect();
            readings.extend(extra);
            let len = readings.len();
            for i in 0..len {
                readings.swap(i, (seed as usize).wrapping_mul(i + 7) % len);
            }
            let mut shuffled = Arrivals::new();
            for &(at, channel, value) in &readings {
                shuffled.offer(reading(at, channel, value));
            }
            prop_assert_eq!(in_order.release(until), shuffled.release(until));
        }
    }

    #[test]
    fn what_has_passed_is_too_late() {
        let mut arrivals = Arrivals::new();
        assert_eq!(arrivals.offer(reading(10, 0, 1.0)), Offer::Waiting);
        assert_eq!(arrivals.offer(reading(10, 0, 1.0)), Offer::Repeated);
        assert_eq!(arrivals.release(Time::from_unix_ms(10)).len(), 1);
        assert_eq!(arrivals.offer(reading(10, 0, 1.0)), Offer::TooLate);
        assert_eq!(arrivals.offer(reading(11, 0, 1.0)), Offer::Waiting);
    }
}
