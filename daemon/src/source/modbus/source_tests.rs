//! Behaviour of a source and its poller against the project's own register server.

use super::*;
use crate::demo::{Registers, serve};
use crate::source::modbus::{Endpoint, Failure, Poller, Settings};
use crate::source::sunspec::{ModelImage, lay_out};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;

const UNIT: u8 = 3;

/// A device on the loopback; unplugging it closes its port and its connections.
struct Plugged {
    registers: Registers,
    settings: Settings,
    pull: oneshot::Sender<()>,
    server: JoinHandle<std::io::Result<()>>,
}

impl Plugged {
    async fn new(image: BTreeMap<u16, u16>) -> Self {
        let registers = Registers::new();
        registers.replace(UNIT, image);
        Self::at("127.0.0.1:0", registers).await
    }

    async fn at(address: &str, registers: Registers) -> Self {
        let listener = TcpListener::bind(address).await.expect("a free port");
        let address = listener.local_addr().expect("bound").to_string();
        let (pull, pulled) = oneshot::channel();
        let stop = async move {
            // An error means that the other end was dropped: unplugged as well.
            let _unplugged = pulled.await;
        };
        let server = tokio::spawn(serve(listener, registers.clone(), stop));
        Self {
            registers,
            settings: Settings {
                endpoint: Endpoint::Tcp { address },
                unit: UNIT,
                timeout: Duration::from_secs(5),
                every: Duration::from_secs(10),
                night_every: Duration::from_secs(60),
                map: None,
            },
            pull,
            server,
        }
    }

    async fn unplug(self) -> (String, Registers) {
        let address = self.address();
        drop(self.pull);
        self.server.await.expect("no panic").expect("served");
        (address, self.registers)
    }

    fn address(&self) -> String {
        self.settings.endpoint.to_string()
    }

    /// A connection of its own, and what the device says on it.
    async fn connect(&self, table: &ChannelTable) -> Result<Connected, SourceError> {
        let within = self.settings.timeout;
        let connecting = ReadOnlyClient::connect_tcp(&self.address(), UNIT, within).await;
        let mut client = connecting?;
        let source = ModbusSource::find(&mut client, &DeviceId::new("inv-1"), table).await?;
        Ok(Connected { client, source })
    }
}

struct Connected {
    client: ReadOnlyClient,
    source: ModbusSource,
}

impl Connected {
    async fn poll(&mut self) -> Result<Vec<Reading>, SourceError> {
        self.source.poll(&mut self.client, AT).await
    }
}

fn inverter() -> Vec<ModelImage> {
    let mut common = ModelImage::new(1, 0).expect("known");
    common.text("Mn", "Sample").expect("fits");
    let mut ac = ModelImage::new(103, 0).expect("known");
    for (quantity, value) in [
        (Quantity::AcPower, 8123.0),
        (Quantity::State, 4.0),
        (Quantity::EventBits, 0.0),
    ] {
        ac.put(Spot::Device, quantity, value).expect("fits");
    }
    ac.put(Spot::AllInputs, Quantity::DcVoltage, 611.0)
        .expect("fits");
    vec![common, ac]
}

fn with_inputs() -> Vec<ModelImage> {
    let mut models = inverter();
    let mut inputs = ModelImage::new(160, 2).expect("known");
    for (n, amps, volts) in [(1, 18.34, 580.1), (2, 9.12, 691.2)] {
        let spot = Spot::Input(n);
        inputs.put(spot, Quantity::DcCurrent, amps).expect("fits");
        inputs.put(spot, Quantity::DcVoltage, volts).expect("fits");
    }
    models.push(inputs);
    models
}

fn table(channels: &[&str]) -> ChannelTable {
    ChannelTable::new(channels.iter().map(|c| c.parse().expect("an address")))
}

fn named(readings: &[Reading], table: &ChannelTable) -> BTreeMap<String, Value> {
    let named = |r: &Reading| (table.channel(r.channel).to_string(), r.value);
    readings.iter().map(named).collect()
}

const AT: Time = Time::from_unix_ms(1_700_000_000_000);

