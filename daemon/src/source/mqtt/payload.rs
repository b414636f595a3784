//! From a message to the numbers in it: a plain number, or a JSON document and pointers into it.
//!
//! Model:   value = number * scale + offset
//! Range:   bytes of any content; what cannot be taken apart is [`Garbage`].
//! Source:  RFC 8259, RFC 6901, RFC 3339; `config::messages`.
//! Check:   unit tests below; `tests/src/fuzz.rs`.
//!
//! Never in here: which message it is, or a clock.

use crate::source::registers::{Given, Raw};
use analysis::reading::{Time, Value};
use chrono::DateTime;
use config::messages::{DocumentTime, MessageMap, MessageValue, Payload, TimeFormat};
use serde_json::Value as Json;
use thiserror::Error;

/// Most of a message that is quoted.
const QUOTED: usize = 60;

/// Why a message says nothing. Messages read after "found".
#[derive(Debug, Error, PartialEq, Eq)]
pub enum Garbage {
    /// No number as text.
    #[error("{found:?}, wanted one number as text")]
    Number {
        /// The beginning of what came.
        found: String,
    },
    /// No JSON document.
    #[error("{found:?}, wanted a JSON document ({why})")]
    Document {
        /// The beginning of what came.
        found: String,
        /// What the parser said.
        why: String,
    },
    /// The document does not say when it was made.
    #[error("{found} at {pointer}, wanted the time")]
    Time {
        /// What stands there.
        found: String,
        /// Where.
        pointer: String,
    },
    /// No payload of Sparkplug B.
    #[error("{found:?}, wanted a Sparkplug B payload ({why})")]
    Sparkplug {
        /// The beginning of what came.
        found: String,
        /// What the decoder said.
        why: String,
    },
}

/// One value of a message.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Its place in `MessageMap::values`.
    pub index: usize,
    /// What it is.
    pub value: Value,
}

/// The values of a message that came below `topic` of the source (empty: on it), and when the document
/// says that they were taken.
///
/// # Errors
/// If the message is not what the map says. A document without one of its values is none: a device that
/// leaves out what it does not know says nothing of it.
pub fn parts(
    map: &MessageMap,
    topic: &str,
    bytes: &[u8],
) -> Result<(Option<Time>, Vec<Part>), Garbage> {
    let here = |(_, value): &(usize, &MessageValue)| is_here(value, topic);
    let wanted: Vec<_> = map.values.iter().enumerate().filter(here).collect();
    if wanted.is_empty() {
        return Ok((None, Vec::new()));
    }
    let part = |(index, wanted): (usize, &MessageValue), json: &Json| Part {
        index,
        value: value(wanted, json),
    };
    match &map.payload {
        Payload::Sparkplug => Ok((None, Vec::new())),
        Payload::Number => {
            let number = number(bytes)?;
            let parts = wanted.into_iter().map(|wanted| part(wanted, &number));
            Ok((None, parts.collect()))
        }
        Payload::Json(time) => {
            let document: Json =
                serde_json::from_slice(bytes).map_err(|error| Garbage::Document {
                    found: quoted(bytes),
                    why: error.to_string(),
                })?;
            let at = time.as_ref().map(|time| taken_at(&document, time));
            let found = |(index, wanted): (usize, &MessageValue)| {
                let json = document.pointer(&wanted.part)?;
                Some(part((index, wanted), json))
            };
            Ok((
                at.transpose()?,
                wanted.into_iter().filter_map(found).collect(),
            ))
        }
    }
}

/// What a value of a map makes of a number.
pub(super) fn value_of(wanted: &MessageValue, raw: Raw) -> Value {
    let given = Given {
        meaning: &wanted.meaning,
        not_available: &wanted.not_available,
        faulty: &wanted.faulty,
        quantity: wanted.quantity,
    };
    given.value(raw)
}

/// The beginning of a message, for people.
pub(super) fn quoted(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(&bytes[..bytes.len().min(QUOTED)]);
    let more = if bytes.len() > QUOTED { "..." } else { "" };
    format!("{text}{more}")
}

fn is_here(value: &MessageValue, topic: &str) -> bool {
    match &value.topic {
        None => topic.is_empty(),
        Some(filter) => rumqttc::matches(topic, filter),
    }
}

fn number(bytes: &[u8]) -> Result<Json, Garbage> {
    let text = std::str::from_utf8(bytes)
        .map(str::trim)
        .unwrap_or_default();
    let words = matches!(text, "true" | "false" | "null");
    let json = match words {
        true => serde_json::from_str(text).ok(),
        // Also ".5" and "+3", which JSON does not know.
        false => text.parse::<f64>().ok().filter(|n| n.is_finite()).map(|n| {
            let whole = text.parse::<i64>().ok().map(Json::from);
            whole.unwrap_or_else(|| Json::from(n))
        }),
    };
    json.ok_or_else(|| Garbage::Number {
        found: quoted(bytes),
    })
}

/// Numbers, numbers as text and truth values; of anything else there is no value.
fn value(wanted: &MessageValue, json: &Json) -> Value {
    let raw = match json {
        Json::Number(number) => match number.as_i64() {
            Some(whole) => Some(Raw::whole(i128::from(whole))),
            None => number.as_f64().map(Raw::number),
        },
        Json::String(text) => match text.trim().parse::<i64>() {
            Ok(whole) => Some(Raw::whole(i128::from(whole))),
            Err(_) => text.trim().parse::<f64>().ok().map(Raw::number),
        },
        Json::Bool(truth) => Some(Raw::whole(i128::from(*truth))),
        _ => None,
    };
    raw.map_or(Value::Missing, |raw| value_of(wanted, raw))
}

