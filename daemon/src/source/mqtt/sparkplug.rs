//! The open payload Sparkplug B: births, data by alias, deaths, sequence numbers.
//!
//! Model:   a birth names every metric and may give it an alias; data name a metric or its alias; a death
//!          says that nothing is known until the next birth. Messages of a node are numbered from 0 to
//!          255 and on from 0.
//! Range:   bytes of any content.
//! Source:  Eclipse Sparkplug Specification 3.0.0, chapters 4 to 6, and its payload definition
//!          (field numbers and types).
//! Check:   tests/acceptance/mqtt with messages made by another implementation of protocol buffers.
//!
//! Never in here: a connection, or the command by which a birth is asked for.

use super::payload::{Garbage, quoted};
use prost::Message;
use std::collections::BTreeMap;

/// Beginning of every topic.
pub(super) const NAMESPACE: &str = "spBv1.0";
/// Sequence numbers go up to it and begin again.
const SEQUENCE_END: u64 = 256;

/// The payload of a message.
#[derive(Clone, PartialEq, Message)]
pub struct Payload {
    /// When it was sent [ms since 1970].
    #[prost(uint64, optional, tag = "1")]
    pub timestamp: Option<u64>,
    /// What it says.
    #[prost(message, repeated, tag = "2")]
    pub metrics: Vec<Metric>,
    /// Number of the message among those of its node.
    #[prost(uint64, optional, tag = "3")]
    pub seq: Option<u64>,
}

/// One value of it.
#[derive(Clone, PartialEq, Message)]
pub struct Metric {
    /// Full name, with / between its parts.
    #[prost(string, optional, tag = "1")]
    pub name: Option<String>,
    /// Stands for the name after a birth.
    #[prost(uint64, optional, tag = "2")]
    pub alias: Option<u64>,
    /// When the value was taken [ms since 1970].
    #[prost(uint64, optional, tag = "3")]
    pub timestamp: Option<u64>,
    /// Kind of value.
    #[prost(uint32, optional, tag = "4")]
    pub datatype: Option<u32>,
    /// Whether it was kept and comes late.
    #[prost(bool, optional, tag = "5")]
    pub is_historical: Option<bool>,
    /// Whether there is none.
    #[prost(bool, optional, tag = "7")]
    pub is_null: Option<bool>,
    /// What else is said of it.
    #[prost(message, optional, tag = "9")]
    pub properties: Option<Properties>,
    /// The value.
    #[prost(oneof = "MetricValue", tags = "10, 11, 12, 13, 14, 15")]
    pub value: Option<MetricValue>,
}

/// Properties of a metric: names, and in the same order values.
#[derive(Clone, PartialEq, Message)]
pub struct Properties {
    /// Names.
    #[prost(string, repeated, tag = "1")]
    pub keys: Vec<String>,
    /// Values.
    #[prost(message, repeated, tag = "2")]
    pub values: Vec<Property>,
}

/// A value of a property, where it is a whole number; other kinds say nothing here.
#[derive(Clone, PartialEq, Message)]
pub struct Property {
    /// The number, with 32 bits.
    #[prost(uint32, optional, tag = "3")]
    pub int: Option<u32>,
}

impl Metric {
    /// Whether its sender says of the value that it is not good: bad or stale. Source: as above, 6.4.9.1,
    /// Quality Codes. A metric without the property says nothing of the kind.
    fn is_faulty(&self) -> bool {
        const QUALITY: &str = "Quality";
        const GOOD: u32 = 192;
        let properties = self.properties.iter();
        let mut named = properties.flat_map(|all| all.keys.iter().zip(&all.values));
        let quality = named.find(|(name, _)| *name == QUALITY);
        let code = quality.and_then(|(_, property)| property.int);
        code.is_some_and(|code| code != GOOD)
    }
}