#[tokio::test]
async fn values_reach_their_channels_with_one_time() {
    let plugged = Plugged::new(lay_out(40_000, &with_inputs())).await;
    let table = table(&[
        "inv-1/ac_power_w",
        "inv-1/input-1/dc_current_a",
        "inv-1/input-2/dc_voltage_v",
        "inv-1/input-2/dc_power_w",
        "inv-1/input-3/dc_voltage_v",
        "inv-2/ac_power_w",
    ]);
    let connecting = plugged.connect(&table).await;
    let mut source = connecting.expect("connects");
    assert_eq!(
        source.source.device().identity.manufacturer.as_deref(),
        Some("Sample")
    );
    let readings = source.poll().await.expect("polls");
    assert!(readings.iter().all(|r| r.at == AT));
    let expected = [
        ("inv-1/ac_power_w", Value::Good(8123.0)),
        ("inv-1/input-1/dc_current_a", Value::Good(18.34)),
        ("inv-1/input-2/dc_power_w", Value::Missing),
        ("inv-1/input-2/dc_voltage_v", Value::Good(691.2)),
    ];
    let expected = expected.map(|(name, value)| (name.to_owned(), value));
    assert_eq!(named(&readings, &table), BTreeMap::from(expected));
    let unplanned = [
        "inv-1/event_bits",
        "inv-1/input-1/dc_voltage_v",
        "inv-1/input-2/dc_current_a",
        "inv-1/state",
    ];
    let mut listed = source.source.unplanned();
    listed.sort();
    assert_eq!(listed, unplanned);
}

#[tokio::test]
async fn the_sum_of_all_inputs_is_the_only_input() {
    let plugged = Plugged::new(lay_out(0, &inverter())).await;
    let one = table(&["inv-1/input-1/dc_voltage_v"]);
    let connecting = plugged.connect(&one).await;
    let readings = connecting.expect("connects").poll().await.expect("polls");
    assert_eq!(readings[0].value, Value::Good(611.0));
    let two = table(&["inv-1/input-1/dc_voltage_v", "inv-1/input-2/dc_voltage_v"]);
    let connecting = plugged.connect(&two).await;
    let mut source = connecting.expect("connects");
    assert_eq!(source.poll().await.expect("polls"), []);
    let listed = source.source.unplanned();
    let sum = "inv-1/dc_voltage_v (all inputs together)".to_owned();
    assert!(listed.contains(&sum), "{listed:?}");
}

#[tokio::test]
async fn a_device_without_models_says_so() {
    let plugged = Plugged::new((0..100).map(|a| (a, 0)).collect()).await;
    let error = plugged.connect(&table(&[])).await;
    let error = error.err().expect("no marker");
    assert!(matches!(
        error,
        SourceError::Discover(DiscoverError::NoMarker)
    ));

    let only_names = lay_out(40_000, &inverter()[..1]);
    plugged.registers.replace(UNIT, only_names);
    let error = plugged.connect(&table(&[])).await;
    assert!(matches!(error.err(), Some(SourceError::NoValues { models }) if models == [1]));
}

#[tokio::test]
async fn a_model_that_the_device_refuses_does_not_take_the_others_with_it() {
    let mut image = lay_out(40_000, &with_inputs());
    let plugged = Plugged::new(image.clone()).await;
    let table = table(&["inv-1/ac_power_w", "inv-1/input-1/dc_current_a"]);
    let connecting = plugged.connect(&table).await;
    let mut source = connecting.expect("connects");
    // A register of model 160 goes: the device refuses the whole read.
    image.remove(&(40_000 + 2 + 68 + 52 + 12));
    plugged.registers.replace(UNIT, image);
    let readings = source.poll().await.expect("model 103 answers");
    let power = BTreeMap::from([("inv-1/ac_power_w".to_owned(), Value::Good(8123.0))]);
    assert_eq!(named(&readings, &table), power);
    plugged.registers.remove(UNIT);
    let error = source.poll().await.expect_err("everything is refused");
    assert_eq!(error.trouble(), Trouble::Refused);
}

