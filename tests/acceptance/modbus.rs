//! The daemon's Modbus source against a server from another library (`sunspec_server.py`).
//!
//! Kind of truth: reference. The server's register layouts are typed from the standard by hand, and
//! it tells on request which values it serves; what is polled must be the same to the last digit
//! that the registers hold.

use analysis::plant::{Curve, Droop, EnterServiceSettings, GridSettings};
use analysis::reading::{Channel, ChannelTable, DeviceId, Reading, Span, Time, Value};
use daemon::commands::Wanted;
use daemon::commands::scan::{Place, Scan, scan};
use daemon::source::modbus::{Endpoint, Line, Poller, Settings, Trouble};
use std::sync::Arc;
use std::time::Duration;
use tests::{Served, SunspecServer};

const INVERTER: u8 = SunspecServer::INVERTER;
const STATION: u8 = SunspecServer::STATION;
const AT: Time = Time::from_unix_ms(1_782_043_200_000);
/// Half of the last digit that the server's registers hold, by what a name ends with; the server
/// rounds once, and the excess covers the last bit of that sum in f64.
const HALF_A_DIGIT: [(&str, f64); 14] = [
    ("dc_current_a", 0.005),
    ("dc_voltage_v", 0.05),
    ("dc_power_w", 5.0),
    ("ac_power_w", 5.0),
    ("_v", 0.05),
    ("_a", 0.005),
    ("_hz", 0.005),
    ("_wh", 0.5),
    ("_w_m2", 0.5),
    ("_degc", 0.05),
    ("_ratio", 0.005),
    ("_m_s", 0.5),
    ("_wait_s", 0.5),
    // State and event bits are whole numbers.
    ("", 0.0),
];
const ROUNDING: f64 = 1e-9;

/// A server whose clock stands.
fn start(port: u16, options: &[&str]) -> SunspecServer {
    SunspecServer::start(port, &[&["--clock-rate", "0"], options].concat())
}

/// A poller of one unit with a channel for every value that the server serves there.
fn poller(port: u16, unit: u8, served: &Served) -> (Poller, Arc<ChannelTable>) {
    let channel = |name: &String| -> Channel { format!("dev/{name}").parse().expect("a channel") };
    let table = Arc::new(ChannelTable::new(served.keys().map(channel)));
    let settings = Settings {
        endpoint: Endpoint::Tcp {
            address: format!("127.0.0.1:{port}"),
        },
        unit,
        timeout: Duration::from_secs(10),
        every: Duration::from_secs(10),
        night_every: Duration::from_secs(60),
        map: None,
    };
    let poller = Poller::new(settings, DeviceId::new("dev"), table.clone());
    (poller, table)
}

fn assert_as_served(readings: &[Reading], table: &ChannelTable, served: &Served) {
    assert_eq!(readings.len(), served.len(), "one reading for each value");
    for reading in readings {
        assert_eq!(reading.at, AT);
        let name = table.channel(reading.channel).to_string();
        let name = name.strip_prefix("dev/").expect("our device");
        let wanted = served[name];
        let Value::Good(got) = reading.value else {
            panic!("{name} is {:?}, served {wanted}", reading.value);
        };
        let digit = HALF_A_DIGIT.iter().find(|(end, _)| name.ends_with(end));
        let tolerance = digit.expect("the last row fits all").1 + ROUNDING;
        assert!(
            (got - wanted).abs() <= tolerance,
            "{name}: {got}, served {wanted}"
        );
    }
}

#[tokio::test]
async fn an_inverter_is_read_as_it_is_served_by_day_and_by_night() {
    let mut server = start(0, &[]);
    let (served, _) = server.ask("values");
    let (mut poller, table) = poller(server.port(), INVERTER, &served);
    for time in ["06:20", "09:00", "12:00", "17:30", "23:00"] {
        let (served, _) = server.ask(&format!("at 2026-06-21T{time}:00Z"));
        let readings = poller.poll(AT).await.expect("the server answers");
        assert_as_served(&readings, &table, &served);
    }
    let source = poller.source().expect("connected");
    let ids: Vec<u16> = source.device().models.iter().map(|m| m.id).collect();
    assert_eq!(ids, [1, 103, 160, 64_001]);
    let serial = source.device().identity.serial.as_deref();
    assert_eq!(serial, Some("SAMPLE-inverter"));
    assert_eq!(source.unplanned(), [""; 0]);
}

