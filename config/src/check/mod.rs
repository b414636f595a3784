//! What a site file must fulfil across its keys, and how it becomes a checked one.
//! Each room checks one table and returns nothing after it has reported why.

mod alerts;
mod broker;
mod devices;
mod inverter;
mod machines;
mod order;
mod parts;
mod recording;
mod register_map;
mod secret;
mod site;
mod source;
mod store;
pub(crate) mod timing;
mod web;

use crate::checked::{SiteFile, Source};
use crate::problem::{Fault, Problems};
use crate::raw;
use crate::table::Table;
use crate::table::{At, Found};
use analysis::plant::{Plant, WeatherDevice};
use analysis::reading::{Channel, ChannelTable, DeviceId, Span};
use devices::Device;
use parts::Ids;
use std::path::Path;

/// Checks everything; the result is complete unless something was reported.
pub(crate) fn file(
    file: &raw::File,
    beside: &Path,
    problems: &mut Problems<'_>,
) -> Option<SiteFile> {
    let site = value(&file.site).map(|site| site::site(site, problems));
    let site_zone = site.as_ref().and_then(|site| site.timezone);
    let modules = parts::modules(list(&file.module), problems);
    let planes = parts::planes(list(&file.plane), problems);
    let devices = devices::devices(file, problems);
    let recording = value(&file.recording)
        .map(|raw| recording::recording(raw, &devices, site_zone, beside, problems));
    let replayed = recording.is_some();
    let brokers = broker::Brokers::read(file, beside, problems);
    let sources = source::sources(file, &brokers, replayed, beside, problems);
    let inverters: Vec<_> = list(&file.inverter)
        .iter()
        .map(|raw| inverter::inverter(raw, &modules.ids, &planes.ids, problems))
        .collect();
    let weather_planes = weather_planes(list(&file.weather), &planes.ids, problems);
    let keep = store::keep(&file.store, problems);
    let machines = machines::machines(file, &brokers, sources.as_deref(), beside, problems);
    let alerts = alerts::alerts(&file.alerts, machines, beside, problems);
    web::is_led_to(&file.alerts, &file.web, problems);
    let web = web::web(&file.web, beside, problems);
    let channels = channel_table(file, &devices, recording.as_ref(), problems)?;

    let recording = match recording {
        Some(read) => Some(read.checked(&channels)?),
        None => None,
    };
    let sources = sources?;
    let every = |id: &DeviceId| every(id, &sources);
    let mut inverters: Vec<_> = inverters.into_iter().collect::<Option<_>>()?;
    for inverter in &mut inverters {
        inverter.every = every(&inverter.id);
    }
    let mut weather = Vec::new();
    for (id, plane) in weather_planes? {
        let every = every(&id);
        weather.push(WeatherDevice { id, plane, every });
    }
    let devices = inverters.len() + weather.len();
    let site = site?;
    let plant = Plant {
        site: site.site?,
        modules: modules.checked?,
        planes: planes.checked?,
        inverters,
        weather,
        channels,
        timing: timing::timing(&sources, devices),
        false_alarms_per_inverter_year: false_alarms(&file.alerts)?,
    };
    Some(SiteFile {
        plant,
        timezone: site.timezone?,
        commissioned: site.commissioned?,
        grid_rules: site.grid_rules?,
        sources,
        recording,
        keep: keep?,
        alerts: alerts?,
        web: web?,
    })
}

/// `[alerts]`: the default where there is no such table.
fn false_alarms(alerts: &Option<Found<raw::Alerts>>) -> Option<f64> {
    let Some(alerts) = value(alerts) else {
        return Some(raw::FALSE_ALARMS_PER_INVERTER_YEAR);
    };
    value(&alerts.false_alarms_per_inverter_year).copied()
}

/// What a field holds, if it could be read.
fn value<T>(field: &Option<Found<T>>) -> Option<&T> {
    field.as_ref().map(|found| &found.value)
}

/// Reports a text that is not the one that belongs to a key.
fn report(
    at: &At,
    (key, found): (&str, &Found<String>),
    fault: Fault,
    wanted: &str,
    problems: &mut Problems<'_>,
) {
    let (path, text) = (at.key(key), format!("text {:?}", found.value));
    problems.add(fault, &found.span, path, text, wanted);
}

/// The tables of an array, none where it is absent.
fn list<T>(field: &Option<Found<Vec<T>>>) -> &[T] {
    value(field).map_or(&[], Vec::as_slice)
}

/// The index that a name refers to.
fn refer(
    field: &Option<Found<crate::shape::Name>>,
    (at, key, table): (&At, &str, &str),
    ids: &Ids,
    problems: &mut Problems<'_>,
) -> Option<usize> {
    let found = field.as_ref()?;
    let index = ids.index(&found.value.0);
    if index.is_none() {
        let wanted = format!("the id of a [[{table}]]: {}", ids.near(&found.value.0));
        let text = format!("text {:?}", found.value.0);
        problems.add(Fault::UnknownName, &found.span, at.key(key), text, wanted);
    }
    index
}

type WeatherPlanes = Vec<(DeviceId, Option<usize>)>;

fn weather_planes(
    tables: &[raw::Weather],
    planes: &Ids,
    problems: &mut Problems<'_>,
) -> Option<WeatherPlanes> {
    let mut all = Some(Vec::new());
    for raw in tables {
        let plane = refer(&raw.plane, (raw.at(), "plane", "plane"), planes, problems);
        match (&raw.id, &mut all) {
            (Some(id), Some(list)) => list.push((DeviceId::new(id.value.0.as_str()), plane)),
            _ => all = None,
        }
    }
    all
}

/// Channels are numbered in 16 bits.
const MAX_CHANNELS: usize = 65_535;

fn channel_table(
    file: &raw::File,
    devices: &[Device],
    recording: Option<&recording::Read>,
    problems: &mut Problems<'_>,
) -> Option<ChannelTable> {
    let mut channels: Vec<Channel> = devices.iter().flat_map(Device::channels).collect();
    channels.extend(recording.iter().flat_map(|read| read.channels()));
    if channels.len() <= MAX_CHANNELS {
        return Some(ChannelTable::new(channels));
    }
    let span = file.inverter.as_ref().map_or(0..0, |i| i.span.clone());
    let found = format!("{} channels on all devices", channels.len());
    let wanted = format!("up to {MAX_CHANNELS}; split the site into several files");
    problems.add(Fault::OutOfRange, &span, "inverter", found, wanted);
    None
}

/// How often a device is read; one without a source takes the pace of the recording in a replay.
fn every(id: &DeviceId, sources: &[Source]) -> Span {
    let source = sources.iter().find(|source| &source.device == id);
    source.map_or(timing::SLOT, |source| source.every)
}