/// Two models that number their inputs each in its own way must not mix.
#[tokio::test]
async fn ports_stand_in_for_inputs_and_give_way_to_them() {
    let mut ports = ModelImage::new(714, 2).expect("known");
    for (n, volts) in [(1, 700.1), (2, 555.5)] {
        ports
            .put(Spot::Input(n), Quantity::DcVoltage, volts)
            .expect("fits");
    }
    let table = table(&["inv-1/input-1/dc_voltage_v", "inv-1/input-2/dc_voltage_v"]);
    let voltages = async |models: Vec<ModelImage>| {
        let plugged = Plugged::new(lay_out(40_000, &models)).await;
        let connecting = plugged.connect(&table).await;
        let readings = connecting.expect("connects").poll().await;
        let readings = named(&readings.expect("it answers"), &table);
        readings.into_values().collect::<Vec<_>>()
    };
    let without = [inverter(), vec![ports.clone()]].concat();
    let of_ports = [Value::Good(700.1), Value::Good(555.5)];
    assert_eq!(voltages(without).await, of_ports);
    let both = [inverter(), vec![ports.clone()], with_inputs().split_off(2)].concat();
    assert_eq!(
        voltages(both).await,
        [Value::Good(580.1), Value::Good(691.2)]
    );
    // A model 160 that has no inputs gives way.
    let empty = ModelImage::new(160, 0).expect("known");
    let empty = [inverter(), vec![empty, ports]].concat();
    assert_eq!(voltages(empty).await, of_ports);
}

fn poller(settings: &Settings, table: &ChannelTable) -> Poller {
    let table = Arc::new(table.clone());
    Poller::new(settings.clone(), DeviceId::new("inv-1"), table)
}

#[tokio::test]
async fn models_that_moved_are_discovered_again() {
    let plugged = Plugged::new(lay_out(40_000, &inverter())).await;
    let table = table(&["inv-1/ac_power_w", "inv-1/input-1/dc_current_a"]);
    let mut poller = poller(&plugged.settings, &table);
    poller.poll(AT).await.expect("polls");
    // An update puts a new model before the others.
    let mut models = with_inputs();
    models.insert(1, ModelImage::new(122, 0).expect("known"));
    plugged.registers.replace(UNIT, lay_out(40_000, &models));
    let failure = poller
        .poll(AT)
        .await
        .expect_err("another model stands there");
    let Failure { error, attempt, .. } = failure;
    let changed = matches!(
        error,
        SourceError::Discover(DiscoverError::Changed { id: 122, .. })
    );
    assert!(changed, "{error}");
    assert_eq!(attempt, 1);
    let readings = poller.poll(AT).await.expect("discovered again");
    assert_eq!(readings.len(), 2);
}

#[tokio::test]
async fn a_model_that_has_another_length_is_discovered_again() {
    let plugged = Plugged::new(lay_out(40_000, &with_inputs())).await;
    let table = table(&["inv-1/input-1/dc_current_a", "inv-1/input-3/dc_voltage_v"]);
    let mut poller = poller(&plugged.settings, &table);
    assert_eq!(poller.poll(AT).await.expect("polls").len(), 1);
    // An update shows a third input.
    let mut models = inverter();
    let mut inputs = ModelImage::new(160, 3).expect("known");
    for (n, volts) in [(1, 580.1), (2, 691.2), (3, 702.3)] {
        inputs
            .put(Spot::Input(n), Quantity::DcVoltage, volts)
            .expect("fits");
    }
    models.push(inputs);
    plugged.registers.replace(UNIT, lay_out(40_000, &models));
    let failure = poller.poll(AT).await.expect_err("another length");
    let changed = SourceError::trouble(&failure.error) == Trouble::Undecodable;
    assert!(changed, "{failure}");
    let readings = poller.poll(AT).await.expect("discovered again");
    let readings = named(&readings, &table);
    assert_eq!(readings["inv-1/input-3/dc_voltage_v"], Value::Good(702.3));
}

