//! The site of these tests and the day that its devices play. All of it is invented.
//!
//! It lies near the equator and plays the equinox, so that the sun is up from 6 to 18 h UTC as the
//! server's simple day wants it, and the modules are those of the server: 18 in a string, with
//! their peak at 31.3 V and 13.2 A, and warmer than the air by a thirtieth of the irradiance.

use analysis::reading::{Span, Time};
use chrono::{DateTime, SecondsFormat};
use config::checked::SiteFile;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;
use tests::{Program, SunspecServer};

/// The input that has two strings.
pub const TWIN_INPUT: u8 = 2;
/// One of its strings opens at this time, a minute into a slot. The program starts later than the
/// server is asked for the time, so its clock is behind: it sees the opening a little before.
pub const OPENS: &str = "2026-03-20T10:01:00Z";
/// Site seconds per second. Readings may be 120 s late, two polls of 60 s: 0.4 s here.
pub const RATE: &str = "300";
pub const EVERY_S: u32 = 60;
/// The slot of the engine.
pub const SLOT: Span = Span::from_min(5);

/// A device of the site: its name and where it is served.
pub type Device = (&'static str, u16);

/// A day that begins half an hour before one of the strings opens.
pub fn day() -> SunspecServer {
    SunspecServer::start(0, &[HEALTHY_DAY.as_slice(), &["--open-at", OPENS]].concat())
}

/// The same day with every string closed, until the server is told `open`.
pub const HEALTHY_DAY: [&str; 8] = [
    "--clock-from",
    "2026-03-20T09:31:00Z",
    "--clock-rate",
    RATE,
    "--strings",
    "1,2,1",
    "--open-input",
    "2",
];

/// A folder with a site file and room for the output.
pub struct Site {
    folder: TempDir,
}

impl Site {
    pub fn new(inverters: &[Device], station: Option<Device>, every_s: u32) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let site = Self { folder };
        site.write(&text(inverters, station, every_s));
        site
    }

    /// Puts another text in the place of the site file.
    pub fn write(&self, text: &str) {
        fs::write(self.file(), text).expect("room for it");
    }

    pub fn file(&self) -> PathBuf {
        self.folder.path().join("site.toml")
    }

    pub fn out(&self) -> PathBuf {
        self.folder.path().join("out")
    }

    pub fn store(&self) -> PathBuf {
        self.out().join("noonmark.sqlite")
    }

    pub fn checked(&self) -> SiteFile {
        config::load(&self.file()).unwrap_or_else(|errors| panic!("{}", errors.render(false)))
    }

    /// The arguments of a rehearsal that begins now for the server.
    pub fn rehearsal(&self, server: &mut SunspecServer, rate: &str) -> Vec<String> {
        let text = |path: &Path| path.to_str().expect("a plain path").to_owned();
        let (file, out) = (text(&self.file()), text(&self.out()));
        let from = rfc3339(server.now());
        let options = [
            "--out",
            &out,
            "--rehearse-from",
            &from,
            "--rehearse-rate",
            rate,
        ];
        let mut arguments = vec!["run".to_owned(), file];
        arguments.extend(options.map(str::to_owned));
        arguments
    }

    pub fn start(&self, server: &mut SunspecServer, rate: &str) -> Program {
        Program::start(self.rehearsal(server, rate))
    }
}

pub fn instant(text: &str) -> Time {
    let date = DateTime::parse_from_rfc3339(text);
    Time::from_unix_ms(date.expect("RFC 3339").timestamp_millis())
}

pub fn rfc3339(at: Time) -> String {
    let date = DateTime::from_timestamp_millis(at.unix_ms()).expect("a date");
    date.to_rfc3339_opts(SecondsFormat::Millis, true)
}

/// The text of a site file.
pub fn text(inverters: &[Device], station: Option<Device>, every_s: u32) -> String {
    let mut text = HEAD.to_owned();
    for (name, port) in inverters {
        text += &INVERTER
            .replace("NAME", name)
            .replace("SOURCE", &source(*port, SunspecServer::INVERTER, every_s));
    }
    if let Some((name, port)) = station {
        text += &STATION
            .replace("NAME", name)
            .replace("SOURCE", &source(port, SunspecServer::STATION, every_s));
    }
    text
}

fn source(port: u16, unit: u8, every_s: u32) -> String {
    format!(
        "{{ kind = \"modbus-tcp\", address = \"127.0.0.1:{port}\", unit = {unit}, \
         map = \"sunspec\", every_s = {every_s}, timeout_s = 10 }}"
    )
}

const HEAD: &str = r#"
[site]
name = "Lagoon cold store"
latitude_deg = 0.4
longitude_deg = 1.9
altitude_m = 20
timezone = "Africa/Accra"
grid_rules = "en50549-1"
commissioned = 2026-01-12

[[module]]
id = "mono-413"
voc_v = 37.6
isc_a = 13.95
vmp_v = 31.3
imp_a = 13.2
cells_in_series = 54
isc_temp_ratio_per_k = 0.00045
voc_temp_ratio_per_k = -0.0026
pmax_temp_ratio_per_k = -0.0031

[[plane]]
id = "roof"
tilt_deg = 3
azimuth_deg = 180
mounting = { u0 = 30, u1 = 0 }
"#;

const INVERTER: &str = r#"
[[inverter]]
id = "NAME"
rated_ac_w = 33000
max_dc_voltage_v = 1000
start_voltage_v = 200
tracking_min_v = 180
tracking_max_v = 850
phases = 3
efficiency = 0.97
source = SOURCE

[[inverter.input]]
number = 1
max_operating_current_a = 16
max_short_circuit_current_a = 20
string = [{ label = "1", module = "mono-413", count = 18, plane = "roof" }]

[[inverter.input]]
number = 2
max_operating_current_a = 32
max_short_circuit_current_a = 40
string = [
    { label = "2a", module = "mono-413", count = 18, plane = "roof" },
    { label = "2b", module = "mono-413", count = 18, plane = "roof" },
]

[[inverter.input]]
number = 3
max_operating_current_a = 16
max_short_circuit_current_a = 20
string = [{ label = "3", module = "mono-413", count = 18, plane = "roof" }]
"#;

const STATION: &str = r#"
[[weather]]
id = "NAME"
plane = "roof"
source = SOURCE
"#;
