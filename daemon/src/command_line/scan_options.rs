//! Options of `noonmark scan`. Never in here: scanning.

use crate::commands::{Wanted, scan};
use crate::source::modbus::{Parity, RegisterKind, SerialLine};
use clap::Args;
use std::ops::RangeInclusive;
use std::path::PathBuf;

/// What is scanned, as the command line says it.
#[derive(Debug, Args)]
pub struct ScanOptions {
    /// Host and port, as in 192.0.2.7:502, or a serial port, as in /dev/ttyUSB0
    address: String,
    /// Unit id
    #[arg(long, default_value_t = 1)]
    unit: u8,
    /// Several unit ids, as in 1-10; a silent one takes five seconds
    #[arg(long, conflicts_with = "unit", value_parser = super::values::units)]
    units: Option<RangeInclusive<u8>>,
    /// Serial frames over TCP, as converters carry them
    #[arg(long)]
    rtu: bool,
    /// Speed of a serial port
    #[arg(long, default_value_t = 9600)]
    baud: u32,
    /// Check bit of a serial port
    #[arg(long, default_value = "none", value_parser = ["none", "even", "odd"])]
    parity: String,
    /// Stop bits of a serial port
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..=2))]
    stop_bits: u8,
    /// Show every point of the SunSpec models, in the units of the standard
    #[arg(long)]
    points: bool,
    /// First register to show, counted from 0
    #[arg(long)]
    from: Option<u16>,
    /// How many registers to show
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=2000))]
    count: Option<u16>,
    /// Only holding registers (3) or only input registers (4)
    #[arg(long, value_parser = clap::value_parser!(u8).range(3..=4))]
    function: Option<u8>,
    /// Write the beginning of a register map into this new file; of one unit only
    #[arg(long, value_name = "FILE", conflicts_with = "units")]
    write_map: Option<PathBuf>,
}

impl ScanOptions {
    /// The same for the command.
    pub fn scan(self) -> scan::Scan {
        let is_path = self.address.starts_with('/') || self.address.starts_with("COM");
        let at = match (is_path, self.rtu) {
            (true, _) => scan::Place::Serial(SerialLine {
                path: self.address.into(),
                baud: self.baud,
                parity: match self.parity.as_str() {
                    "even" => Parity::Even,
                    "odd" => Parity::Odd,
                    _ => Parity::None,
                },
                two_stop_bits: self.stop_bits == 2,
            }),
            (false, true) => scan::Place::RtuOverTcp(self.address),
            (false, false) => scan::Place::Tcp(self.address),
        };
        scan::Scan {
            at,
            units: self.units.unwrap_or(self.unit..=self.unit),
            wanted: Wanted {
                from: self.from,
                count: self.count,
                kind: self.function.map(|function| match function {
                    3 => RegisterKind::Holding,
                    _ => RegisterKind::Input,
                }),
            },
            points: self.points,
            map: self.write_map,
        }
    }
}
