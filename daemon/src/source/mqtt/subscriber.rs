//! All devices of one broker: whose message it is, and what is said of those that cannot be used.
//! Never in here: how the connection is kept, or what stands in a message.

use super::broker::{self, Notice};
use super::device::{Ignored, MessageDevice};
use super::sparkplug::{EdgeNode, Event, NAMESPACE, Oddity, Topic};
use crate::clock::Clock;
use analysis::reading::{Reading, Time};
use config::checked::Broker;
use config::messages::{MessageValue, Payload};
use std::collections::BTreeMap;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::task::JoinSet;
use tracing::{info, warn};

/// A poll whose rest has not come is looked at so often.
const LOOK: Duration = Duration::from_millis(200);

/// The devices of one broker.
pub struct Subscriber {
    broker: Broker,
    devices: Vec<MessageDevice>,
    nodes: BTreeMap<(String, String), EdgeNode>,
    notices: Option<mpsc::Receiver<Notice>>,
    /// The task that keeps the connection; ends with this.
    connection: JoinSet<()>,
    /// What was said last of the connection, so that it is said once.
    lost: Option<String>,
}

impl Subscriber {
    /// Connects with the first [`Subscriber::next`].
    pub fn new(broker: Broker, devices: Vec<MessageDevice>) -> Self {
        for device in &devices {
            let channels = device.unplanned().join(", ");
            if !channels.is_empty() {
                let (device, map) = (device.name(), &device.map().name);
                info!(%device, map, channels, "values without a channel in the plant");
            }
        }
        Self {
            broker,
            devices,
            nodes: BTreeMap::new(),
            notices: None,
            connection: JoinSet::new(),
            lost: None,
        }
    }

    /// The next readings. If the future is dropped nothing is lost.
    pub async fn next(&mut self, clock: Clock) -> Vec<Reading> {
        loop {
            let notices = match &mut self.notices {
                Some(notices) => notices,
                None => self.connect(),
            };
            let notice = tokio::time::timeout(LOOK, notices.recv()).await;
            let now = clock.now();
            let mut readings = match notice {
                Ok(Some(notice)) => self.take(now, notice),
                // The task has panicked: the next look starts another.
                Ok(None) => {
                    self.notices = None;
                    Vec::new()
                }
                Err(_) => Vec::new(),
            };
            for device in &mut self.devices {
                if device.due().is_some_and(|due| now >= due) {
                    readings.extend(device.flush());
                }
            }
            if !readings.is_empty() {
                return readings;
            }
        }
    }

    fn connect(&mut self) -> &mut mpsc::Receiver<Notice> {
        let (sender, notices) = mpsc::channel(broker::QUEUE);
        let (broker, topics) = (self.broker.clone(), self.topics());
        self.connection.spawn(broker::keep(broker, topics, sender));
        self.notices.insert(notices)
    }

    /// What is subscribed to, each topic once.
    fn topics(&self) -> Vec<String> {
        let of = |device: &MessageDevice| match device.map().payload {
            Payload::Sparkplug => {
                let (group, node, _) = parts_of(device.topic());
                vec![format!("{NAMESPACE}/{group}/+/{node}/#")]
            }
            _ => {
                let topic = device.topic();
                let of_value = |value: &MessageValue| match &value.topic {
                    None => topic.to_owned(),
                    Some(below) => format!("{topic}/{below}"),
                };
                device.map().values.iter().map(of_value).collect()
            }
        };
        let mut topics: Vec<String> = self.devices.iter().flat_map(of).collect();
        topics.sort();
        topics.dedup();
        topics
    }

