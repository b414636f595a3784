//! Devices: when each was heard last, what is wrong with it, and its last values.

use super::utc;
use crate::latest::Device as Heard;
use crate::source::Night;
use crate::source::modbus::Trouble;
use crate::web::Page;
use analysis::plant::Plant;
use analysis::reading::{Channel, DeviceId, Reading, Span, Time, Value};
use config::checked::Link;
use serde::Serialize;
use std::collections::BTreeMap;

/// Polls that may fail before a device counts as silent.
const MISSED_POLLS: i64 = 3;
/// What an answer may take beside them.
const SLACK: Span = Span::from_s(15);

/// How a device is heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Freshness {
    /// As often as it should.
    Fresh,
    /// An inverter that fell silent when the light went, as those do that take their power from the array.
    Asleep,
    /// Not for a while.
    Silent,
    /// Not since the program was started.
    NotYet,
}

impl Freshness {
    /// Whether nobody knows how it is, though it should be heard.
    pub fn is_missed(self) -> bool {
        matches!(self, Freshness::Silent | Freshness::NotYet)
    }
}

/// One device.
#[derive(Debug, Clone, Serialize)]
pub struct Device {
    pub id: String,
    /// `inverter` or `weather`.
    pub role: &'static str,
    pub freshness: Freshness,
    pub heard_utc: Option<String>,
    pub silent_s: Option<i64>,
    /// `link`, `refused` or `undecodable`.
    pub trouble: Option<&'static str>,
    pub trouble_since_utc: Option<String>,
    pub answers: u64,
    pub failures: u64,
    pub values: Vec<LastValue>,
    #[serde(skip)]
    pub heard: Option<Time>,
}

/// The last value of a channel.
#[derive(Debug, Clone, Serialize)]
pub struct LastValue {
    /// Channel address.
    pub channel: String,
    pub at_utc: Option<String>,
    pub value: Option<f64>,
    /// `good`, `missing`, `out_of_range`, `faulty`, or `not_yet`.
    pub quality: &'static str,
    #[serde(skip)]
    pub of: Channel,
    #[serde(skip)]
    pub at: Option<Time>,
}

/// After how long without a word a device counts as silent.
pub fn silent_after(page: &Page, device: &DeviceId) -> Span {
    let Some(source) = page.site.source(device) else {
        return Span::ZERO;
    };
    // In the night inverters are asked more seldom.
    let every = match source.link {
        Link::Mqtt { .. } => source.every,
        Link::ModbusTcp { .. } | Link::ModbusRtu { .. } | Link::ModbusRtuOverTcp { .. } => {
            Span::from_ms(source.every.ms().max(source.night_every.ms()))
        }
    };
    every * MISSED_POLLS + SLACK
}

/// All of them, inverters first.
pub fn devices(page: &Page) -> Vec<Device> {
    let heard = page.latest.devices();
    let latest = page.latest.values();
    let mut by_device: BTreeMap<&DeviceId, Vec<LastValue>> = BTreeMap::new();
    for ((_, channel), value) in page.site.plant.channels.iter().zip(&latest) {
        let place = by_device.entry(&channel.device).or_default();
        place.push(last_value(channel, *value));
    }
    let plant = &page.site.plant;
    let inverters = plant.inverters.iter().map(|inverter| (&inverter.id, true));
    let weather = plant.weather.iter().map(|device| (&device.id, false));
    let device = |(id, is_inverter): (&DeviceId, bool)| {
        let heard = heard.get(id).copied().unwrap_or_default();
        let mut device = device(page, &latest, id, is_inverter, heard);
        device.values = by_device.remove(id).unwrap_or_default();
        device
    };
    inverters.chain(weather).map(device).collect()
}

/// Values of all channels, as heard last.
type Latest<'a> = &'a [Option<(Time, Value)>];

fn device(
    page: &Page,
    latest: Latest<'_>,
    id: &DeviceId,
    is_inverter: bool,
    heard: Heard,
) -> Device {
    let now = page.clock.now();
    let silent = heard.heard.map(|at| now - at);
    let freshness = match silent {
        Some(silent) if silent <= silent_after(page, id) => Freshness::Fresh,
        _ if is_asleep(&page.site.plant, latest, id, heard, now) => Freshness::Asleep,
        Some(_) => Freshness::Silent,
        None => Freshness::NotYet,
    };
    Device {
        id: id.to_string(),
        role: if is_inverter { "inverter" } else { "weather" },
        freshness,
        heard_utc: heard.heard.map(utc),
        silent_s: silent.map(|silent| silent.ms() / 1000),
        trouble: heard.trouble.map(|(_, trouble)| word(trouble)),
        trouble_since_utc: heard.trouble.map(|(since, _)| utc(since)),
        answers: heard.answers,
        failures: heard.failures,
        values: Vec::new(),
        heard: heard.heard,
    }
}

/// One that answers, if only to refuse, is awake.
fn is_asleep(plant: &Plant, latest: Latest<'_>, id: &DeviceId, heard: Heard, now: Time) -> bool {
    if matches!(
        heard.trouble,
        Some((_, Trouble::Refused | Trouble::Undecodable))
    ) {
        return false;
    }
    let Some(mut night) = Night::of(plant, id, Span::ZERO) else {
        return false;
    };
    let values = plant.channels.iter().zip(latest);
    let own = values.filter_map(|((channel, _), value)| {
        let (at, value) = (*value)?;
        Some(Reading { channel, at, value })
    });
    night.saw(&own.collect::<Vec<_>>());
    night.is_asleep(heard.heard, now)
}

fn word(trouble: Trouble) -> &'static str {
    match trouble {
        Trouble::Link => "link",
        Trouble::Refused => "refused",
        Trouble::Undecodable => "undecodable",
    }
}

fn last_value(channel: &Channel, value: Option<(Time, Value)>) -> LastValue {
    let (number, quality) = match value {
        None => (None, "not_yet"),
        Some((_, Value::Good(number))) => (Some(number), "good"),
        Some((_, Value::OutOfRange(number))) => (Some(number), "out_of_range"),
        Some((_, Value::Missing)) => (None, "missing"),
        Some((_, Value::Faulty(number))) => (number, "faulty"),
    };
    let at = value.map(|(at, _)| at);
    LastValue {
        channel: channel.to_string(),
        at_utc: at.map(utc),
        value: number,
        quality,
        of: channel.clone(),
        at,
    }
}
