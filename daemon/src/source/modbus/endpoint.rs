//! Where devices are reached, and how a connection to there is opened.
//! Never in here: what is asked.

use super::client::Connection;
use super::error::ModbusError;
use std::fmt;
use std::io;
use std::path::PathBuf;
use std::time::Duration;
use tokio::net::TcpStream;
use tokio::time::timeout;
use tokio_serial::SerialPortBuilderExt;

/// Bits of one character on a serial line, with start, parity and stop bits. Source: MODBUS over
/// Serial Line V1.02, 2.5.1 (from memory, verify).
const BITS_PER_CHARACTER: f64 = 11.0;
/// Characters of silence that separate two frames. Source: as above, 2.5.1.1 (from memory, verify).
const SILENT_CHARACTERS: f64 = 3.5;
/// The silence does not get shorter above 19200 baud. Source: as above (from memory, verify).
const SHORTEST_SILENCE: Duration = Duration::from_micros(1750);
/// Bytes of one frame come through a serial driver and a network in pieces: so long without any is
/// the end of whatever was said (common practice).
const QUIET_ON_A_LINE: Duration = Duration::from_millis(50);
const QUIET_OVER_TCP: Duration = Duration::from_millis(250);

/// One connection; devices with the same one share it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Endpoint {
    /// Modbus TCP, to a device or a gateway.
    Tcp {
        /// Host and port.
        address: String,
    },
    /// Serial frames over TCP, to a converter.
    RtuOverTcp {
        /// Host and port.
        address: String,
    },
    /// A serial line.
    Serial(SerialLine),
}

/// A serial port and how characters are sent on it; 8 data bits always.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SerialLine {
    /// The port.
    pub path: PathBuf,
    /// Speed.
    pub baud: u32,
    /// Check bit.
    pub parity: Parity,
    /// Whether there are two stop bits.
    pub two_stop_bits: bool,
}

/// Check bit of a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Parity {
    /// There is none.
    None,
    /// Makes the number of ones even.
    Even,
    /// Makes it odd.
    Odd,
}

/// How frames are told apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Framing {
    /// A header with transaction id.
    Tcp,
    /// Unit and checksum, silence between frames.
    Rtu {
        /// Before each request.
        gap: Duration,
        /// After which nothing belongs to what was said before.
        quiet: Duration,
    },
}

impl Endpoint {
    pub(super) fn framing(&self) -> Framing {
        match self {
            Self::Tcp { .. } => Framing::Tcp,
            // The converter keeps the gap on its line.
            Self::RtuOverTcp { .. } => Framing::Rtu {
                gap: Duration::ZERO,
                quiet: QUIET_OVER_TCP,
            },
            Self::Serial(line) => {
                let gap_s = SILENT_CHARACTERS * BITS_PER_CHARACTER / f64::from(line.baud.max(1));
                Framing::Rtu {
                    gap: Duration::from_secs_f64(gap_s).max(SHORTEST_SILENCE),
                    quiet: QUIET_ON_A_LINE,
                }
            }
        }
    }

    pub(super) async fn open(&self, within: Duration) -> Result<Connection, ModbusError> {
        match self {
            Self::Tcp { address } => tcp(address, within).await.map(Connection::over_tcp),
            Self::RtuOverTcp { address } => tcp(address, within).await.map(Connection::over_rtu),
            Self::Serial(line) => line.open().map(Connection::over_rtu),
        }
    }
}

async fn tcp(address: &str, within: Duration) -> Result<TcpStream, ModbusError> {
    let refused = |source| ModbusError::Connect {
        address: address.to_owned(),
        source,
    };
    let connecting = timeout(within, TcpStream::connect(address)).await;
    let connected = connecting.map_err(|_| ModbusError::ConnectTimeout {
        address: address.to_owned(),
        within,
    })?;
    let stream = connected.map_err(refused)?;
    // Requests are small and answered one by one: do not wait for more to send.
    stream.set_nodelay(true).map_err(refused)?;
    Ok(stream)
}

impl SerialLine {
    fn open(&self) -> Result<tokio_serial::SerialStream, ModbusError> {
        let path = self.path.display().to_string();
        let parity = match self.parity {
            Parity::None => tokio_serial::Parity::None,
            Parity::Even => tokio_serial::Parity::Even,
            Parity::Odd => tokio_serial::Parity::Odd,
        };
        let stop_bits = match self.two_stop_bits {
            false => tokio_serial::StopBits::One,
            true => tokio_serial::StopBits::Two,
        };
        let port = tokio_serial::new(path.as_str(), self.baud)
            .data_bits(tokio_serial::DataBits::Eight)
            .flow_control(tokio_serial::FlowControl::None)
            .parity(parity)
            .stop_bits(stop_bits);
        port.open_native_async()
            .map_err(|error| ModbusError::Connect {
                address: path,
                source: io::Error::from(error),
            })
    }
}

impl fmt::Display for Endpoint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Tcp { address } => f.write_str(address),
            Self::RtuOverTcp { address } => write!(f, "{address} (serial frames)"),
            Self::Serial(line) => {
                let SerialLine { path, baud, .. } = line;
                let parity = match line.parity {
                    Parity::None => 'N',
                    Parity::Even => 'E',
                    Parity::Odd => 'O',
                };
                let stop_bits = 1 + u8::from(line.two_stop_bits);
                write!(f, "{} ({baud} 8{parity}{stop_bits})", path.display())
            }
        }
    }
}
