//! What a message map must fulfil across its keys, and how it becomes a checked one.
//! Never in here: what one key allows by itself.

use super::raw::{self, Map};
use super::{DocumentTime, MessageMap, MessageValue, Payload, TimeFormat};
use crate::problem::{Fault, Problems};
use crate::registers::channel;
use crate::registers::meaning::{MeaningKeys, meaning};
use crate::registers::shapes::Sentinels;
use crate::table::{At, Found, Table};

/// Checks everything; complete unless something was reported.
pub(super) fn map(raw: &Map, problems: &mut Problems<'_>) -> Option<MessageMap> {
    let payload = payload(raw, problems);
    let word = raw.payload.as_ref().map(|found| found.value.as_str());
    let tables = raw.value.as_ref().map_or(&[][..], |found| &found.value);
    let values: Vec<_> = tables
        .iter()
        .map(|table| value(table, word, problems))
        .collect();
    let channels = tables.iter().zip(&values).filter_map(|(raw, value)| {
        let value = value.as_ref()?;
        let path = raw.at().key("channel");
        Some((path, raw.channel.as_ref()?, (value.place, value.quantity)))
    });
    channel::once_each(channels, problems);
    Some(MessageMap {
        name: raw.name.as_ref()?.value.clone(),
        payload: payload?,
        values: values.into_iter().collect::<Option<_>>()?,
    })
}

fn payload(raw: &Map, problems: &mut Problems<'_>) -> Option<Payload> {
    let word = raw.payload.as_ref()?.value.as_str();
    let time = raw.time.as_ref();
    let in_document = time.filter(|time| time.value != "arrival");
    let is_json = word == "json";
    if let Some(time) = in_document.filter(|_| !is_json) {
        let wanted = format!("no such key with payload = \"{word}\"");
        let text = format!("text {:?}", time.value);
        let path = raw.at().key("time");
        problems.add(Fault::Contradiction, &time.span, path, text, wanted);
        return None;
    }
    let given = raw.time_pointer.as_ref();
    let wanted_here = in_document.is_some();
    let why = match wanted_here {
        true => "a JSON pointer to the time, since the document says it",
        false => "no such key without a time in the document",
    };
    let pointer = part(
        raw.at(),
        ("time_pointer", given),
        (wanted_here, why),
        problems,
    )?;
    match word {
        "number" => Some(Payload::Number),
        "sparkplug" => Some(Payload::Sparkplug),
        _ if !wanted_here => Some(Payload::Json(None)),
        _ => {
            let found = given?;
            if !is_pointer(&pointer, raw.at().key("time_pointer"), found, problems) {
                return None;
            }
            let format = match in_document?.value.as_str() {
                "rfc3339" => TimeFormat::Rfc3339,
                "unix-s" => TimeFormat::UnixS,
                _ => TimeFormat::UnixMs,
            };
            Some(Payload::Json(Some(DocumentTime { pointer, format })))
        }
    }
}

fn value(
    raw: &raw::MessageValue,
    payload: Option<&str>,
    problems: &mut Problems<'_>,
) -> Option<MessageValue> {
    let at = raw.at();
    let channel = raw
        .channel
        .as_ref()
        .and_then(|found| channel::read(found, at.key("channel"), problems));
    let keys = MeaningKeys {
        at,
        table: "value",
        scale: &raw.scale,
        offset: &raw.offset,
        states: &raw.states,
        bits: &raw.bits,
    };
    let meaning = channel.and_then(|(_, quantity)| meaning(&keys, quantity, problems));
    let part = payload.and_then(|payload| parts(raw, payload, problems));
    let topic = topic(raw, payload, problems);
    let (place, quantity) = channel?;
    let given = |found: &Option<Found<Sentinels>>| {
        found
            .as_ref()
            .map_or_else(Vec::new, |found| found.value.0.clone())
    };
    Some(MessageValue {
        topic: topic?,
        part: part?,
        meaning: meaning?,
        not_available: given(&raw.not_available),
        faulty: given(&raw.faulty),
        place,
        quantity,
    })
}

/// The pointer or the metric; the other one does not belong.
fn parts(raw: &raw::MessageValue, payload: &str, problems: &mut Problems<'_>) -> Option<String> {
    let at = raw.at();
    let why = format!("with payload = \"{payload}\"");
    let of = |key: &str, is_wanted| match is_wanted {
        true => format!("{key}, {why}"),
        false => format!("no such key {why}"),
    };
    let (json, sparkplug) = (payload == "json", payload == "sparkplug");
    let why = of("a JSON pointer", json);
    let pointer = part(
        at,
        ("pointer", raw.pointer.as_ref()),
        (json, &why),
        problems,
    );
    let why = of("the name of a metric", sparkplug);
    let metric = part(
        at,
        ("metric", raw.metric.as_ref()),
        (sparkplug, &why),
        problems,
    );
    let (pointer, metric) = (pointer?, metric?);
    if let Some(found) = raw.pointer.as_ref().filter(|_| json)
        && !is_pointer(&pointer, at.key("pointer"), found, problems)
    {
        return None;
    }
    Some(if json { pointer } else { metric })
}

/// A key that is wanted or not; empty where it is not and is not there.
fn part(
    at: &At,
    (key, field): (&str, Option<&Found<String>>),
    (is_wanted, why): (bool, &str),
    problems: &mut Problems<'_>,
) -> Option<String> {
    match (field, is_wanted) {
        (Some(found), true) => Some(found.value.clone()),
        (None, false) => Some(String::new()),
        (None, true) => {
            let path = at.key(key);
            problems.add(Fault::MissingKey, &at.span, path, "no such key", why);
            None
        }
        (Some(found), false) => {
            let (path, text) = (at.key(key), format!("text {:?}", found.value));
            problems.add(Fault::Contradiction, &found.span, path, text, why);
            None
        }
    }
}

/// Source: RFC 6901, 3.
fn is_pointer(
    pointer: &str,
    path: String,
    found: &Found<String>,
    problems: &mut Problems<'_>,
) -> bool {
    let is_right = pointer.is_empty() || pointer.starts_with('/');
    if !is_right {
        let (text, wanted) = (
            format!("text {pointer:?}"),
            "a JSON pointer, as \"/ac/power\"",
        );
        problems.add(Fault::WrongType, &found.span, path, text, wanted);
    }
    is_right
}

/// A part of a topic that nobody can publish under is a slip.
fn topic(
    raw: &raw::MessageValue,
    payload: Option<&str>,
    problems: &mut Problems<'_>,
) -> Option<Option<String>> {
    let Some(found) = &raw.topic else {
        return Some(None);
    };
    let (path, text) = (raw.at().key("topic"), format!("text {:?}", found.value));
    if payload == Some("sparkplug") {
        let wanted =
            "no such key with payload = \"sparkplug\", whose topics the standard lays down";
        problems.add(Fault::Contradiction, &found.span, path, text, wanted);
        return None;
    }
    let is_part = |part: &str| !part.is_empty() && (part == "+" || !part.contains(['+', '#']));
    if found.value.split('/').all(is_part) {
        return Some(Some(found.value.clone()));
    }
    let wanted = "parts with / between them, + for any one part";
    problems.add(Fault::WrongType, &found.span, path, text, wanted);
    None
}