    fn take(&mut self, now: Time, notice: Notice) -> Vec<Reading> {
        match notice {
            Notice::Connected => {
                self.lost = None;
                info!(broker = %self.broker.address, "connected");
                Vec::new()
            }
            Notice::Lost(why) => {
                if self.lost.as_ref() != Some(&why) {
                    warn!(
                        broker = %self.broker.address,
                        why, "no connection; trying again, longer each time"
                    );
                    self.lost = Some(why);
                }
                Vec::new()
            }
            Notice::Message {
                topic,
                bytes,
                is_retained,
            } => match Topic::read(&topic) {
                Some(sparkplug) if !is_retained => self.sparkplug(now, &sparkplug, &bytes),
                Some(_) => Vec::new(),
                None => self.message(now, &topic, is_retained, &bytes),
            },
        }
    }

    fn message(&mut self, now: Time, topic: &str, is_retained: bool, bytes: &[u8]) -> Vec<Reading> {
        let mut readings = Vec::new();
        for device in &mut self.devices {
            let Some(below) = below(topic, device.topic()) else {
                continue;
            };
            let before = device.ignored;
            match device.message(now, below, is_retained, bytes) {
                Ok(complete) => readings.extend(complete),
                // Told once, and then counted: a device that talks nonsense does so for long.
                Err(garbage) if before.garbage == 0 => {
                    warn!(device = %device.name(), topic, %garbage, "message left out");
                }
                Err(_) => {}
            }
            note_first(device, topic, before);
        }
        readings
    }

    fn sparkplug(&mut self, now: Time, topic: &Topic<'_>, bytes: &[u8]) -> Vec<Reading> {
        let is_of_node = |device: &MessageDevice| {
            let (group, node, _) = parts_of(device.topic());
            device.map().payload == Payload::Sparkplug && (group, node) == (topic.group, topic.node)
        };
        if !self.devices.iter().any(is_of_node) {
            return Vec::new();
        }
        let key = (topic.group.to_owned(), topic.node.to_owned());
        let node = self.nodes.entry(key).or_default();
        let (event, odd) = match node.take(topic.verb, topic.device, bytes) {
            Ok(taken) => taken,
            Err(garbage) => {
                warn!(node = topic.node, device = topic.device, %garbage, "message left out");
                return Vec::new();
            }
        };
        for oddity in odd {
            note_odd(topic, &oddity);
        }
        let mut readings = Vec::new();
        for device in self.devices.iter_mut().filter(|d| is_of_node(d)) {
            let (_, _, name) = parts_of(device.topic());
            // A node that dies takes its devices along.
            let dies_too = topic.device.is_none() && event == Event::Died;
            if name == topic.device || dies_too {
                readings.extend(device.event(now, &event));
            }
        }
        readings
    }
}

/// Said at the first of each kind.
fn note_first(device: &MessageDevice, topic: &str, before: Ignored) {
    let (name, now) = (device.name(), device.ignored);
    if before.retained == 0 && now.retained > 0 {
        info!(device = %name, topic, "kept by the broker from earlier: not live, left out");
    }
    if before.ahead == 0 && now.ahead > 0 {
        warn!(device = %name, topic, "stamped ahead of its arrival, which is taken instead");
    }
}

fn note_odd(topic: &Topic<'_>, oddity: &Oddity) {
    let (node, device) = (topic.node, topic.device);
    match oddity {
        Oddity::Gap { wanted, found } => {
            warn!(
                node,
                device, wanted, found, "messages before this one are missing"
            );
        }
        Oddity::NoBirth => {
            info!(
                node,
                device, "values by aliases that no birth has told; waiting for the next birth"
            );
        }
    }
}

/// Group, node and device of a topic in the site file.
fn parts_of(topic: &str) -> (&str, &str, Option<&str>) {
    let mut parts = topic.split('/');
    let mut next = || parts.next();
    (
        next().unwrap_or_default(),
        next().unwrap_or_default(),
        next(),
    )
}

/// What stands below a topic; empty on the topic itself.
fn below<'t>(topic: &'t str, base: &str) -> Option<&'t str> {
    let rest = topic.strip_prefix(base)?;
    match rest.is_empty() {
        true => Some(rest),
        false => rest.strip_prefix('/'),
    }
}
