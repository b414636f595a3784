//! `noonmark check SITE --live`: whether everything that the site file names answers, and whether devices
//! offer what the plant has a place for. Devices are read once, brokers and mail servers are greeted;
//! nothing is written, published or sent.
//! Never in here: how any of them is asked.

use super::exit;
use crate::alert::greet as greet_server;
use crate::clock::Clock;
use crate::source::modbus::Poller;
use crate::source::mqtt::greet as greet_broker;
use crate::source::pollers;
use crate::text::count;
use analysis::plant::Inverter;
use analysis::reading::{Channel, Place, Quantity, Reading};
use config::checked::SiteFile;
use std::collections::BTreeSet;
use std::fmt::Display;
use std::io::{self, Write};
use std::sync::Arc;
use std::time::Duration;

/// For a server to greet; of a mail it may take longer.
const GREETED_WITHIN: Duration = Duration::from_secs(30);

/// What became of one connection.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Outcome {
    /// As wanted.
    Ok,
    /// It answers, and not with what the site file describes.
    Differs,
    /// It does not answer, or lets nobody in.
    Failed,
}

/// Tries every connection and tells of each in one line; gives the exit code.
///
/// # Errors
/// If `out` does not take a line.
pub async fn live(site: &SiteFile, clock: Clock, out: &mut dyn Write) -> io::Result<u8> {
    let mut worst = Outcome::Ok;
    let mut tell = |outcome: Outcome, who: &dyn Display, what: &str| {
        worst = worst.max(outcome);
        let word = match outcome {
            Outcome::Ok => "ok",
            Outcome::Differs => "differs",
            Outcome::Failed => "failed",
        };
        writeln!(out, "{word:<8} {who}: {what}")
    };
    for (mut poller, _) in pollers(site, Arc::new(site.plant.channels.clone())) {
        let (outcome, what) = device(site, &mut poller, clock).await;
        let settings = poller.settings();
        let who = format!(
            "{} at {}, unit {}",
            poller.name(),
            settings.endpoint,
            settings.unit
        );
        tell(outcome, &who, &what)?;
    }
    for broker in site.brokers() {
        let who = format!("broker {}", broker.address);
        match greet_broker(broker).await {
            Ok(()) => tell(Outcome::Ok, &who, "lets us in")?,
            Err(why) => tell(Outcome::Failed, &who, &why)?,
        }
    }
    if let Some(server) = &site.alerts.mail {
        let who = format!("mail server {}", server.address);
        match greet_server(server, GREETED_WITHIN).await {
            Ok(()) => tell(Outcome::Ok, &who, "takes mails from us")?,
            Err(why) => tell(Outcome::Failed, &who, &format!("failed to {why}"))?,
        }
    }
    Ok(match worst {
        Outcome::Ok => exit::DONE,
        Outcome::Differs => exit::BAD_SITE_FILE,
        Outcome::Failed => exit::UNREACHABLE,
    })
}

async fn device(site: &SiteFile, poller: &mut Poller, clock: Clock) -> (Outcome, String) {
    let readings = match poller.poll(clock.now()).await {
        Ok(readings) => readings,
        Err(failure) => return (Outcome::Failed, format!("failed to {}", failure.error)),
    };
    let good = readings
        .iter()
        .filter(|reading| reading.value.good().is_some());
    let mut found = format!(
        "{}, {} with a value now",
        count(readings.len(), "channel"),
        good.count()
    );
    if let Some(source) = poller.source() {
        let models = source
            .device()
            .models
            .iter()
            .map(|model| model.id.to_string());
        let models = models.collect::<Vec<_>>().join(", ");
        found = format!("SunSpec models {models}; {found}");
    }
    let missing = missing(site, poller, &readings);
    match missing.is_empty() {
        true => (Outcome::Ok, found),
        false => {
            let missing = missing.join(", ");
            let what = format!("found {found}; wanted also {missing}");
            (Outcome::Differs, what)
        }
    }
}

/// What an inverter must offer to be watched at all and does not, by night either: its power, voltage
/// and current of every input. A weather device must offer something.
fn missing(site: &SiteFile, poller: &Poller, readings: &[Reading]) -> Vec<String> {
    let inverters = &site.plant.inverters;
    let Some(inverter) = inverters
        .iter()
        .find(|inverter| &inverter.id == poller.name())
    else {
        let nothing = readings
            .is_empty()
            .then(|| "a channel of the weather".to_owned());
        return nothing.into_iter().collect();
    };
    let offered: BTreeSet<u16> = readings.iter().map(|reading| reading.channel.0).collect();
    let is_missing = |channel: &Channel| {
        let id = site.plant.channels.id(channel);
        id.is_none_or(|id| !offered.contains(&id.0))
    };
    let wanted = wanted(inverter).into_iter().filter(is_missing);
    wanted.map(|channel| channel.to_string()).collect()
}

fn wanted(inverter: &Inverter) -> Vec<Channel> {
    let channel = |place, quantity| Channel {
        device: inverter.id.clone(),
        place,
        quantity,
    };
    let of_input = |number: u8| {
        let place = Place::Input(number);
        [Quantity::DcVoltage, Quantity::DcCurrent].map(|quantity| channel(place, quantity))
    };
    let inputs = inverter
        .inputs
        .iter()
        .flat_map(|input| of_input(input.number));
    std::iter::once(channel(Place::Device, Quantity::AcPower))
        .chain(inputs)
        .collect()
}
