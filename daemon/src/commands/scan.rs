//! `noonmark scan`: what the devices on a Modbus connection offer, open-standard models or raw
//! registers. Never in here: anything but reading and printing.

use super::exit;
use super::scan_map::{MapError, write_map};
use super::scan_models::print_models;
use super::scan_points::{all_points, print_points};
use super::scan_raw::{Wanted, print_raw, raw_blocks};
use super::scan_settings::print_settings;
use crate::source::modbus::{
    Endpoint, Line, ModbusError, ReadOnlyClient, RegisterKind, SerialLine,
};
use crate::source::sunspec::{
    Decoded, Device, DiscoverError, Identity, Spot, best, decode, discover, read, read_settings,
};
use analysis::reading::Value;
use std::io::{self, Write};
use std::ops::RangeInclusive;
use std::path::PathBuf;
use std::time::Duration;
use thiserror::Error;

/// Port of Modbus TCP. Source: MODBUS Messaging on TCP/IP Implementation Guide V1.0b, 4.2.
const PORT: u16 = 502;
/// Some devices take seconds to answer after a connection (common practice).
pub(super) const WITHIN: Duration = Duration::from_secs(5);
/// What is scanned.
#[derive(Debug, Clone)]
pub struct Scan {
    /// Where the devices are.
    pub at: Place,
    /// Which units are asked.
    pub units: RangeInclusive<u8>,
    /// Which registers are shown of a device without open models, or of any where that is asked for.
    pub wanted: Wanted,
    /// Whether every point of the models is shown, and not only what there is a channel for.
    pub points: bool,
    /// Where the beginning of a register map goes.
    pub map: Option<PathBuf>,
}

/// Where devices are.
#[derive(Debug, Clone)]
pub enum Place {
    /// Host, with or without a port, over Modbus TCP.
    Tcp(String),
    /// The same with serial frames.
    RtuOverTcp(String),
    /// A serial line.
    Serial(SerialLine),
}

/// Why there is nothing to show. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum ScanError {
    /// Nobody answers.
    #[error("scan {address}, {}: {error}", in_words(.units))]
    Unreachable {
        /// Where.
        address: String,
        /// Unit ids.
        units: RangeInclusive<u8>,
        /// What went wrong with the last one.
        error: DiscoverError,
    },
    /// The text cannot be printed.
    #[error("write to the terminal: {0}")]
    Print(#[from] io::Error),
    /// The map cannot be written.
    #[error(transparent)]
    Map(#[from] MapError),
}

impl ScanError {
    /// The exit code of the program.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Unreachable { .. } => exit::UNREACHABLE,
            Self::Print(_) => exit::CANNOT_WRITE,
            Self::Map(MapError::NoRegisters) => exit::UNREACHABLE,
            Self::Map(MapError::Write { .. }) => exit::CANNOT_CREATE,
        }
    }
}

fn in_words(units: &RangeInclusive<u8>) -> String {
    let (first, last) = (units.start(), units.end());
    match first == last {
        true => format!("unit {first}"),
        false => format!("units {first} to {last}"),
    }
}

/// Asks every unit and prints what it offers. Units that do not answer are told in one line each; it
/// is an error if none does.
pub async fn scan(scan: &Scan, out: &mut (dyn Write + Send)) -> Result<(), ScanError> {
    let endpoint = endpoint(&scan.at);
    let line = Line::to(endpoint.clone());
    let mut silent = None;
    let mut answered = false;
    for unit in scan.units.clone() {
        let mut client = ReadOnlyClient::on(line.clone(), unit, WITHIN);
        match scan_unit(&mut client, (&endpoint, unit), scan, out).await {
            Ok(()) => answered = true,
            Err(ScanError::Unreachable { error, .. }) => {
                if scan.units.start() != scan.units.end() {
                    writeln!(out, "{endpoint}, unit {unit}: {error}")?;
                }
                let is_nobody_there = client.open().await.is_err();
                silent = Some(error);
                if is_nobody_there && !line.is_serial() {
                    break;
                }
            }
            Err(error) => return Err(error),
        }
    }
    match silent {
        Some(error) if !answered => Err(ScanError::Unreachable {
            address: endpoint.to_string(),
            units: scan.units.clone(),
            error,
        }),
        _ => Ok(()),
    }
}

