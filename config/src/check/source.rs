//! `[inverter.source]` and `[weather.source]`.

use super::broker::Brokers;
use super::register_map::register_map;
use super::{list, value};
use crate::checked::{Address, Link, Parity, Source};
use crate::problem::{Fault, Problems};
use crate::raw;
use crate::shape::Name;
use crate::table::Table;
use crate::table::{At, Found};
use analysis::reading::{DeviceId, Span};
use std::path::Path;

/// The sources of all devices, inverters first; nothing where one was reported.
pub(super) fn sources(
    file: &raw::File,
    brokers: &Brokers,
    replayed: bool,
    beside: &Path,
    problems: &mut Problems<'_>,
) -> Option<Vec<Source>> {
    let inverters = list(&file.inverter).iter();
    let inverters = inverters.map(|raw| (raw.at(), &raw.id, &raw.source));
    let weather = list(&file.weather).iter();
    let weather = weather.map(|raw| (raw.at(), &raw.id, &raw.source));
    let mut sources = Some(Vec::new());
    for (at, id, source) in inverters.chain(weather) {
        match (
            read(at, id, source, brokers, replayed, beside, problems),
            &mut sources,
        ) {
            (Some(read), Some(sources)) => sources.extend(read),
            _ => sources = None,
        }
    }
    one_place_each(
        list(&file.inverter),
        sources.as_deref().unwrap_or_default(),
        problems,
    );
    one_setting_each(file, problems);
    sources
}

/// A serial line has one speed and one shape of character; whoever differs hears nobody.
fn one_setting_each(file: &raw::File, problems: &mut Problems<'_>) {
    let inverters = list(&file.inverter).iter().map(|raw| &raw.source);
    let weather = list(&file.weather).iter().map(|raw| &raw.source);
    let on_a_line = |raw: &&Found<raw::Source>| raw.value.serial.is_some();
    let sources = inverters.chain(weather).flatten().filter(on_a_line);
    let setting = |raw: &raw::Source| {
        let parity = value(&raw.parity).map_or("none", String::as_str);
        let (baud, stop_bits) = (value(&raw.baud)?, value(&raw.stop_bits)?);
        Some(format!(
            "{baud} baud, parity {parity}, {stop_bits} stop bit(s)"
        ))
    };
    let sources: Vec<_> = sources.collect();
    for (index, source) in sources.iter().enumerate() {
        let raw = &source.value;
        let same = |other: &&&Found<raw::Source>| value(&other.value.serial) == value(&raw.serial);
        let first = sources[..index].iter().find(same);
        let both = first.and_then(|first| Some((setting(raw)?, setting(&first.value)?)));
        if let Some((own, first)) = both.filter(|(own, first)| own != first) {
            let wanted = format!("{first}, as the device before on this line");
            let path = raw.at().key("serial");
            problems.add(Fault::Contradiction, &source.span, path, own, wanted);
        }
    }
}

/// Two inverters at one address and unit are one table copied and not changed. A weather device may
/// share an inverter's unit: sensors can be wired to it.
fn one_place_each(inverters: &[raw::Inverter], sources: &[Source], problems: &mut Problems<'_>) {
    let link_of = |raw: &raw::Inverter| {
        let id = value(&raw.id)?.0.as_str();
        let source = sources.iter().find(|source| source.device.as_str() == id)?;
        Some(&source.link)
    };
    for (index, raw) in inverters.iter().enumerate() {
        let Some(link) = link_of(raw) else { continue };
        let before = &inverters[..index];
        let other = before.iter().find(|other| link_of(other) == Some(link));
        if let (Some(source), Some(other)) = (&raw.source, other.and_then(|o| value(&o.id))) {
            let path = raw.at().key("source");
            let found = format!("the device of inverter {:?}", other.0);
            let wanted = "another address, serial port, topic or unit";
            problems.add(Fault::Duplicate, &source.span, path, found, wanted);
        }
    }
}

