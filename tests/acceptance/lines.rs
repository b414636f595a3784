//! Several devices behind one connection, read by register maps, against a server from another
//! library (`units_server.py`): over Modbus TCP, over serial frames on TCP, and on a serial line;
//! with everything that goes wrong on a line in between.
//!
//! Kind of truth: reference for values (the server packs them by hand), behaviour for troubles.

#[path = "lines/program.rs"]
mod program;

use analysis::reading::{ChannelTable, DeviceId, Reading, Span, Time, Value};
use config::registers::{DeviceMap, parse_map};
use daemon::source::modbus::{
    Endpoint, Line, ModbusError, Parity, Poller, ReadOnlyClient, RegisterKind, SerialLine,
    Settings, Trouble as Kind,
};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tests::fault_proxy::{FaultProxy, Frames, Trouble};
use tests::{ServedValues, UnitsServer};

const AT: Time = Time::from_unix_ms(1_782_043_200_000);
/// Far longer than a healthy unit takes on a busy machine.
const PATIENT: Duration = Duration::from_secs(20);
/// Of a unit that is not expected to answer.
const IMPATIENT: Duration = Duration::from_millis(400);
/// The last bit of a product with 1/36, and of a 32-bit number.
const ROUNDING: f64 = 1e-9;

/// Unit, name of its values, its map.
const DEVICES: [(u8, &str, &str); 3] = [
    (1, "inverter", "string-inverter.toml"),
    (2, "weather", "weather-station.toml"),
    (3, "combiner", "combiner-meter.toml"),
];

fn map(file: &str) -> Arc<DeviceMap> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/registers");
    let text = std::fs::read_to_string(folder.join(file)).expect("an example");
    Arc::new(parse_map(file, &text).expect("right"))
}

/// One device on a line, with a channel for everything that its map gives.
struct Device {
    name: &'static str,
    poller: Poller,
    table: Arc<ChannelTable>,
}

impl Device {
    fn on(line: &Line, endpoint: &Endpoint, unit: u8, timeout: Duration) -> Self {
        let (_, name, file) = DEVICES[usize::from(unit) - 1];
        let map = map(file);
        let channels = map
            .registers
            .iter()
            .map(|r| format!("{name}/{}", r.channel()));
        let channels = channels.map(|text| text.parse().expect("a channel"));
        let table = Arc::new(ChannelTable::new(channels));
        let settings = Settings {
            endpoint: endpoint.clone(),
            unit,
            timeout,
            every: Duration::from_secs(10),
            night_every: Duration::from_secs(60),
            map: Some(map),
        };
        let name_of = DeviceId::new(name);
        let poller = Poller::on(line, true, settings, name_of, table.clone());
        Self {
            name,
            poller,
            table,
        }
    }

    fn assert_as_served(&self, readings: &[Reading], served: &ServedValues) {
        assert_eq!(readings.len(), served.len(), "{readings:?}");
        self.assert_none_wrong(readings, served);
    }

    fn assert_none_wrong(&self, readings: &[Reading], served: &ServedValues) {
        for reading in readings {
            let name = self.table.channel(reading.channel).to_string();
            let name = name.strip_prefix(self.name).expect("our device");
            let wanted = served[&name[1..]];
            match (reading.value, wanted) {
                (Value::Missing, None) => {}
                (Value::Good(got), Some(wanted)) => {
                    assert!(
                        (got - wanted).abs() <= ROUNDING,
                        "{name}: {got}, served {wanted}"
                    );
                }
                (got, wanted) => panic!("{name}: {got:?}, served {wanted:?}"),
            }
        }
    }
}

fn devices(endpoint: &Endpoint, timeout_of_one: Duration) -> (Line, Vec<Device>) {
    let line = Line::to(endpoint.clone());
    let of = |unit| if unit == 1 { timeout_of_one } else { PATIENT };
    let device = |(unit, ..): &(u8, _, _)| Device::on(&line, endpoint, *unit, of(*unit));
    let devices = DEVICES.iter().map(device).collect();
    (line, devices)
}

async fn all_are_read(endpoint: &Endpoint, server: &UnitsServer) {
    let (_line, mut devices) = devices(endpoint, PATIENT);
    // Far enough apart that every register is due again.
    for round in 0..3 {
        let at = AT + Span::from_min(10) * round;
        for device in &mut devices {
            let readings = device.poller.poll(at).await.expect("it answers");
            assert!(readings.iter().all(|reading| reading.at == at));
            device.assert_as_served(&readings, server.served(device.name));
        }
    }
}

