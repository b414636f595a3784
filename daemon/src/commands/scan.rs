//! `noonmark scan`: what a Modbus device offers, open-standard models or raw registers.
//! Never in here: anything but reading and printing.

use super::exit;
use super::scan_settings::print_settings;
use crate::source::modbus::{ModbusError, ReadOnlyClient, RegisterKind, Trouble};
use crate::source::sunspec::{
    Decoded, Device, DiscoverError, Identity, Model, Spot, WalkEnd, best, decode, discover, knows,
    name, read, read_settings,
};
use analysis::reading::Value;
use std::io::{self, Write};
use std::time::Duration;
use thiserror::Error;

/// Port of Modbus TCP. Source: MODBUS Messaging on TCP/IP Implementation Guide V1.0b, 4.2.
const PORT: u16 = 502;
/// Some devices take seconds to answer after a connection (common practice).
const WITHIN: Duration = Duration::from_secs(5);
/// Raw registers are shown up to this address; a register map decides which matter.
const RAW_END: u16 = 60;
/// Devices refuse a whole block for one missing register, so blocks are small.
const RAW_BLOCK: u16 = 10;

/// Why there is nothing to show. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum ScanError {
    /// Nobody answers.
    #[error("scan {address}, unit {unit}: {error}")]
    Unreachable {
        /// Host and port.
        address: String,
        /// Unit id.
        unit: u8,
        /// What went wrong.
        error: DiscoverError,
    },
    /// The text cannot be printed.
    #[error("write to the terminal: {0}")]
    Print(#[from] io::Error),
}

impl ScanError {
    /// The exit code of the program.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Unreachable { .. } => exit::UNREACHABLE,
            Self::Print(_) => exit::CANNOT_WRITE,
        }
    }
}

/// Asks the device at `address` (port 502 if it names none) and prints what it offers.
pub async fn scan(address: &str, unit: u8, out: &mut (dyn Write + Send)) -> Result<(), ScanError> {
    let address = with_port(address);
    let unreachable = |error: DiscoverError| ScanError::Unreachable {
        address: address.clone(),
        unit,
        error,
    };
    let connecting = ReadOnlyClient::connect_tcp(&address, unit, WITHIN).await;
    let mut client = connecting.map_err(|error| unreachable(error.into()))?;
    let device = match discover(&mut client).await {
        Ok(device) => device,
        Err(DiscoverError::NoMarker) => {
            writeln!(out, "{address}, unit {unit}: no SunSpec models")?;
            let blocks = raw_blocks(&mut client).await;
            let blocks = blocks.map_err(|error| unreachable(error.into()))?;
            return Ok(print_raw(&blocks, out)?);
        }
        Err(error) => return Err(unreachable(error)),
    };
    writeln!(
        out,
        "{address}, unit {unit}: SunSpec models from {} register {}",
        kind_name(device.kind),
        device.base
    )?;
    print_identity(&device.identity, out)?;
    print_models(&device, out)?;
    let values = current_values(&mut client, &device).await;
    print_values(&values.map_err(&unreachable)?, out)?;
    let settings = read_settings(&mut client, &device).await;
    print_settings(&settings.map_err(unreachable)?, out)?;
    Ok(())
}

/// `host`, `host:port`, `[v6]:port` or a bare v6 address.
fn with_port(address: &str) -> String {
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

fn kind_name(kind: RegisterKind) -> &'static str {
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

fn print_models(device: &Device, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "models")?;
    let skipped = device.skipped();
    for model in &device.models {
        let Model {
            id,
            address,
            length,
        } = model;
        let note = match (skipped.contains(model), knows(*id)) {
            (true, true) => " (not read: a repetition)",
            (true, false) => " (not read)",
            (false, _) => "",
        };
        let name = name(*id);
        writeln!(
            out,
            "  {id:>5}  at {address:>5}  length {length:>4}  {name}{note}"
        )?;
    }
    match device.end {
        WalkEnd::Marker => Ok(()),
        other => writeln!(
            out,
            "  the list ends without its end marker: {}",
            ending(other)
        ),
    }
}

fn ending(end: WalkEnd) -> String {
    match end {
        WalkEnd::Marker => "end marker".to_owned(),
        WalkEnd::Refused { address } => format!("the device refuses to read at {address}"),
        WalkEnd::NoHeader { address } => format!("what stands at {address} is no model"),
        WalkEnd::PastTheEnd { address } => format!("the model at {address} has no end"),
        WalkEnd::TooMany => "there are more models than a device can have".to_owned(),
    }
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

fn print_values(values: &[Decoded], out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "values")?;
    for ((spot, quantity), value) in best(values) {
        let quantity = quantity.name();
        let place = match spot {
            Spot::Device => quantity.to_owned(),
            Spot::AllInputs => format!("all inputs/{quantity}"),
            Spot::Input(n) => format!("input-{n}/{quantity}"),
        };
        match value {
            Value::Good(number) => writeln!(out, "  {place:<34} {number}")?,
            Value::Missing => writeln!(out, "  {place:<34} -")?,
            Value::OutOfRange(number) => {
                writeln!(out, "  {place:<34} {number} (impossible)")?;
            }
        }
    }
    Ok(())
}

struct RawBlock {
    kind: RegisterKind,
    first: u16,
    values: Vec<u16>,
}

async fn raw_blocks(client: &mut ReadOnlyClient) -> Result<Vec<RawBlock>, ModbusError> {
    let mut blocks = Vec::new();
    for kind in [RegisterKind::Holding, RegisterKind::Input] {
        for first in (0..RAW_END).step_by(usize::from(RAW_BLOCK)) {
            match client.registers(kind, first, RAW_BLOCK).await {
                Ok(values) => blocks.push(RawBlock {
                    kind,
                    first,
                    values,
                }),
                Err(error) if error.trouble() == Trouble::Refused => {}
                Err(error) => return Err(error),
            }
        }
    }
    Ok(blocks)
}

fn print_raw(blocks: &[RawBlock], out: &mut dyn Write) -> io::Result<()> {
    let last = RAW_END - 1;
    if blocks.is_empty() {
        return writeln!(
            out,
            "  the device refuses registers 0 to {last} with functions 3 and 4"
        );
    }
    writeln!(
        out,
        "  registers that answer among 0 to {last}, not interpreted"
    )?;
    writeln!(
        out,
        "  {:<16}{:>8}{:>8}{:>8}",
        "register", "hex", "u16", "i16"
    )?;
    for block in blocks {
        let kind = kind_name(block.kind);
        for (address, value) in (block.first..).zip(&block.values) {
            let signed = *value as i16;
            writeln!(
                out,
                "  {kind:<8}{address:>8}    {value:04x}{value:>8}{signed:>8}"
            )?;
        }
    }
    Ok(())
}

#[cfg(test)]
#[path = "scan_tests.rs"]
mod tests;