/// Silence of one device on a shared connection leaves nine tenths of the time to its neighbours; what
/// is refused at once costs them nothing.
#[tokio::test]
async fn a_silent_device_leaves_the_line_to_its_neighbours() {
    // It accepts, and nobody reads.
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
    let settings = Settings {
        endpoint: Endpoint::Tcp {
            address: listener.local_addr().expect("bound").to_string(),
        },
        unit: UNIT,
        timeout: Duration::from_millis(700),
        every: Duration::from_secs(10),
        night_every: Duration::from_secs(60),
        map: None,
    };
    let line = crate::source::modbus::Line::to(settings.endpoint.clone());
    let name = DeviceId::new("inv-1");
    let table = Arc::new(table(&["inv-1/ac_power_w"]));
    let mut shared = Poller::on(&line, true, settings.clone(), name, table);
    let failure = shared.poll(AT).await.expect_err("silent");
    assert_eq!(failure.error.trouble(), Trouble::Link);
    assert!(failure.wait >= settings.timeout * 9, "{failure}");
    drop(listener);
    for _ in 0..2 {
        let failure = shared.poll(AT).await.expect_err("nobody listens");
        assert!(failure.wait < Duration::from_secs(300), "{failure}");
    }
}

#[tokio::test]
async fn a_device_that_was_unplugged_comes_back() {
    let plugged = Plugged::new(lay_out(40_000, &with_inputs())).await;
    let table = table(&["inv-1/ac_power_w"]);
    let mut poller = poller(&plugged.settings, &table);
    poller.poll(AT).await.expect("polls");
    let (address, registers) = plugged.unplug().await;
    for attempt in 1..=4 {
        let failure = poller.poll(AT).await.expect_err("unplugged");
        assert_eq!(failure.error.trouble(), Trouble::Link, "{failure}");
        assert_eq!(failure.attempt, attempt);
        assert!(failure.wait > Duration::ZERO);
    }
    let _plugged_again = Plugged::at(&address, registers).await;
    let readings = poller.poll(AT).await.expect("back");
    assert_eq!(readings[0].value, Value::Good(8123.0));
}

#[tokio::test]
async fn a_unit_that_stays_silent_behind_its_gateway_is_looked_for_again() {
    let plugged = Plugged::new(lay_out(40_000, &inverter())).await;
    let table = table(&["inv-1/ac_power_w"]);
    let mut poller = poller(&plugged.settings, &table);
    poller.poll(AT).await.expect("polls");
    plugged.registers.remove(UNIT);
    for _ in 0..2 {
        let failure = poller.poll(AT).await.expect_err("refused");
        assert_eq!(failure.error.trouble(), Trouble::Refused);
        assert!(poller.source().is_some(), "the connection is good");
    }
    poller.poll(AT).await.expect_err("refused");
    assert!(poller.source().is_none(), "discovers next time");
    plugged.registers.replace(UNIT, lay_out(0, &inverter()));
    poller.poll(AT).await.expect("found at another base");
}

#[tokio::test]
async fn a_device_that_is_busy_while_it_is_discovered_does_not_lose_models() {
    // A gateway that says "not now" for the unit must not pass for a device without models.
    let plugged = Plugged::new(lay_out(40_000, &inverter())).await;
    plugged.registers.remove(UNIT);
    let error = plugged.connect(&table(&[])).await;
    let error = error.err().expect("nobody behind the gateway");
    assert_eq!(error.trouble(), Trouble::Refused, "{error}");
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(64))]

    /// Whatever a device lists and holds, there are readings or a typed error.
    #[test]
    fn no_device_makes_the_source_panic(
        headers in proptest::collection::vec(
            (
                proptest::sample::select(vec![0u16, 1, 103, 113, 122, 123, 160, 302, 701, 714, 9999]),
                0u16..200,
            ),
            0..12,
        ),
        filling in proptest::collection::vec(proptest::num::u16::ANY, 600),
        base in proptest::sample::select(crate::source::sunspec::BASES.to_vec()),
    ) {
        let mut image: BTreeMap<u16, u16> = (base..).zip(filling).collect();
        image.extend((base..).zip(crate::source::sunspec::MARKER));
        let mut next = base + 2;
        for (id, length) in headers {
            image.extend([(next, id), (next + 1, length)]);
            next += 2 + length;
        }
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
        runtime.expect("runtime").block_on(async {
            let plugged = Plugged::new(image).await;
            let table = table(&["inv-1/ac_power_w", "inv-1/input-1/dc_current_a"]);
            let mut poller = poller(&plugged.settings, &table);
            for _ in 0..2 {
                if let Ok(readings) = poller.poll(AT).await {
                    assert!(readings.len() <= table.len());
                }
            }
        });
    }
}
