//! `noonmark run` behind a broker of somebody else's, with devices that another program publishes for.
//!
//! Kind of truth: reference for the protocol (mosquitto and its tools); property for the rest: a message is a
//! reading once, and what is said of a broker that does not let us in.

#[path = "mqtt/encrypted.rs"]
mod encrypted;
#[path = "mqtt/sparkplug.rs"]
mod sparkplug;

use analysis::reading::{Reading, Time, Value};
use config::checked::SiteFile;
use daemon::store::{Layout, Store};
use std::fs;
use std::path::PathBuf;
use tempfile::TempDir;
use tests::broker::{Access, Broker, LOGIN};
use tests::{Program, until};

const JSON: &str = r#"{"ac":{"kw":8.125},"dc":[{"v":611.5,"a":7.5}]}"#;

/// A site with an inverter and a mast behind a broker.
struct Site {
    folder: TempDir,
    broker: String,
}

impl Site {
    fn new(broker: &Broker, extra: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let example = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/../config/sites/wharf-loft.toml"
        );
        let text = fs::read_to_string(example).expect("an example");
        let (devices, _) = text
            .split_once("# Only topics are")
            .expect("the broker is last");
        let address = broker.address();
        let text = devices
            .replace("../messages/", "")
            .replace("broker.example:8883", &address);
        let text = match extra {
            "" => text,
            _ => format!("{text}\n[[broker]]\naddress = \"{address}\"\n{extra}"),
        };
        let site = Self {
            folder,
            broker: address,
        };
        site.write("site.toml", &text);
        site.write("password", &format!("{}\n", LOGIN.1));
        site.write("string-inverter.toml", INVERTER);
        site.write("sparkplug-mast.toml", MAST);
        site
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn write(&self, name: &str, text: &str) {
        fs::write(self.path(name), text).expect("room for it");
    }

    fn start(&self) -> Program {
        let (site, out) = (self.path("site.toml"), self.path("out"));
        Program::start([
            "run".as_ref(),
            site.as_os_str(),
            "--out".as_ref(),
            out.as_os_str(),
        ])
    }

    fn start_connected(&self) -> Program {
        let mut program = self.start();
        program.wait_for_line("connected");
        program
    }

    /// What has been stored of a channel.
    fn stored(&self, channel: &str) -> Vec<Value> {
        let site = self.checked();
        let layout = Layout::of(&site.plant);
        let Ok(store) = Store::open_to_read(&self.path("out/noonmark.sqlite"), &layout) else {
            return Vec::new();
        };
        let wanted = channel.parse().expect("an address");
        let id = site.plant.channels.id(&wanted).expect("of the plant");
        let all = (Time::from_unix_ms(0), Time::from_unix_ms(i64::MAX / 2));
        let readings = store.readings(id, all.0, all.1).expect("reads");
        readings
            .iter()
            .map(|reading: &Reading| reading.value)
            .collect()
    }

    fn wait_for(&self, channel: &str, value: Value) {
        until(&format!("{channel} = {value:?} at {}", self.broker), || {
            self.stored(channel).contains(&value).then_some(())
        });
    }

    fn checked(&self) -> SiteFile {
        let site = config::load(&self.path("site.toml"));
        site.unwrap_or_else(|errors| panic!("{errors}"))
    }
}

const INVERTER: &str = r#"
name = "Test inverter"
payload = "json"
[[value]]
channel = "ac_power_w"
pointer = "/ac/kw"
scale = 1000
[[value]]
channel = "input-1/dc_voltage_v"
pointer = "/dc/0/v"
[[value]]
channel = "input-1/dc_current_a"
pointer = "/dc/0/a"
"#;

const MAST: &str = r#"
name = "Test mast"
payload = "sparkplug"
[[value]]
channel = "poa_w_m2"
metric = "Light/Plane"
[[value]]
channel = "air_temperature_degc"
metric = "Air/Temperature"
scale = 0.1
"#;

#[test]
fn a_document_becomes_readings_in_both_versions_of_the_protocol() {
    let broker = Broker::start(Access::Everybody);
    for version in ["", "version = \"5\"\n"] {
        let site = Site::new(&broker, version);
        let program = site.start_connected();
        broker.publish("wharf/inv-1", JSON.as_bytes(), false);
        site.wait_for("inv-1/ac_power_w", Value::Good(8125.0));
        let ended = program.terminate();
        assert_eq!(ended.code, Some(0), "{}", ended.err);
        assert_eq!(
            site.stored("inv-1/input-1/dc_voltage_v"),
            [Value::Good(611.5)]
        );
        assert_eq!(
            site.stored("inv-1/input-1/dc_current_a"),
            [Value::Good(7.5)]
        );
    }
}

#[test]
fn what_the_broker_has_kept_and_what_is_garbage_is_no_reading() {
    let broker = Broker::start(Access::Everybody);
    broker.publish("wharf/inv-1", JSON.as_bytes(), true);
    let site = Site::new(&broker, "");
    let mut program = site.start_connected();
    program.wait_for_line("kept by the broker from earlier");
    broker.publish("wharf/inv-1", b"offline", false);
    let line = program.wait_for_line("message left out");
    assert!(line.contains("offline"), "{line}");
    let live = JSON.replace("8.125", "4.5");
    broker.publish("wharf/inv-1", live.as_bytes(), false);
    site.wait_for("inv-1/ac_power_w", Value::Good(4500.0));
    program.terminate();
    assert_eq!(site.stored("inv-1/ac_power_w"), [Value::Good(4500.0)]);
}

#[test]
fn a_broker_that_was_away_is_found_again() {
    let mut broker = Broker::start(Access::Everybody);
    let site = Site::new(&broker, "");
    let mut program = site.start_connected();
    broker.stop();
    program.wait_for_line("no connection; trying again");
    broker.start_again();
    program.wait_for_line("connected");
    broker.publish("wharf/inv-1", JSON.as_bytes(), false);
    site.wait_for("inv-1/ac_power_w", Value::Good(8125.0));
    let ended = program.terminate();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
}

#[test]
fn a_password_opens_and_a_wrong_one_is_said_and_tried_again() {
    let broker = Broker::start(Access::Password);
    let user = format!("user = \"{}\"\npassword_file = \"password\"\n", LOGIN.0);
    let site = Site::new(&broker, &user);
    site.write("password", "wrong");
    let mut program = site.start();
    let line = program.wait_for_line("no connection; trying again");
    assert!(line.contains("refuses user name, password"), "{line}");
    assert!(!program.said().contains("wrong"), "{}", program.said());
    // Mended while it runs: the file is read anew.
    site.write("password", &format!("{}\n", LOGIN.1));
    program.wait_for_line("connected");
    broker.publish("wharf/inv-1", JSON.as_bytes(), false);
    site.wait_for("inv-1/ac_power_w", Value::Good(8125.0));
    let ended = program.terminate();
    assert!(!ended.err.contains(LOGIN.1), "{}", ended.err);
}