/// The outer `None` means that something was reported.
fn read(
    at: &At,
    id: &Option<Found<Name>>,
    source: &Option<Found<raw::Source>>,
    brokers: &Brokers,
    replayed: bool,
    beside: &Path,
    problems: &mut Problems<'_>,
) -> Option<Option<Source>> {
    let Some(raw) = value(source) else {
        if !replayed {
            let wanted = "a source table, or a [recording] for replay";
            let path = at.key("source");
            problems.add(Fault::MissingKey, &at.span, path, "no such key", wanted);
            return None;
        }
        return Some(None);
    };
    let link = link(raw, brokers, problems);
    let timeout_s = timeout_s(raw, problems);
    let every = value(&raw.every_s).map(|every_s| span(*every_s));
    let map = register_map(raw, every, beside, problems);
    let night_every = night_every(raw, problems);
    Some(Some(Source {
        device: DeviceId::new(id.as_ref()?.value.0.as_str()),
        link: link?,
        map: map?,
        every: every?,
        timeout: span(timeout_s?),
        night_every: night_every?,
    }))
}

/// Often enough to see the first light, seldom enough to leave a dark plant alone (common practice).
const DEFAULT_NIGHT_EVERY_S: f64 = 60.0;

fn night_every(raw: &raw::Source, problems: &mut Problems<'_>) -> Option<Span> {
    let every_s = *value(&raw.every_s)?;
    let Some(night) = &raw.night_every_s else {
        return Some(span(DEFAULT_NIGHT_EVERY_S.max(every_s)));
    };
    if night.value >= every_s {
        return Some(span(night.value));
    }
    let (path, found) = (raw.at().key("night_every_s"), format!("{} s", night.value));
    let wanted = format!("at least every_s = {every_s} s");
    problems.add(Fault::Contradiction, &night.span, path, found, wanted);
    None
}

/// To the millisecond.
pub(super) fn span(s: f64) -> Span {
    Span::from_ms((s * 1000.0).round() as i64)
}

/// A device on a healthy bus answers within a second; three leave room for a gateway's queue
/// (common practice).
const DEFAULT_TIMEOUT_S: f64 = 3.0;

fn timeout_s(raw: &raw::Source, problems: &mut Problems<'_>) -> Option<f64> {
    let every_s = raw.every_s.as_ref()?.value;
    let Some(timeout) = &raw.timeout_s else {
        return Some(DEFAULT_TIMEOUT_S.min(every_s));
    };
    if timeout.value <= every_s {
        return Some(timeout.value);
    }
    let (path, found) = (raw.at().key("timeout_s"), format!("{} s", timeout.value));
    let wanted = format!("at most every_s = {every_s} s");
    problems.add(Fault::Contradiction, &timeout.span, path, found, wanted);
    None
}

fn link(raw: &raw::Source, brokers: &Brokers, problems: &mut Problems<'_>) -> Option<Link> {
    let kind = value(&raw.kind)?.as_str();
    let (serial, mqtt) = (kind == "modbus-rtu", kind == "mqtt");
    belongs(raw, "address", &raw.address, !serial, problems);
    belongs(raw, "serial", &raw.serial, serial, problems);
    belongs(raw, "topic", &raw.topic, mqtt, problems);
    if !serial {
        belongs(raw, "parity", &raw.parity, false, problems);
    }
    let unit = unit(raw, kind, problems);
    let address = match serial {
        true => None,
        false => address(raw, problems),
    };
    match kind {
        "modbus-tcp" => Some(Link::ModbusTcp {
            address: address?,
            unit: unit?,
        }),
        "modbus-rtu-over-tcp" => Some(Link::ModbusRtuOverTcp {
            address: address?,
            unit: unit?,
        }),
        "modbus-rtu" => Some(Link::ModbusRtu {
            serial: value(&raw.serial)?.into(),
            baud: *value(&raw.baud)?,
            parity: match value(&raw.parity).map(String::as_str) {
                Some("even") => Parity::Even,
                Some("odd") => Parity::Odd,
                _ => Parity::None,
            },
            stop_bits: *value(&raw.stop_bits)? as u8,
            unit: unit?,
        }),
        _ => Some(Link::Mqtt {
            broker: brokers.of(&address?),
            topic: value(&raw.topic)?.clone(),
        }),
    }
}

