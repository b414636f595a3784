//! The map of a source: the file that `map` names, and how it goes with the source.
//! Never in here: what stands in a map (`crate::registers`, `crate::messages`).

use super::value;
use crate::checked::RegisterMap;
use crate::messages::{MessageMap, Payload, parse_message_map};
use crate::problem::{ConfigErrors, Fault, Problems};
use crate::raw;
use crate::registers::{DeviceMap, parse_map};
use crate::table::{Found, Table};
use analysis::reading::Span;
use std::path::Path;
use std::sync::Arc;

/// Reads the map; whatever is wrong with it is reported, there and at the key that names it.
pub(super) fn register_map(
    raw: &raw::Source,
    every: Option<Span>,
    beside: &Path,
    problems: &mut Problems<'_>,
) -> Option<RegisterMap> {
    let name = raw.map.as_ref()?;
    let is_mqtt = value(&raw.kind)? == "mqtt";
    if name.value == "sunspec" && !is_mqtt {
        return Some(RegisterMap::SunSpec);
    }
    let path = beside.join(&name.value);
    if is_mqtt {
        let wanted = "a message-map file, its path from the site file";
        let map = parsed(raw, (name, &path, wanted), parse_message_map, problems)?;
        let map = Arc::new(map);
        return topic_fits(raw, &map, problems).then_some(RegisterMap::Messages { path, map });
    }
    let wanted = "sunspec, or a register-map file, its path from the site file";
    let map = parsed(raw, (name, &path, wanted), parse_map, problems)?;
    let map = Arc::new(map);
    let rates_fit = rates_fit(raw, &map, every?, problems);
    rates_fit.then_some(RegisterMap::File { path, map })
}

/// What a file says; whatever is wrong with it is reported.
fn parsed<M>(
    raw: &raw::Source,
    (name, file, wanted): (&Found<String>, &Path, &str),
    parse: impl Fn(&str, &str) -> Result<M, ConfigErrors>,
    problems: &mut Problems<'_>,
) -> Option<M> {
    let path = raw.at().key("map");
    let text = match crate::text_of(file) {
        Ok(text) => text,
        Err(error) => {
            let found = format!("text {:?}, which cannot be read: {error}", name.value);
            problems.add(Fault::UnknownName, &name.span, path, found, wanted);
            return None;
        }
    };
    match parse(&file.display().to_string(), &text) {
        Ok(map) => Some(map),
        Err(errors) => {
            let count = errors.problems().len();
            let found = format!("text {:?}, a file with {count} problem(s)", name.value);
            let wanted = "a file without problems";
            problems.add(Fault::Contradiction, &name.span, path, found, wanted);
            problems.add_map(errors);
            None
        }
    }
}

/// Below which a device publishes: Sparkplug has its own order, others have no patterns there.
fn topic_fits(raw: &raw::Source, map: &MessageMap, problems: &mut Problems<'_>) -> bool {
    let Some(found) = &raw.topic else { return true };
    let parts: Vec<&str> = found.value.split('/').collect();
    let is_plain = |part: &&str| !part.is_empty() && !part.contains(['+', '#']);
    let is_sparkplug = map.payload == Payload::Sparkplug;
    let fits = parts.iter().all(is_plain) && (!is_sparkplug || matches!(parts.len(), 2 | 3));
    if !fits {
        let wanted = match is_sparkplug {
            true => "group/node or group/node/device, without spBv1.0",
            false => "parts with / between them and without + and #",
        };
        let (path, text) = (raw.at().key("topic"), format!("text {:?}", found.value));
        problems.add(Fault::WrongType, &found.span, path, text, wanted);
    }
    fits
}

/// A register is read at every so-many-th poll.
fn rates_fit(raw: &raw::Source, map: &DeviceMap, every: Span, problems: &mut Problems<'_>) -> bool {
    let is_between = |own: Span| own.ms() % every.ms().max(1) != 0;
    let rates = map
        .registers
        .iter()
        .map(|register| (register, register.every));
    let odd = rates.filter(|(_, own)| own.is_some_and(is_between));
    let odd: Vec<String> = odd
        .map(|(register, own)| {
            let own_s = own.unwrap_or(every).seconds();
            format!("{} every {own_s} s", register.channel())
        })
        .collect();
    let Some(found) = raw.every_s.as_ref().filter(|_| !odd.is_empty()) else {
        return true;
    };
    let wanted = format!(
        "a divisor of what the register map says: {}",
        odd.join(", ")
    );
    let (path, text) = (raw.at().key("every_s"), format!("{} s", found.value));
    problems.add(Fault::Contradiction, &found.span, path, text, wanted);
    false
}