#[tokio::test]
async fn three_units_are_read_over_one_tcp_connection() {
    let server = UnitsServer::start("tcp");
    let proxy = FaultProxy::start(server.address(), Frames::Tcp).await;
    let address = proxy.address();
    all_are_read(&Endpoint::Tcp { address }, &server).await;
    assert_eq!(proxy.connections(), 1);
}

#[tokio::test]
async fn three_units_are_read_over_one_converter() {
    let server = UnitsServer::start("rtu-over-tcp");
    let proxy = FaultProxy::start(server.address(), Frames::Rtu).await;
    let address = proxy.address();
    all_are_read(&Endpoint::RtuOverTcp { address }, &server).await;
    assert_eq!(proxy.connections(), 1);
}

#[tokio::test]
async fn three_units_are_read_on_one_serial_line() {
    let server = UnitsServer::start("pty");
    let line = SerialLine {
        path: server.path().into(),
        baud: 19_200,
        parity: Parity::None,
        two_stop_bits: false,
    };
    all_are_read(&Endpoint::Serial(line), &server).await;
}

/// A unit that nobody has on the line: silence, or what the server says in its place.
#[tokio::test]
async fn an_absent_unit_on_a_serial_line_does_not_stop_the_others() {
    let server = UnitsServer::start("pty");
    let endpoint = Endpoint::Serial(SerialLine {
        path: server.path().into(),
        baud: 19_200,
        parity: Parity::None,
        two_stop_bits: false,
    });
    let (line, mut devices) = devices(&endpoint, PATIENT);
    let mut absent = ReadOnlyClient::on(line.clone(), 77, IMPATIENT);
    for round in 0..3 {
        let nobody = absent.registers(RegisterKind::Input, 0, 1).await;
        nobody.expect_err("there is no such unit");
        for device in &mut devices {
            let at = AT + Span::from_min(10) * round;
            let readings = device.poller.poll(at).await.expect("it answers");
            device.assert_as_served(&readings, server.served(device.name));
        }
    }
}

/// Everything that goes wrong with one unit's answers: no wrong value of it is ever given, its
/// neighbours are read as if nothing were, and it is read again when the trouble is over.
async fn neighbours_are_read(frames: Frames, trouble: Trouble, wanted: Option<&[Kind]>) {
    let link = match frames {
        Frames::Tcp => "tcp",
        Frames::Rtu => "rtu-over-tcp",
    };
    let server = UnitsServer::start(link);
    let proxy = FaultProxy::start(server.address(), frames).await;
    let address = proxy.address();
    let endpoint = match frames {
        Frames::Tcp => Endpoint::Tcp { address },
        Frames::Rtu => Endpoint::RtuOverTcp { address },
    };
    let timeout = if wanted.is_none() { PATIENT } else { IMPATIENT };
    let (_line, mut devices) = devices(&endpoint, timeout);
    for round in 0..4 {
        let at = AT + Span::from_min(10) * round;
        proxy.set(1, (round == 1 || round == 2).then_some(trouble));
        for device in &mut devices {
            let served = server.served(device.name);
            let result = device.poller.poll(at).await;
            let is_troubled = device.name == "inverter" && (round == 1 || round == 2);
            match (result, wanted) {
                (Ok(readings), _) if !is_troubled => device.assert_as_served(&readings, served),
                (Ok(readings), None) => device.assert_as_served(&readings, served),
                (Err(failure), Some(wanted)) if is_troubled => {
                    let kind = failure.error.trouble();
                    assert!(wanted.contains(&kind), "{trouble:?}: {failure}");
                    assert!(failure.wait > Duration::ZERO);
                }
                // A unit whose last answer was late may take one poll to be trusted again.
                (Err(_), Some(_)) if device.name == "inverter" && round == 3 => {
                    let again = device.poller.poll(at).await.expect("the trouble is over");
                    device.assert_as_served(&again, served);
                }
                (result, _) => panic!("{trouble:?}, round {round}, {}: {result:?}", device.name),
            }
        }
    }
}

#[tokio::test]
async fn over_tcp_one_units_trouble_stays_its_own() {
    let troubles: [(Trouble, Option<&[Kind]>); 11] = [
        (Trouble::WrongTransaction, Some(&[Kind::Undecodable])),
        (Trouble::WrongUnit, Some(&[Kind::Undecodable])),
        (Trouble::Short, Some(&[Kind::Link])),
        // Its header may promise more than comes.
        (Trouble::Garbage, Some(&[Kind::Undecodable, Kind::Link])),
        (Trouble::Exception(10), Some(&[Kind::Refused])),
        (Trouble::Exception(11), Some(&[Kind::Refused])),
        (Trouble::Exception(6), Some(&[Kind::Refused])),
        (Trouble::Silence, Some(&[Kind::Link])),
        (Trouble::Late, Some(&[Kind::Link])),
        (Trouble::Drip, None),
        (Trouble::Reset, Some(&[Kind::Link])),
    ];
    for (trouble, wanted) in troubles {
        neighbours_are_read(Frames::Tcp, trouble, wanted).await;
    }
}