/// A value as it travels; other kinds than these are left out.
#[derive(Clone, PartialEq, prost::Oneof)]
pub enum MetricValue {
    /// 8 to 32 bits, with or without sign.
    #[prost(uint32, tag = "10")]
    Int(u32),
    /// 64 bits, with or without sign, and times.
    #[prost(uint64, tag = "11")]
    Long(u64),
    /// 32 bits.
    #[prost(float, tag = "12")]
    Float(f32),
    /// 64 bits.
    #[prost(double, tag = "13")]
    Double(f64),
    /// Truth.
    #[prost(bool, tag = "14")]
    Boolean(bool),
    /// Text.
    #[prost(string, tag = "15")]
    Text(String),
}

/// A number with its sign, by the kind that its birth has told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Number {
    /// Whole.
    Whole(i128),
    /// With a point.
    Float(f64),
}

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

/// Kinds of message that say something of a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verb {
    /// NBIRTH, DBIRTH.
    Birth,
    /// NDATA, DDATA.
    Data,
    /// NDEATH, DDEATH.
    Death,
}

/// A topic of the standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Topic<'t> {
    /// Group.
    pub group: &'t str,
    /// Edge node.
    pub node: &'t str,
    /// Device; none for the node itself.
    pub device: Option<&'t str>,
    /// What it is.
    pub verb: Verb,
}

