//! `noonmark run` and `noonmark scan` in front of a line with three devices.

use analysis::reading::{Channel, Time, Value};
use daemon::store::{Layout, Store};
use std::path::{Path, PathBuf};
use tests::{Program, UnitsServer, until};

/// The example barn with its devices behind a converter, read by the example maps.
fn site(folder: &Path, server: &UnitsServer) -> PathBuf {
    let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config");
    for map in ["string-inverter.toml", "weather-station.toml"] {
        std::fs::copy(config.join("registers").join(map), folder.join(map)).expect("copied");
    }
    let text = std::fs::read_to_string(config.join("sites/hillside-barn.toml")).expect("text");
    // Nobody is told of what a test finds.
    let (before, alerts) = text.split_once("[alerts]").expect("it tells people");
    let (_, after) = alerts.split_once("[store]").expect("and keeps a store");
    let text = format!("{before}[store]{after}")
        .replace("kind = \"modbus-tcp\"", "kind = \"modbus-rtu-over-tcp\"")
        .replace("192.0.2.21:502", &server.address())
        // The page at any free port.
        .replace("127.0.0.1:7463", "127.0.0.1:0")
        .replace("unit = 40", "unit = 2")
        .replace("every_s = 30", "every_s = 1\ntimeout_s = 1")
        .replace("every_s = 10\n", "every_s = 1\n")
        .replace("timeout_s = 3\n", "timeout_s = 1\n")
        .replacen("map = \"sunspec\"", "map = \"string-inverter.toml\"", 1)
        .replacen("map = \"sunspec\"", "map = \"weather-station.toml\"", 1);
    let path = folder.join("site.toml");
    std::fs::write(&path, text).expect("written");
    path
}

#[test]
fn the_daemon_reads_a_line_by_its_maps() {
    let server = UnitsServer::start("rtu-over-tcp");
    let folder = tempfile::tempdir().expect("a folder");
    let site = site(folder.path(), &server);
    let plant = config::load(&site).unwrap_or_else(|e| panic!("{e}")).plant;
    let out = folder.path().join("out");
    let arguments = [Path::new("run"), &site, Path::new("--out"), &out];
    let program = Program::start(arguments);
    let ever = (Time::from_unix_ms(0), Time::from_unix_ms(i64::MAX));
    let last = |channel: &str| {
        let channel: Channel = channel.parse().expect("a channel");
        let id = plant.channels.id(&channel).expect("of this plant");
        let store = Store::open_to_read(&out.join("noonmark.sqlite"), &Layout::of(&plant)).ok()?;
        let readings = store.readings(id, ever.0, ever.1).ok()?;
        readings.last().map(|reading| reading.value)
    };
    let of_both = || Some((last("barn/input-1/dc_voltage_v")?, last("mast/poa_w_m2")?));
    let values = until("readings of both devices", of_both);
    assert_eq!(values, (Value::Good(612.3), Value::Good(812.5)));
    assert_eq!(
        last("barn/energy_total_wh"),
        Some(Value::Good(5_000_000_123.0))
    );
    let ended = program.terminate();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    assert!(!ended.err.contains("WARN"), "{}", ended.err);
}

#[test]
fn a_scan_of_a_serial_line_shows_its_units() {
    let server = UnitsServer::start("pty");
    let arguments = [
        "scan",
        server.path(),
        "--baud",
        "19200",
        "--units",
        "1-2",
        "--function",
        "3",
        "--from",
        "200",
        "--count",
        "6",
    ];
    let mut program = Program::start(arguments);
    // 812.5, low register first.
    let line = program.wait_for_line("  holding      200 ");
    assert!(line.ends_with(" 812.500"), "{line}");
    let said = program.said();
    let (unit, none) = (
        "unit 1: no SunSpec models",
        "  the device refuses holding registers 200 to 205",
    );
    assert!(said.contains(unit) && said.contains(none), "{said}");
}
