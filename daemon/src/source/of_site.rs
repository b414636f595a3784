//! The sources that a site file describes: what is polled, and what is listened to.
//! Never in here: polling.

use super::Night;
use super::modbus::{Endpoint, Lines, Parity, Poller, SerialLine, Settings};
use super::mqtt::{MessageDevice, Subscriber};
use analysis::reading::{ChannelTable, DeviceId, Span};
use config::checked::{Broker, Link, RegisterMap, SiteFile, Source};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

/// One poller for each device; those with the same address or serial port share a line.
pub fn pollers(site: &SiteFile, table: Arc<ChannelTable>) -> Vec<(Poller, Option<Night>)> {
    let known = |source| Some((settings(source)?, source.device.clone()));
    let known: Vec<_> = site.sources.iter().filter_map(known).collect();
    let mut on_line: BTreeMap<&Endpoint, Vec<Duration>> = BTreeMap::new();
    for (settings, _) in &known {
        let periods = on_line.entry(&settings.endpoint).or_default();
        periods.push(settings.every);
    }
    let mut lines = Lines::default();
    let poller = |(settings, device): &(Settings, DeviceId)| {
        let periods = &on_line[&settings.endpoint];
        // One answer that is waited for must not cost a neighbour more than one of its polls.
        let quickest = periods.iter().min().copied().unwrap_or(settings.every);
        let settings = Settings {
            timeout: settings.timeout.min(quickest),
            ..settings.clone()
        };
        let line = lines.line(&settings.endpoint);
        let every = Span::from_ms(settings.night_every.as_millis() as i64);
        let night = Night::of(&site.plant, device, every);
        let (is_neighbour, table) = (periods.len() > 1, table.clone());
        let poller = Poller::on(&line, is_neighbour, settings, device.clone(), table);
        (poller, night)
    };
    known.iter().map(poller).collect()
}

/// One subscriber for each broker, with all devices behind it.
pub fn subscribers(site: &SiteFile, table: &ChannelTable) -> Vec<Subscriber> {
    let mut behind: BTreeMap<&Broker, Vec<MessageDevice>> = BTreeMap::new();
    for source in &site.sources {
        let (Link::Mqtt { broker, topic }, RegisterMap::Messages { map, .. }) =
            (&source.link, &source.map)
        else {
            continue;
        };
        let (name, map) = (&source.device, map.clone());
        let device = MessageDevice::new(name, topic, map, table, source.every);
        behind.entry(broker).or_default().push(device);
    }
    let subscriber = |(broker, devices): (&Broker, _)| Subscriber::new(broker.clone(), devices);
    behind.into_iter().map(subscriber).collect()
}

/// How a device is polled; `None` for one that is not.
pub fn settings(source: &Source) -> Option<Settings> {
    let duration = |span: Span| Duration::from_millis(span.ms().unsigned_abs());
    let (endpoint, unit) = endpoint(&source.link)?;
    Some(Settings {
        endpoint,
        unit,
        timeout: duration(source.timeout),
        every: duration(source.every),
        night_every: duration(source.night_every),
        map: match &source.map {
            RegisterMap::File { map, .. } => Some(map.clone()),
            RegisterMap::SunSpec | RegisterMap::Messages { .. } => None,
        },
    })
}

fn endpoint(link: &Link) -> Option<(Endpoint, u8)> {
    match link {
        Link::ModbusTcp { address, unit } => {
            let address = address.to_string();
            Some((Endpoint::Tcp { address }, *unit))
        }
        Link::ModbusRtuOverTcp { address, unit } => {
            let address = address.to_string();
            Some((Endpoint::RtuOverTcp { address }, *unit))
        }
        Link::ModbusRtu {
            serial,
            baud,
            parity,
            stop_bits,
            unit,
        } => {
            let line = SerialLine {
                path: serial.clone(),
                baud: *baud,
                parity: match parity {
                    config::checked::Parity::None => Parity::None,
                    config::checked::Parity::Even => Parity::Even,
                    config::checked::Parity::Odd => Parity::Odd,
                },
                two_stop_bits: *stop_bits == 2,
            };
            Some((Endpoint::Serial(line), *unit))
        }
        Link::Mqtt { .. } => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    /// Barn and mast stand behind one converter; the mast is told to be waited for longer than the
    /// barn has from one poll to the next.
    #[test]
    fn an_answer_is_not_waited_for_longer_than_a_neighbour_has_time() {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/sites/hillside-barn.toml");
        let text = std::fs::read_to_string(path).expect("an example");
        let text = text.replace("every_s = 30", "every_s = 30\ntimeout_s = 25");
        let site = config::parse("barn", &text, Path::new("")).expect("a right file");
        let table = Arc::new(site.plant.channels.clone());
        let pollers = pollers(&site, table);
        let limits = pollers.iter().map(|(poller, night)| {
            let settings = poller.settings();
            (
                poller.name().as_str().to_owned(),
                settings.timeout.as_secs(),
                night.is_some(),
            )
        });
        let wanted = [("barn".to_owned(), 3, true), ("mast".to_owned(), 10, false)];
        assert_eq!(limits.collect::<Vec<_>>(), wanted);
    }
}