impl<'t> Topic<'t> {
    /// `None` for commands, states and whatever is not of the standard.
    pub fn read(topic: &'t str) -> Option<Self> {
        let parts: Vec<&str> = topic.split('/').collect();
        let (verb, device) = match parts[..] {
            [NAMESPACE, _, word, _] if word.starts_with('N') => (word, None),
            [NAMESPACE, _, word, _, device] if word.starts_with('D') => (word, Some(device)),
            _ => return None,
        };
        let verb = match &verb[1..] {
            "BIRTH" => Verb::Birth,
            "DATA" => Verb::Data,
            "DEATH" => Verb::Death,
            _ => return None,
        };
        Some(Self {
            group: parts[1],
            node: parts[3],
            device,
            verb,
        })
    }
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

/// Whole numbers with a sign travel as the bits of their width. Source: as above, 6.4.16.
fn number(value: &MetricValue, kind: Option<u32>) -> Option<Number> {
    const INT8: u32 = 1;
    const INT16: u32 = 2;
    const INT32: u32 = 3;
    const INT64: u32 = 4;
    Some(match (value, kind) {
        (MetricValue::Int(bits), Some(INT8)) => Number::Whole(i128::from(*bits as u8 as i8)),
        (MetricValue::Int(bits), Some(INT16)) => Number::Whole(i128::from(*bits as u16 as i16)),
        (MetricValue::Int(bits), Some(INT32)) => Number::Whole(i128::from(*bits as i32)),
        (MetricValue::Int(bits), _) => Number::Whole(i128::from(*bits)),
        (MetricValue::Long(bits), Some(INT64)) => Number::Whole(i128::from(*bits as i64)),
        (MetricValue::Long(bits), _) => Number::Whole(i128::from(*bits)),
        (MetricValue::Float(number), _) => Number::Float(f64::from(*number)),
        (MetricValue::Double(number), _) => Number::Float(*number),
        (MetricValue::Boolean(truth), _) => Number::Whole(i128::from(*truth)),
        (MetricValue::Text(_), _) => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn metric(name: Option<&str>, alias: Option<u64>, value: MetricValue) -> Metric {
        Metric {
            name: name.map(str::to_owned),
            alias,
            value: Some(value),
            ..Metric::default()
        }
    }

    fn message(seq: u64, metrics: Vec<Metric>) -> Vec<u8> {
        let payload = Payload {
            timestamp: Some(1_000),
            metrics,
            seq: Some(seq),
        };
        payload.encode_to_vec()
    }

    fn values(event: Event) -> Vec<(String, Option<Number>)> {
        let Event::Values(told) = event else {
            panic!("{event:?}")
        };
        told.into_iter().map(|t| (t.name, t.number)).collect()
    }

    #[test]
    fn data_by_alias_have_the_name_and_the_sign_of_their_birth() {
        let mut node = EdgeNode::default();
        let born = Metric {
            datatype: Some(2),
            ..metric(Some("Air"), Some(7), MetricValue::Int(20))
        };
        let (event, odd) = node
            .take(Verb::Birth, None, &message(0, vec![]))
            .expect("right");
        assert_eq!((values(event), odd), (vec![], vec![]));
        let birth = message(1, vec![born]);
        let (event, odd) = node.take(Verb::Birth, Some("mast"), &birth).expect("right");
        assert_eq!(values(event), [("Air".to_owned(), Some(Number::Whole(20)))]);
        assert_eq!(odd, []);
        let cold = message(2, vec![metric(None, Some(7), MetricValue::Int(0xFFF6))]);
        let (event, odd) = node.take(Verb::Data, Some("mast"), &cold).expect("right");
        assert_eq!(
            values(event),
            [("Air".to_owned(), Some(Number::Whole(-10)))]
        );
        assert_eq!(odd, []);
    }

    #[test]
    fn a_gap_is_noticed_once_and_the_number_begins_again_after_255() {
        let mut node = EdgeNode::default();
        node.take(Verb::Birth, None, &message(254, vec![]))
            .expect("right");
        let odd = |node: &mut EdgeNode, seq| {
            node.take(Verb::Data, Some("inv"), &message(seq, vec![]))
                .expect("right")
                .1
        };
        assert_eq!(odd(&mut node, 255), []);
        assert_eq!(odd(&mut node, 0), []);
        assert_eq!(
            odd(&mut node, 3),
            [Oddity::Gap {
                wanted: 1,
                found: 3
            }]
        );
        assert_eq!(odd(&mut node, 4), []);
    }

    #[test]
    fn what_was_not_born_or_has_died_is_not_known() {
        let mut node = EdgeNode::default();
        let data = message(9, vec![metric(None, Some(1), MetricValue::Float(2.5))]);
        let (event, odd) = node.take(Verb::Data, Some("inv"), &data).expect("right");
        assert_eq!((values(event), odd), (vec![], vec![Oddity::NoBirth]));
        let birth = message(0, vec![metric(Some("P"), Some(1), MetricValue::Float(2.5))]);
        node.take(Verb::Birth, None, &birth).expect("right");
        let (died, _) = node
            .take(Verb::Death, None, &[])
            .expect("an empty payload is one");
        assert_eq!(died, Event::Died);
        assert_eq!(node, EdgeNode::default());
    }

    #[test]
    fn a_value_that_its_sender_calls_bad_or_stale_is_faulty() {
        let with = |code: Option<u32>| Metric {
            properties: Some(Properties {
                keys: vec!["engUnit".to_owned(), "Quality".to_owned()],
                values: vec![Property::default(), Property { int: code }],
            }),
            ..metric(Some("P"), None, MetricValue::Float(2.5))
        };
        let plain = metric(Some("P"), None, MetricValue::Float(2.5));
        let codes = [
            with(Some(192)),
            with(Some(0)),
            with(Some(500)),
            with(None),
            plain,
        ];
        let mut node = EdgeNode::default();
        let birth = message(0, codes.to_vec());
        let (event, _) = node.take(Verb::Birth, Some("inv"), &birth).expect("right");
        let Event::Values(told) = event else {
            panic!("{event:?}")
        };
        let faulty: Vec<bool> = told.iter().map(|told| told.is_faulty).collect();
        assert_eq!(faulty, [false, true, true, false, false]);
    }

    #[test]
    fn topics_of_the_standard_are_told_apart_from_commands() {
        let topic = Topic::read("spBv1.0/barn/DDATA/gate/inv-1").expect("data");
        assert_eq!((topic.node, topic.device), ("gate", Some("inv-1")));
        assert_eq!(topic.verb, Verb::Data);
        for other in [
            "spBv1.0/barn/DCMD/gate/inv-1",
            "spBv1.0/STATE/host",
            "barn/DDATA/gate/x",
        ] {
            assert_eq!(Topic::read(other), None, "{other}");
        }
    }

    proptest::proptest! {
        #[test]
        fn no_bytes_make_it_panic(bytes: Vec<u8>, device: bool) {
            let mut node = EdgeNode::default();
            let device = device.then_some("inv");
            for verb in [Verb::Birth, Verb::Data, Verb::Death] {
                let _garbage_or_not = node.take(verb, device, &bytes);
            }
        }
    }
}
