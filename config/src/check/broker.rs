//! `[[broker]]`: how each broker lets somebody in.

use super::secret::{place, secret, without};
use super::source::{MQTT_PORT, address_at};
use super::{list, value};
use crate::checked::{Address, Broker, Tls};
use crate::problem::{Fault, Problems};
use crate::raw;
use crate::table::{Found, Table};
use std::path::Path;

/// The brokers that are described, those that were reported left out.
pub(super) struct Brokers(Vec<Broker>);

impl Brokers {
    /// Checks all of them.
    pub(super) fn read(file: &raw::File, beside: &Path, problems: &mut Problems<'_>) -> Self {
        let mut brokers: Vec<Broker> = Vec::new();
        for raw in list(&file.broker) {
            let broker = broker(raw, beside, problems);
            let (Some(broker), Some(found)) = (broker, &raw.address) else {
                continue;
            };
            let (path, text) = (raw.at().key("address"), format!("text {:?}", found.value));
            if brokers.iter().any(|other| other.address == broker.address) {
                let (text, wanted) = (format!("{text} again"), "each broker once");
                problems.add(Fault::Duplicate, &found.span, path, text, wanted);
            } else {
                if !is_used(file, &found.value) {
                    let wanted =
                        "the address of a source with kind = \"mqtt\", or of [alerts.mqtt]";
                    problems.add(Fault::UnknownName, &found.span, path, text, wanted);
                }
                brokers.push(broker);
            }
        }
        Self(brokers)
    }

    /// The broker at an address; one that is not described wants nothing more.
    pub(super) fn of(&self, address: &Address) -> Broker {
        let known = self.0.iter().find(|broker| &broker.address == address);
        known.cloned().unwrap_or_else(|| Broker {
            address: address.clone(),
            is_version_5: false,
            user: None,
            password: None,
            tls: None,
        })
    }
}

fn is_used(file: &raw::File, address: &str) -> bool {
    let inverters = list(&file.inverter).iter().map(|raw| &raw.source);
    let weather = list(&file.weather).iter().map(|raw| &raw.source);
    let mut sources = inverters.chain(weather).flatten().map(|found| &found.value);
    let mqtt = value(&file.alerts).and_then(|alerts| value(&alerts.mqtt));
    let told = mqtt.and_then(|mqtt| value(&mqtt.address));
    let is_told = told.is_some_and(|other| other == address);
    is_told
        || sources.any(|source| {
            value(&source.kind).is_some_and(|kind| kind == "mqtt")
                && value(&source.address).is_some_and(|other| other == address)
        })
}

fn broker(raw: &raw::Broker, beside: &Path, problems: &mut Problems<'_>) -> Option<Broker> {
    let at = raw.at();
    let has_tls = value(&raw.security).is_some_and(|word| word == "tls");
    let tls_keys = [
        ("ca_file", &raw.ca_file),
        ("certificate_file", &raw.certificate_file),
        ("key_file", &raw.key_file),
    ];
    let mut right = true;
    for (key, field) in tls_keys {
        right &= without(at, (key, field), has_tls, "security = \"tls\"", problems);
    }
    let (certificate, key) = (&raw.certificate_file, &raw.key_file);
    let (has_certificate, has_key) = (certificate.is_some(), key.is_some());
    right &= without(
        at,
        ("key_file", key),
        has_certificate,
        "certificate_file",
        problems,
    );
    right &= without(
        at,
        ("certificate_file", certificate),
        has_key,
        "key_file",
        problems,
    );
    let password = secret(
        at,
        &raw.user,
        (&raw.password_file, &raw.password_env),
        beside,
        problems,
    );
    let found = raw.address.as_ref()?;
    let address = address_at(found, at.key("address"), MQTT_PORT, problems)?;
    if !right {
        return None;
    }
    let path = |field: &Option<Found<String>>| value(field).map(|name| place(name, beside));
    let tls = has_tls.then(|| Tls {
        ca_file: path(&raw.ca_file),
        identity: path(certificate).zip(path(key)),
    });
    Some(Broker {
        address,
        is_version_5: value(&raw.version).is_some_and(|version| version == "5"),
        user: value(&raw.user).cloned(),
        password: password?,
        tls,
    })
}