#[tokio::test]
async fn on_a_line_one_units_trouble_stays_its_own() {
    let troubles: [(Trouble, Option<&[Kind]>); 10] = [
        (Trouble::WrongUnit, Some(&[Kind::Undecodable])),
        (Trouble::Short, Some(&[Kind::Link])),
        (Trouble::Garbage, Some(&[Kind::Link])),
        (Trouble::Exception(10), Some(&[Kind::Refused])),
        (Trouble::Exception(11), Some(&[Kind::Refused])),
        (Trouble::Exception(6), Some(&[Kind::Refused])),
        (Trouble::Silence, Some(&[Kind::Link])),
        (Trouble::Late, Some(&[Kind::Link])),
        (Trouble::Drip, None),
        (Trouble::Reset, Some(&[Kind::Link])),
    ];
    for (trouble, wanted) in troubles {
        neighbours_are_read(Frames::Rtu, trouble, wanted).await;
    }
}

/// On a line without transaction ids the late answer has the right unit, function and length: only
/// the second answer behind it tells.
#[tokio::test]
async fn a_late_answer_is_never_taken_for_that_to_the_next_request() {
    let server = UnitsServer::start("rtu-over-tcp");
    let proxy = FaultProxy::start(server.address(), Frames::Rtu).await;
    let address = proxy.address();
    let line = Line::to(Endpoint::RtuOverTcp { address });
    let mut hasty = ReadOnlyClient::on(line.clone(), 1, IMPATIENT);
    let mut patient = ReadOnlyClient::on(line, 1, Duration::from_secs(2));
    proxy.set(1, Some(Trouble::Late));
    let late = hasty.registers(RegisterKind::Input, 1010, 2).await;
    assert!(matches!(late, Err(ModbusError::Timeout { .. })), "{late:?}");
    proxy.set(1, None);
    // The answer of [6123, 987] comes first.
    let next = patient.registers(RegisterKind::Input, 1012, 2).await;
    assert_eq!(next.expect("asked again when it was quiet"), [5801, 0xFFFE]);
    let asked = proxy.requests(1);
    assert_eq!(
        patient
            .registers(RegisterKind::Input, 1010, 2)
            .await
            .expect("trusted"),
        [6123, 987]
    );
    assert_eq!(proxy.requests(1), asked + 1);
}

/// A unit that refuses a whole block for one register: its other registers are read, the bad one is
/// not asked for again, and the neighbours do not notice.
#[tokio::test]
async fn a_refused_register_costs_only_itself() {
    let server = UnitsServer::start("tcp");
    let proxy = FaultProxy::start(server.address(), Frames::Tcp).await;
    let address = proxy.address();
    let endpoint = Endpoint::Tcp { address };
    let line = Line::to(endpoint.clone());
    let mut device = Device::on(&line, &endpoint, 2, PATIENT);
    let text = "name = \"with a register that is not there\"
addresses_count_from = 0
function = \"holding\"
word_order = \"low-first\"
[[register]]
channel = \"poa_w_m2\"
address = 200
type = \"f32\"
[[register]]
channel = \"ghi_w_m2\"
address = 207
type = \"u16\"
[[register]]
channel = \"module_temperature_degc\"
address = 202
type = \"f32\"
";
    let map = Arc::new(parse_map("odd", text).expect("right"));
    let channels = map
        .registers
        .iter()
        .map(|r| format!("weather/{}", r.channel()));
    let table = ChannelTable::new(channels.map(|text| text.parse().expect("a channel")));
    device.table = Arc::new(table);
    let settings = Settings {
        map: Some(map),
        ..device.poller.settings().clone()
    };
    let name = DeviceId::new("weather");
    device.poller = Poller::on(&line, true, settings, name, device.table.clone());
    let mut asked = Vec::new();
    for round in 0..3 {
        let before = proxy.requests(2);
        let at = AT + Span::from_s(10) * round;
        let readings = device.poller.poll(at).await.expect("two are there");
        device.assert_none_wrong(&readings, server.served("weather"));
        assert_eq!(readings.len(), 2);
        asked.push(proxy.requests(2) - before);
    }
    // One block refused, three alone; then one block of the two that are there.
    assert_eq!(asked, [4, 1, 1]);
}