/// The battery between the ports of modules takes no number and gives no alarm.
#[tokio::test]
async fn inputs_are_read_from_ports_of_modules() {
    let mut server = start(0, &["--ports"]);
    for time in ["09:00", "12:00", "23:00"] {
        let (served, _) = server.ask(&format!("at 2026-06-21T{time}:00Z"));
        let (mut poller, table) = poller(server.port(), INVERTER, &served);
        let readings = poller.poll(AT).await.expect("the server answers");
        assert_as_served(&readings, &table, &served);
        let source = poller.source().expect("connected");
        assert_eq!(source.unplanned(), [""; 0]);
    }
}

#[tokio::test]
async fn a_string_that_opens_is_seen_on_its_input_only() {
    let opens = ["--open-input", "2", "--open-at", "2026-06-21T10:00:00Z"];
    let mut server = start(0, &[&opens[..], &["--strings", "1,2,1,1"]].concat());
    let (served, _) = server.ask("at 2026-06-21T09:59:00Z");
    let (mut poller, table) = poller(server.port(), INVERTER, &served);
    let amps = |readings: &[Reading], input: u8| {
        let channel = format!("dev/input-{input}/dc_current_a");
        let id = table.id(&channel.parse().expect("a channel"));
        let reading = readings.iter().find(|r| Some(r.channel) == id);
        reading.and_then(|r| r.value.good()).expect("a current")
    };
    let before = poller.poll(AT).await.expect("the server answers");
    assert!(amps(&before, 2) > 1.9 * amps(&before, 1));
    let (served, _) = server.ask("at 2026-06-21T10:00:00Z");
    let after = poller.poll(AT).await.expect("the server answers");
    assert_as_served(&after, &table, &served);
    assert_eq!(amps(&after, 2), amps(&after, 1));
    assert!(amps(&after, 4) >= amps(&before, 4));
}

#[tokio::test]
async fn a_weather_station_is_read_as_it_is_served() {
    let mut server = start(0, &[]);
    let (_, served) = server.ask("at 2026-06-21T08:15:00Z");
    let (mut poller, table) = poller(server.port(), STATION, &served);
    let readings = poller.poll(AT).await.expect("the server answers");
    assert_as_served(&readings, &table, &served);
}

#[tokio::test]
async fn a_device_that_is_unplugged_and_plugged_in_again_is_polled_again() {
    let mut server = start(0, &[]);
    let (served, _) = server.ask("values");
    let (mut poller, table) = poller(server.port(), INVERTER, &served);
    poller.poll(AT).await.expect("the server answers");
    let port = server.unplug();
    for attempt in 1..=3 {
        let failure = poller.poll(AT).await.expect_err("unplugged");
        assert_eq!(failure.error.trouble(), Trouble::Link, "{failure}");
        assert_eq!(failure.attempt, attempt);
    }
    // With another set of inputs: the same box, configured anew.
    let mut server = start(port, &["--strings", "1,1"]);
    let (served, _) = server.ask("values");
    let readings = poller.poll(AT).await.expect("plugged in again");
    assert_as_served(&readings, &table, &served);
}

/// IEEE 1547-2018, category III (tables 13 and 18, as coded in a public test library).
#[tokio::test]
async fn what_an_inverter_publishes_of_its_protection_is_read_with_the_first_poll() {
    let mut server = start(0, &["--settings", "full"]);
    let (served, _) = server.ask("values");
    let (mut poller, table) = poller(server.port(), INVERTER, &served);
    let readings = poller.poll(AT).await.expect("the server answers");
    assert_as_served(&readings, &table, &served);
    let found = poller.take_settings().expect("published");
    let wanted = GridSettings {
        nominal_v: Some(240.0),
        under_voltage: Some(Curve::On(vec![(0.88, 21.0), (0.5, 2.0)])),
        over_voltage: Some(Curve::On(vec![(1.1, 13.0), (1.2, 0.16)])),
        under_frequency: Some(Curve::On(vec![(58.5, 300.0), (56.5, 0.16)])),
        over_frequency: Some(Curve::On(vec![(61.2, 300.0), (62.0, 0.16)])),
        volt_watt: Some(Curve::On(vec![(1.06, 1.0), (1.1, 0.2)])),
        volt_var: Some(Curve::On(vec![
            (0.92, 0.44),
            (0.98, 0.0),
            (1.02, 0.0),
            (1.08, -0.44),
        ])),
        watt_var: Some(Curve::Off),
        droop: Some(Droop {
            is_on: true,
            over_deadband_hz: 0.036,
            over_ratio: 0.05,
        }),
        enter_service: EnterServiceSettings {
            low_voltage_ratio: Some(0.917),
            high_voltage_ratio: Some(1.05),
            low_hz: Some(59.5),
            high_hz: Some(60.1),
            delay_s: Some(300.0),
            random_s: None,
            ramp_s: Some(300.0),
        },
    };
    assert_eq!(found, wanted);
    // Once an hour: nothing is read again with the next poll.
    poller
        .poll(AT + Span::from_s(10))
        .await
        .expect("it answers");
    assert_eq!(poller.take_settings(), None);
    poller.poll(AT + Span::from_h(1)).await.expect("it answers");
    assert_eq!(poller.take_settings(), Some(wanted));
}