async fn scan_unit(
    client: &mut ReadOnlyClient,
    (address, unit): (&Endpoint, u8),
    scan: &Scan,
    out: &mut (dyn Write + Send),
) -> Result<(), ScanError> {
    let unreachable = |error: DiscoverError| ScanError::Unreachable {
        address: address.to_string(),
        units: unit..=unit,
        error,
    };
    let device = match discover(client).await {
        Ok(device) => Some(device),
        Err(DiscoverError::NoMarker) => None,
        // Some devices say nothing where they have no registers.
        Err(_) if scan.wanted.is_chosen() => None,
        Err(error) => return Err(unreachable(error)),
    };
    match &device {
        None => writeln!(out, "{address}, unit {unit}: no SunSpec models")?,
        Some(device) => {
            writeln!(
                out,
                "{address}, unit {unit}: SunSpec models from {} register {}",
                kind_name(device.kind),
                device.base
            )?;
            print_identity(&device.identity, out)?;
            print_models(device, out)?;
            let values = current_values(client, device).await;
            print_values(values.map_err(&unreachable)?, out)?;
            let settings = read_settings(client, device).await;
            print_settings(&settings.map_err(&unreachable)?, out)?;
            if scan.points {
                let points = all_points(client, device).await;
                print_points(&points.map_err(&unreachable)?, out)?;
            }
        }
    }
    if device.is_some() && !scan.wanted.is_chosen() && scan.map.is_none() {
        return Ok(());
    }
    let blocks = raw_blocks(client, &scan.wanted).await;
    let blocks = blocks.map_err(|error| unreachable(error.into()))?;
    print_raw(&blocks, &scan.wanted, out)?;
    if let Some(path) = &scan.map {
        write_map(path, &blocks)?;
        writeln!(
            out,
            "  the beginning of a register map is in {}",
            path.display()
        )?;
    }
    Ok(())
}

fn endpoint(place: &Place) -> Endpoint {
    match place {
        Place::Tcp(address) => Endpoint::Tcp {
            address: with_port(address),
        },
        Place::RtuOverTcp(address) => Endpoint::RtuOverTcp {
            address: with_port(address),
        },
        Place::Serial(line) => Endpoint::Serial(line.clone()),
    }
}

/// `host`, `host:port`, `[v6]:port` or a bare v6 address.
pub(super) fn with_port(address: &str) -> String {
    let bare_v6 = address.parse::<std::net::Ipv6Addr>().is_ok();
    let port = address.rsplit_once(':').map(|(_, port)| port);
    if bare_v6 {
        format!("[{address}]:{PORT}")
    } else if port.is_some_and(|port| port.parse::<u16>().is_ok()) {
        address.to_owned()
    } else {
        format!("{address}:{PORT}")
    }
}

pub(super) fn kind_name(kind: RegisterKind) -> &'static str {
    match kind {
        RegisterKind::Holding => "holding",
        RegisterKind::Input => "input",
    }
}

fn print_identity(identity: &Identity, out: &mut dyn Write) -> io::Result<()> {
    for (label, text) in [
        ("manufacturer", &identity.manufacturer),
        ("model", &identity.model),
        ("options", &identity.options),
        ("version", &identity.version),
        ("serial number", &identity.serial),
    ] {
        if let Some(text) = text {
            writeln!(out, "  {label:<14} {text}")?;
        }
    }
    Ok(())
}

/// The values of every model that answers; a refused one is left out, as in daily polling.
async fn current_values(
    client: &mut ReadOnlyClient,
    device: &Device,
) -> Result<Vec<Decoded>, DiscoverError> {
    let mut values = Vec::new();
    for model in device.used() {
        match read(client, device.kind, &model).await {
            Ok(image) => values.extend(decode(model.id, &image.unwrap_or_default())),
            Err(DiscoverError::Modbus(ModbusError::Refused { .. })) => {}
            Err(error) => return Err(error),
        }
    }
    Ok(values)
}

fn print_values(values: Vec<Decoded>, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "values")?;
    for decoded in best(values) {
        let quantity = decoded.quantity.name();
        let place = match decoded.spot {
            Spot::Device => quantity.to_owned(),
            Spot::AllInputs => format!("all inputs/{quantity}"),
            Spot::Input(n) => format!("input-{n}/{quantity}"),
        };
        match decoded.value {
            Value::Good(number) => writeln!(out, "  {place:<34} {number}")?,
            Value::Missing | Value::Faulty(None) => writeln!(out, "  {place:<34} -")?,
            Value::Faulty(Some(number)) => writeln!(out, "  {place:<34} {number} (faulty)")?,
            Value::OutOfRange(number) => {
                writeln!(out, "  {place:<34} {number} (impossible)")?;
            }
        }
    }
    Ok(())
}

#[cfg(test)]
#[path = "scan_tests.rs"]
mod tests;
