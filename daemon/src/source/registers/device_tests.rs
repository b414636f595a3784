//! Behaviour of a device that is read by a map, against the project's own register server.

use super::*;
use crate::demo::{Registers, serve};
use crate::source::modbus::{ReadOnlyClient, Trouble};
use config::registers::parse_map;
use std::time::Duration;
use tokio::net::TcpListener;

const UNIT: u8 = 5;
const EVERY: Span = Span::from_s(10);
const WITHIN: Duration = Duration::from_secs(20);
const AT: Time = Time::from_unix_ms(1_700_000_000_000);

const MAP: &str = "name = \"box\"
addresses_count_from = 0
function = \"holding\"
[[register]]
channel = \"input-1/dc_voltage_v\"
address = 10
type = \"u16\"
[[register]]
channel = \"input-1/dc_current_a\"
address = 12
type = \"u16\"
[[register]]
channel = \"heatsink_temperature_degc\"
address = 30
type = \"i16\"
every_s = 30
";

struct Boxed {
    registers: Registers,
    client: ReadOnlyClient,
    device: MapDevice,
    table: ChannelTable,
}

impl Boxed {
    async fn new(addresses: &[u16]) -> Self {
        let registers = Registers::new();
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
        let address = listener.local_addr().expect("bound").to_string();
        // Ends with the runtime of the test.
        tokio::spawn(serve(listener, registers.clone(), std::future::pending()));
        let map = Arc::new(parse_map("box", MAP).expect("right"));
        let channels = map
            .registers
            .iter()
            .map(|r| format!("inv-1/{}", r.channel()));
        let table = ChannelTable::new(channels.map(|c| c.parse().expect("a channel")));
        let boxed = Self {
            client: ReadOnlyClient::connect_tcp(&address, UNIT, WITHIN)
                .await
                .expect("listens"),
            device: MapDevice::new(&DeviceId::new("inv-1"), map, &table, EVERY),
            registers,
            table,
        };
        boxed.has(addresses);
        boxed
    }

    /// From now on the device has these registers, each with its address in it.
    fn has(&self, addresses: &[u16]) {
        let image = addresses.iter().map(|a| (*a, *a)).collect();
        self.registers.replace(UNIT, image);
    }

    async fn poll(&mut self, after_s: i64) -> Result<Vec<(String, f64)>, ModbusError> {
        let at = AT + Span::from_s(after_s);
        let readings = self.device.poll(&mut self.client, at).await?;
        let named = |r: &Reading| {
            let name = self.table.channel(r.channel).to_string();
            (name, r.value.good().expect("in range"))
        };
        Ok(readings.iter().map(named).collect())
    }
}

fn count(values: Result<Vec<(String, f64)>, ModbusError>) -> usize {
    values.expect("it answers").len()
}

#[tokio::test]
async fn a_slow_channel_is_read_at_every_third_poll() {
    let mut boxed = Boxed::new(&[10, 11, 12, 30]).await;
    let mut counts = Vec::new();
    // A timer may be a little early or late.
    for after_s in [0, 10, 20, 29, 40, 51, 60] {
        counts.push(count(boxed.poll(after_s).await));
    }
    assert_eq!(counts, [3, 2, 2, 3, 2, 2, 3]);
}

#[tokio::test]
async fn a_hole_between_registers_costs_one_refusal() {
    // 11 is not there: the block from 10 to 12 is refused, and both ends are good.
    let mut boxed = Boxed::new(&[10, 12, 30]).await;
    assert_eq!(count(boxed.poll(0).await), 3);
    assert_eq!(boxed.device.limits.max_gap, 0);
    assert!(boxed.device.alone.is_empty() && boxed.device.refused.is_empty());
    assert_eq!(count(boxed.poll(30).await), 3);
}

#[tokio::test]
async fn a_register_that_is_refused_alone_is_left_out() {
    let mut boxed = Boxed::new(&[10, 11, 30]).await;
    let values = boxed.poll(0).await.expect("two are there");
    let named = |name: &str, value| (format!("inv-1/{name}"), value);
    let wanted = [
        named("input-1/dc_voltage_v", 10.0),
        named("heatsink_temperature_degc", 30.0),
    ];
    assert_eq!(values, wanted);
    assert_eq!(boxed.device.refused, [1].into());
    // Over this connection it stays out, even if it comes.
    boxed.has(&[10, 11, 12, 30]);
    assert_eq!(count(boxed.poll(30).await), 2);
}

#[tokio::test]
async fn a_device_that_refuses_everything_is_an_error_and_is_tried_again() {
    let mut boxed = Boxed::new(&[99]).await;
    let error = boxed.poll(0).await.expect_err("nothing is there");
    assert_eq!(error.trouble(), Trouble::Refused);
    boxed.has(&[10, 11, 12, 30]);
    assert_eq!(count(boxed.poll(10).await), 3);
}

/// A gateway that speaks for a silent unit says nothing about single registers.
#[tokio::test]
async fn an_exception_of_a_gateway_is_not_taken_for_a_missing_register() {
    let mut boxed = Boxed::new(&[10, 11, 12, 30]).await;
    boxed.registers.remove(UNIT);
    let error = boxed.poll(0).await.expect_err("nobody behind the gateway");
    assert!(
        matches!(error, ModbusError::Refused { code: 11, .. }),
        "{error}"
    );
    assert!(boxed.device.refused.is_empty());
    boxed.has(&[10, 11, 12, 30]);
    assert_eq!(count(boxed.poll(10).await), 3);
}

#[tokio::test]
async fn what_the_plant_has_no_channel_for_is_not_asked_for() {
    let mut boxed = Boxed::new(&[30]).await;
    let table = ChannelTable::new(["inv-1/heatsink_temperature_degc"
        .parse()
        .expect("a channel")]);
    let map = Arc::new(parse_map("box", MAP).expect("right"));
    boxed.device = MapDevice::new(&DeviceId::new("inv-1"), map, &table, EVERY);
    boxed.table = table;
    assert_eq!(count(boxed.poll(0).await), 1);
    assert!(boxed.device.refused.is_empty());
    let unplanned = ["inv-1/input-1/dc_voltage_v", "inv-1/input-1/dc_current_a"];
    assert_eq!(boxed.device.unplanned(), unplanned);
}
