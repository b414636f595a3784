//! A site file that has passed every check: the plant, and what the daemon needs beside it.
//! Values in here are never bad; only the checks build them.

mod alerts;

pub use alerts::{
    Alerts, Announcer, HttpUrl, MailSecurity, MailServer, QuietHours, Reader, Role, Webhook,
};

use crate::check::timing;
use crate::messages::MessageMap;
use crate::registers::DeviceMap;
use analysis::plant::Plant;
use analysis::reading::{ChannelId, DeviceId, Span};
use chrono::NaiveDate;
use chrono_tz::Tz;
use std::collections::BTreeSet;
use std::fmt;
use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;
use std::sync::Arc;

/// A checked site file.
#[derive(Debug, Clone, PartialEq)]
pub struct SiteFile {
    /// The fixed facts. Timing is that of the live sources, or of the recording where an inverter
    /// has no source; see [`SiteFile::replay_plant`].
    pub plant: Plant,
    /// Time zone of reports.
    pub timezone: Tz,
    /// Handed over on this day.
    pub commissioned: NaiveDate,
    /// Name of the grid rules in the site file.
    pub grid_rules: &'static str,
    /// Where readings come from: inverters first, then weather devices, each in file order.
    pub sources: Vec<Source>,
    /// Recorded data for replay.
    pub recording: Option<Recording>,
    /// How long what is kept.
    pub keep: Keep,
    /// Who is told, and when.
    pub alerts: Alerts,
    /// The page; `None` where it is switched off.
    pub web: Option<Web>,
}

/// The page, and who may see it. Where others than this machine reach it, there is a password, and
/// it is encrypted here or by a proxy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Web {
    /// Where it listens.
    pub listen: SocketAddr,
    /// Whether the site file says so.
    pub is_stated: bool,
    /// Name under which it is reached; others are refused.
    pub host: Option<String>,
    /// Where the hash of the technicians' password is; without one everybody is a technician.
    pub technician: Option<Secret>,
    /// Where the hash of the readers' password is.
    pub reader: Option<Secret>,
    /// PEM files of the certificate and its key, where it is encrypted here.
    pub identity: Option<(PathBuf, PathBuf)>,
    /// The only one that is listened to, where it is encrypted there.
    pub trusted_proxy: Option<IpAddr>,
}

/// How long the store keeps what.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Keep {
    /// Single readings.
    pub readings: Span,
    /// One-minute aggregates, never shorter than the readings; hourly ones stay for ever.
    pub minutes: Span,
}

/// A device and how it is read.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// The inverter or weather device.
    pub device: DeviceId,
    /// How it is reached.
    pub link: Link,
    /// Which register or message field means what.
    pub map: RegisterMap,
    /// Time between two reads.
    pub every: Span,
    /// How long to wait for an answer.
    pub timeout: Span,
    /// Time between two reads of an inverter in the night, never shorter than `every`.
    pub night_every: Span,
}

/// How a device is reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Link {
    /// Modbus over TCP.
    ModbusTcp {
        /// Where it listens.
        address: Address,
        /// Unit.
        unit: u8,
    },
    /// Modbus on a serial line.
    ModbusRtu {
        /// Serial port.
        serial: PathBuf,
        /// Speed.
        baud: u32,
        /// Check bit of each character.
        parity: Parity,
        /// 1 or 2.
        stop_bits: u8,
        /// Unit.
        unit: u8,
    },
    /// Serial frames carried over TCP by a converter.
    ModbusRtuOverTcp {
        /// Where the converter listens.
        address: Address,
        /// Unit.
        unit: u8,
    },
    /// Messages through a broker.
    Mqtt {
        /// The broker.
        broker: Broker,
        /// Topic under which the device publishes.
        topic: String,
    },
}

/// An MQTT broker and how it lets somebody in. Sources with the same one share a connection.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Broker {
    /// Where it listens.
    pub address: Address,
    /// Whether MQTT 5 is spoken, not 3.1.1.
    pub is_version_5: bool,
    /// User name.
    pub user: Option<String>,
    /// Where the password is.
    pub password: Option<Secret>,
    /// `None` where the connection is not encrypted.
    pub tls: Option<Tls>,
}

/// What a file begins with that stands in the folder of credentials, which the supervisor makes for one
/// run of the daemon and names in the variable `CREDENTIALS_DIRECTORY`.
pub const CREDENTIALS: &str = "${CREDENTIALS_DIRECTORY}/";

