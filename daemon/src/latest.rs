//! What was heard last of every device and channel, and what went wrong: for whoever looks now.
//!
//! Sources write, the page reads; a lock is held for no longer than it takes to copy.
//! Never in here: history, or what a value means.

use crate::source::modbus::{Trouble, Words};
use analysis::reading::{ChannelTable, DeviceId, Reading, Time, Value};
use std::collections::BTreeMap;
use std::sync::{Mutex, MutexGuard};
use tokio::sync::watch;

/// Everything that was heard last.
#[derive(Debug)]
pub struct Latest {
    channels: ChannelTable,
    heard: Mutex<Heard>,
    changed: watch::Sender<u64>,
}

#[derive(Debug)]
struct Heard {
    /// By channel.
    values: Vec<Option<(Time, Value)>>,
    devices: BTreeMap<DeviceId, Device>,
    words: BTreeMap<DeviceId, TimedWords>,
}

/// What a device has answered last to each request, as it came, and when: by Modbus function code and
/// first address, counted from 0.
pub type TimedWords = BTreeMap<(u8, u16), (Time, Vec<u16>)>;

/// How a device is heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Device {
    /// When it last answered or published.
    pub heard: Option<Time>,
    /// What goes wrong now, and since when.
    pub trouble: Option<(Time, Trouble)>,
    /// Answers, or messages that belong together.
    pub answers: u64,
    /// Polls without an answer.
    pub failures: u64,
}

impl Latest {
    /// Nothing yet.
    pub fn new(channels: &ChannelTable) -> Self {
        let devices = channels.iter().map(|(_, channel)| channel.device.clone());
        Self {
            channels: channels.clone(),
            heard: Mutex::new(Heard {
                values: vec![None; channels.len()],
                devices: devices.map(|id| (id, Device::default())).collect(),
                words: BTreeMap::new(),
            }),
            changed: watch::Sender::new(0),
        }
    }

    /// Readings came of devices that say by themselves when they do.
    pub fn published(&self, at: Time, readings: &[Reading]) {
        let mut heard = self.lock();
        // Readings of a device come together.
        let of = |r: &Reading| &self.channels.channel(r.channel).device;
        for together in readings.chunk_by(|a, b| of(a) == of(b)) {
            heard.answered(of(&together[0]), at);
        }
        heard.take(readings);
        drop(heard);
        self.tell();
    }

    /// A device answered, with readings and with the words that they were read from.
    pub fn answered(&self, device: &DeviceId, at: Time, readings: &[Reading], words: Words) {
        let mut heard = self.lock();
        heard.answered(device, at);
        heard.take(readings);
        let of_device = heard.words.entry(device.clone()).or_default();
        of_device.extend(words.into_iter().map(|(from, words)| (from, (at, words))));
        drop(heard);
        self.tell();
    }

    /// A device did not answer, or not rightly.
    pub fn failed(&self, device: &DeviceId, at: Time, trouble: Trouble) {
        let mut heard = self.lock();
        let device = heard.device(device);
        device.failures += 1;
        device.trouble = match device.trouble {
            Some((since, same)) if same == trouble => Some((since, same)),
            _ => Some((at, trouble)),
        };
        drop(heard);
        self.tell();
    }

    /// How each device is heard.
    pub fn devices(&self) -> BTreeMap<DeviceId, Device> {
        self.lock().devices.clone()
    }

    /// The last value of each channel, in the order of the table.
    pub fn values(&self) -> Vec<Option<(Time, Value)>> {
        self.lock().values.clone()
    }

    /// What a device has answered, as it came; nothing of one that is not asked for registers.
    pub fn words(&self, device: &DeviceId) -> TimedWords {
        self.lock().words.get(device).cloned().unwrap_or_default()
    }

    /// Whether a device has answered with registers.
    pub fn has_words(&self, device: &DeviceId) -> bool {
        let heard = self.lock();
        heard
            .words
            .get(device)
            .is_some_and(|words| !words.is_empty())
    }

    /// Counts up whenever something was heard.
    pub fn changes(&self) -> watch::Receiver<u64> {
        self.changed.subscribe()
    }

    fn tell(&self) {
        self.changed.send_modify(|n| *n += 1);
    }

    fn lock(&self) -> MutexGuard<'_, Heard> {
        self.heard.lock().expect("nothing under this lock panics")
    }
}

impl Heard {
    fn device(&mut self, id: &DeviceId) -> &mut Device {
        if !self.devices.contains_key(id) {
            self.devices.insert(id.clone(), Device::default());
        }
        self.devices.get_mut(id).expect("it is there now")
    }

    fn answered(&mut self, device: &DeviceId, at: Time) {
        let device = self.device(device);
        device.heard = Some(at);
        device.trouble = None;
        device.answers += 1;
    }

    fn take(&mut self, readings: &[Reading]) {
        for reading in readings {
            let place = self.values.get_mut(usize::from(reading.channel.0));
            // A broker keeps old messages: the newest counts.
            if let Some(place) = place
                && place.is_none_or(|(at, _)| at <= reading.at)
            {
                *place = Some((reading.at, reading.value));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::reading::ChannelId;

    #[test]
    fn trouble_lasts_from_its_first_poll_to_the_next_answer() {
        let at = Time::from_unix_ms;
        let address = "barn/ac_power_w".parse().expect("an address");
        let latest = Latest::new(&ChannelTable::new([address]));
        let barn = DeviceId::new("barn");
        latest.failed(&barn, at(1), Trouble::Link);
        latest.failed(&barn, at(2), Trouble::Link);
        assert_eq!(
            latest.devices()[&barn].trouble,
            Some((at(1), Trouble::Link))
        );
        latest.failed(&barn, at(3), Trouble::Refused);
        assert_eq!(
            latest.devices()[&barn].trouble,
            Some((at(3), Trouble::Refused))
        );
        let reading = |ms, watts| Reading {
            channel: ChannelId(0),
            at: at(ms),
            value: Value::Good(watts),
        };
        let words = |value| Words::from([((3, 40), vec![value, 7])]);
        latest.answered(&barn, at(4), &[reading(4, 900.0)], words(9));
        latest.published(at(5), &[reading(2, 100.0)]);
        let device = latest.devices()[&barn];
        assert_eq!((device.trouble, device.heard), (None, Some(at(5))));
        assert_eq!((device.answers, device.failures), (2, 3));
        assert_eq!(latest.values(), [Some((at(4), Value::Good(900.0)))]);
        assert_eq!(*latest.changes().borrow(), 5);
        let other = Words::from([((4, 0), vec![1])]);
        latest.answered(&barn, at(6), &[], other);
        let kept = TimedWords::from([((3, 40), (at(4), vec![9, 7])), ((4, 0), (at(6), vec![1]))]);
        assert_eq!(latest.words(&barn), kept);
    }
}