/// Points that are not implemented, curves that are off, not stored or cut off: each leaves what the
/// rules say, and everything else is read all the same.
#[tokio::test]
async fn what_is_published_in_part_is_taken_in_part() {
    let mut server = start(0, &["--settings", "odd"]);
    let (served, _) = server.ask("values");
    let (mut poller, table) = poller(server.port(), INVERTER, &served);
    let readings = poller.poll(AT).await.expect("the server answers");
    assert_as_served(&readings, &table, &served);
    let wanted = GridSettings {
        under_voltage: Some(Curve::Off),
        volt_watt: Some(Curve::Off),
        enter_service: EnterServiceSettings {
            high_hz: Some(60.1),
            delay_s: Some(120.0),
            ..EnterServiceSettings::default()
        },
        ..GridSettings::default()
    };
    assert_eq!(poller.take_settings(), Some(wanted));
}

/// A model that is listed and never answers costs one poll in an hour, not every one.
#[tokio::test]
async fn settings_that_never_answer_do_not_cost_every_poll() {
    let mut server = start(0, &["--settings", "stuck"]);
    let (served, _) = server.ask("values");
    let (patient, table) = poller(server.port(), INVERTER, &served);
    let settings = Settings {
        timeout: Duration::from_millis(800),
        ..patient.settings().clone()
    };
    let mut poller = Poller::new(settings, DeviceId::new("dev"), table.clone());
    // What came before the stuck model is kept.
    let readings = poller.poll(AT).await.expect("its values answer");
    assert_as_served(&readings, &table, &served);
    let readings = poller.poll(AT).await.expect("everything else answers");
    assert_as_served(&readings, &table, &served);
    assert_eq!(poller.take_settings(), None);
}

/// The models of inverter and station through one converter of serial frames.
#[tokio::test]
async fn models_are_read_on_a_line_as_well() {
    let mut server = start(0, &["--rtu", "--settings", "full"]);
    let (inverter, station) = server.ask("at 2026-06-21T08:15:00Z");
    let endpoint = Endpoint::RtuOverTcp {
        address: format!("127.0.0.1:{}", server.port()),
    };
    let line = Line::to(endpoint.clone());
    for round in 0..2 {
        for (unit, served) in [(INVERTER, &inverter), (STATION, &station)] {
            let (alone, table) = poller(server.port(), unit, served);
            let settings = Settings {
                endpoint: endpoint.clone(),
                ..alone.settings().clone()
            };
            let name = DeviceId::new("dev");
            let mut poller = Poller::on(&line, true, settings, name, table.clone());
            let readings = poller.poll(AT).await.expect("the server answers");
            assert_as_served(&readings, &table, served);
            let has_settings = poller.take_settings().is_some();
            assert_eq!(has_settings, unit == INVERTER, "round {round}");
        }
    }
}

#[tokio::test]
async fn a_scan_shows_the_models_and_the_values() {
    let server = start(0, &[]);
    let mut out = Vec::new();
    let address = format!("127.0.0.1:{}", server.port());
    let wanted = Scan {
        at: Place::Tcp(address),
        units: INVERTER..=INVERTER,
        wanted: Wanted::default(),
        points: false,
        map: None,
    };
    scan(&wanted, &mut out).await.expect("reachable");
    let text = String::from_utf8(out).expect("text");
    for line in [
        "  serial number  SAMPLE-inverter",
        "    160  at 40122  length   68  Multiple MPPT Inverter Extension Model",
        "  64001  at 40192  length    9  unknown (not read)",
        "  input-2/dc_current_a               26.4",
        "  state                              4",
    ] {
        assert!(
            text.lines().any(|l| l == line),
            "no line {line:?} in\n{text}"
        );
    }
}