/// Reports a key that this kind of source lacks, or has and does not know.
fn belongs(
    raw: &raw::Source,
    key: &str,
    field: &Option<Found<String>>,
    wanted_here: bool,
    problems: &mut Problems<'_>,
) {
    let kind = value(&raw.kind).map_or("", String::as_str);
    let path = raw.at().key(key);
    match (field, wanted_here) {
        (Some(_), true) | (None, false) => {}
        (None, true) => {
            let wanted = format!("{key}, since kind = \"{kind}\"");
            problems.add(
                Fault::MissingKey,
                &raw.at().span,
                path,
                "no such key",
                wanted,
            );
        }
        (Some(field), false) => {
            let found = format!("text {:?}", field.value);
            let wanted = format!("no such key with kind = \"{kind}\"");
            problems.add(Fault::Contradiction, &field.span, path, found, wanted);
        }
    }
}

/// A serial line keeps 0 for broadcasts and 248 to 255 for itself (Modbus over serial line 1.02,
/// from memory, verify).
fn unit(raw: &raw::Source, kind: &str, problems: &mut Problems<'_>) -> Option<u8> {
    let unit = raw.unit.as_ref()?;
    let on_a_line = matches!(kind, "modbus-rtu" | "modbus-rtu-over-tcp");
    if on_a_line && !(1..=247).contains(&unit.value) {
        let (path, found) = (raw.at().key("unit"), unit.value.to_string());
        problems.add(
            Fault::OutOfRange,
            &unit.span,
            path,
            found,
            "1 to 247 on a serial line",
        );
        return None;
    }
    Some(unit.value as u8)
}

/// The registered ports, as an example of what is wanted.
const MODBUS_PORT: u16 = 502;
pub(super) const MQTT_PORT: u16 = 1883;

fn address(raw: &raw::Source, problems: &mut Problems<'_>) -> Option<Address> {
    let kind = value(&raw.kind).map_or("", String::as_str);
    let port = if kind == "mqtt" {
        MQTT_PORT
    } else {
        MODBUS_PORT
    };
    address_at(
        raw.address.as_ref()?,
        raw.at().key("address"),
        port,
        problems,
    )
}

pub(super) fn address_at(
    found: &Found<String>,
    path: String,
    usual_port: u16,
    problems: &mut Problems<'_>,
) -> Option<Address> {
    let address = split(&found.value);
    if address.is_none() {
        let text = format!("text {:?}", found.value);
        let wanted =
            format!("host:port, as \"192.0.2.10:{usual_port}\" or \"[2001:db8::10]:{usual_port}\"");
        problems.add(Fault::WrongType, &found.span, path, text, wanted);
    }
    address
}

fn split(text: &str) -> Option<Address> {
    let (host, port) = text.rsplit_once(':')?;
    let port = port.parse().ok().filter(|port| *port != 0)?;
    let bracketed = host.strip_prefix('[').and_then(|h| h.strip_suffix(']'));
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_');
    let host = match bracketed {
        Some(v6) => v6.parse::<std::net::Ipv6Addr>().ok()?.to_string(),
        None if !host.is_empty() && host.chars().all(plain) => host.to_owned(),
        None => return None,
    };
    Some(Address { host, port })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_has_a_host_and_a_port() {
        for good in [
            "inverter.example:502",
            "192.0.2.10:1502",
            "[2001:db8::10]:502",
        ] {
            assert_eq!(split(good).expect("valid").to_string(), good);
        }
        for bad in [
            "",
            "host",
            "host:",
            ":502",
            "host:0",
            "host:99999",
            "2001:db8::10:502",
            "a b:1",
        ] {
            assert_eq!(split(bad), None, "{bad}");
        }
    }
}