fn taken_at(document: &Json, time: &DocumentTime) -> Result<Time, Garbage> {
    let found = document.pointer(&time.pointer);
    let ms = found.and_then(|found| match time.format {
        TimeFormat::Rfc3339 => {
            let time = DateTime::parse_from_rfc3339(found.as_str()?).ok()?;
            Some(time.timestamp_millis())
        }
        TimeFormat::UnixS => Some(in_range(found.as_f64()? * 1000.0)?),
        TimeFormat::UnixMs => in_range(found.as_f64()?),
    });
    ms.map(Time::from_unix_ms).ok_or_else(|| Garbage::Time {
        found: found.map_or("nothing".to_owned(), ToString::to_string),
        pointer: time.pointer.clone(),
    })
}

/// Between 1970 and 2200: whatever is not is no time [ms].
fn in_range(ms: f64) -> Option<i64> {
    (0.0..7.3e12).contains(&ms).then_some(ms.round() as i64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use config::messages::parse_message_map;

    fn map(text: &str) -> MessageMap {
        let text = format!("name = \"Test\"\n{text}");
        parse_message_map("test.toml", &text).unwrap_or_else(|e| panic!("{e}"))
    }

    const DOCUMENT: &str = r#"
payload = "json"
time = "rfc3339"
time_pointer = "/at"
[[value]]
channel = "ac_power_w"
pointer = "/ac/kw"
scale = 1000
[[value]]
channel = "input-1/dc_voltage_v"
pointer = "/inputs/0/v"
not_available = 6553.5
[[value]]
channel = "state"
pointer = "/mode"
[value.states]
"3" = "tracking"
"#;

    fn values(map: &MessageMap, topic: &str, text: &str) -> Vec<(String, Value)> {
        let (_, parts) = parts(map, topic, text.as_bytes()).expect("right");
        let channel = |part: &Part| (map.values[part.index].channel(), part.value);
        parts.iter().map(channel).collect()
    }

    #[test]
    fn a_document_gives_its_values_and_its_time() {
        let text = r#"{"at":"2026-06-21T12:00:00.250+09:30","ac":{"kw":3.25},"inputs":[{"v":"612.5"}],"mode":3}"#;
        let (at, _) = parts(&map(DOCUMENT), "", text.as_bytes()).expect("right");
        // 02:30:00.250 UTC.
        assert_eq!(at, Some(Time::from_unix_ms(1_782_009_000_250)));
        let good = |channel: &str, value| (channel.to_owned(), Value::Good(value));
        assert_eq!(
            values(&map(DOCUMENT), "", text),
            [
                good("ac_power_w", 3250.0),
                good("input-1/dc_voltage_v", 612.5),
                good("state", 4.0)
            ]
        );
    }

    #[test]
    fn what_is_not_there_or_no_number_is_told_apart() {
        let text =
            r#"{"at":"2026-06-21T12:00:00Z","ac":{"kw":null},"inputs":[{"v":6553.5}],"mode":9}"#;
        let values = values(&map(DOCUMENT), "", text);
        let values: Vec<Value> = values.into_iter().map(|(_, value)| value).collect();
        assert_eq!(
            values,
            [Value::Missing, Value::Missing, Value::OutOfRange(9.0)]
        );
        let without = r#"{"at":"2026-06-21T12:00:00Z"}"#;
        let (_, parts) = parts(&map(DOCUMENT), "", without.as_bytes()).expect("right");
        assert_eq!(parts, []);
    }

    #[test]
    fn a_document_without_its_time_or_that_is_none_is_garbage() {
        let error = parts(&map(DOCUMENT), "", br#"{"at":"noon"}"#).expect_err("no time");
        assert_eq!(error.to_string(), "\"noon\" at /at, wanted the time");
        let error = parts(&map(DOCUMENT), "", &[b'{'; 100]).expect_err("none");
        assert!(error.to_string().starts_with("\"{{{"), "{error}");
        assert!(
            error.to_string().contains("...\", wanted a JSON document"),
            "{error}"
        );
    }

    #[test]
    fn numbers_are_told_apart_by_their_topic() {
        let map = map(
            "payload = \"number\"\n[[value]]\nchannel = \"ac_power_w\"\ntopic = \"ac/power\"\n\
             [[value]]\nchannel = \"input-1/dc_current_a\"\ntopic = \"+/dc1\"\nscale = 0.1\n",
        );
        let good = |channel: &str, value| vec![(channel.to_owned(), Value::Good(value))];
        assert_eq!(
            values(&map, "ac/power", " 812 \n"),
            good("ac_power_w", 812.0)
        );
        assert_eq!(
            values(&map, "live/dc1", "83"),
            good("input-1/dc_current_a", 8.3)
        );
        assert_eq!(values(&map, "other", "nonsense"), []);
        let error = parts(&map, "ac/power", b"n/a").expect_err("no number");
        assert_eq!(error.to_string(), "\"n/a\", wanted one number as text");
    }
}
