//! What a message of the standard is made of: its payload as protocol buffers, and the number in a value.
//! Never in here: what earlier messages have said.

use prost::Message;

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
    /// Whether its sender says of the value that it is not good: bad or stale. Source: the specification in `mod.rs`, 6.4.9.1,
    /// Quality Codes. A metric without the property says nothing of the kind.
    pub(super) fn is_faulty(&self) -> bool {
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

/// Whole numbers with a sign travel as the bits of their width. Source: the specification in `mod.rs`,
/// 6.4.16.
pub(super) fn number(value: &MetricValue, kind: Option<u32>) -> Option<Number> {
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