/// Where a secret is; never the secret.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Secret {
    /// In a file, alone; relative paths resolved against the site file, those that begin with
    /// [`CREDENTIALS`] not yet.
    File(PathBuf),
    /// In an environment variable.
    Variable(String),
}

/// An encrypted connection. Relative paths are resolved against the site file, those that begin with
/// [`CREDENTIALS`] not yet.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Tls {
    /// PEM file of the authority that is believed; the system's authorities where absent.
    pub ca_file: Option<PathBuf>,
    /// PEM files of an own certificate and its key.
    pub identity: Option<(PathBuf, PathBuf)>,
}

/// Check bit of a character on a serial line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Parity {
    /// There is none.
    None,
    /// Makes the number of ones even.
    Even,
    /// Makes it odd.
    Odd,
}

/// Host name or address, and port.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Address {
    /// Name or number; an IPv6 number without its brackets.
    pub host: String,
    /// Never 0.
    pub port: u16,
}

impl fmt::Display for Address {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.host.contains(':') {
            write!(f, "[{}]:{}", self.host, self.port)
        } else {
            write!(f, "{}:{}", self.host, self.port)
        }
    }
}

/// Which register, or which part of a message, means what.
#[derive(Debug, Clone, PartialEq)]
pub enum RegisterMap {
    /// The device describes itself by the open SunSpec models.
    SunSpec,
    /// A file says so.
    File {
        /// The file, relative paths resolved against the site file.
        path: PathBuf,
        /// What it says.
        map: Arc<DeviceMap>,
    },
    /// The device publishes messages, and a file says what stands in them.
    Messages {
        /// The file, relative paths resolved against the site file.
        path: PathBuf,
        /// What it says.
        map: Arc<MessageMap>,
    },
}

/// Recorded data.
#[derive(Debug, Clone, PartialEq)]
pub struct Recording {
    /// CSV with a header line, relative paths resolved against the site file.
    pub file: PathBuf,
    /// Header of the time stamps.
    pub time_column: String,
    /// strftime; RFC 3339 where absent.
    pub time_format: Option<String>,
    /// Zone of stamps that carry none.
    pub timezone: Tz,
    /// What a stamp marks.
    pub stamp: Stamp,
    /// Time from one row to the next, where the site file says it.
    pub interval: Option<Span>,
    /// The columns that are read.
    pub columns: Vec<Column>,
}

/// What the stamp of a row marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stamp {
    /// The instant of the values.
    Instant,
    /// The start of the interval whose means the row holds.
    Start,
    /// Its end.
    End,
}

/// One column of a recording; the reading is value * scale + offset.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Header.
    pub header: String,
    /// What it holds, in `plant.channels`.
    pub channel: ChannelId,
    /// Times this.
    pub scale: f64,
    /// Plus this.
    pub offset: f64,
}

impl SiteFile {
    /// The plant with the time keeping of a recording whose rows are `interval` apart.
    pub fn replay_plant(&self, interval: Span) -> Plant {
        let mut plant = self.plant.clone();
        plant.timing = timing::replay(interval);
        for inverter in &mut plant.inverters {
            inverter.every = interval;
        }
        for weather in &mut plant.weather {
            weather.every = interval;
        }
        plant
    }

    /// The source of a device.
    pub fn source(&self, device: &DeviceId) -> Option<&Source> {
        self.sources.iter().find(|source| &source.device == device)
    }

    /// All brokers: of the devices that publish, and the one that is told of findings.
    pub fn brokers(&self) -> BTreeSet<&Broker> {
        let of_sources = self.sources.iter().filter_map(|source| match &source.link {
            Link::Mqtt { broker, .. } => Some(broker),
            Link::ModbusTcp { .. } | Link::ModbusRtuOverTcp { .. } | Link::ModbusRtu { .. } => None,
        });
        let told = self.alerts.mqtt.iter().map(|told| &told.broker);
        of_sources.chain(told).collect()
    }

    /// Devices that cannot be read live, because only a recording has their readings.
    pub fn without_source(&self) -> Vec<DeviceId> {
        let inverters = self.plant.inverters.iter().map(|inverter| &inverter.id);
        let weather = self.plant.weather.iter().map(|device| &device.id);
        let devices = inverters.chain(weather);
        let without = devices.filter(|device| self.source(device).is_none());
        without.cloned().collect()
    }
}
