//! Behaviour of the command against the project's own register server.

use super::*;
use crate::demo::{Registers, serve};
use crate::source::sunspec::{ModelImage, lay_out};
use analysis::reading::Quantity;
use std::collections::BTreeMap;
use tokio::net::TcpListener;

async fn printed(image: BTreeMap<u16, u16>) -> String {
    let registers = Registers::new();
    registers.replace(1, image);
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
    let address = listener.local_addr().expect("bound").to_string();
    let server = tokio::spawn(serve(listener, registers, std::future::pending()));
    let mut out = Vec::new();
    scan(&address, 1, &mut out).await.expect("reachable");
    server.abort();
    String::from_utf8(out)
        .expect("text")
        .replace(&address, "ADDRESS")
}

#[tokio::test]
async fn models_names_and_values_are_listed() {
    let mut common = ModelImage::new(1, 0).expect("known");
    common.text("SN", "SAMPLE-0001").expect("fits");
    let mut inputs = ModelImage::new(160, 1).expect("known");
    let spot = Spot::Input(1);
    inputs.put(spot, Quantity::DcVoltage, 612.3).expect("fits");
    let nameplate = vec![120, 2, 0, 0];
    let mut image = lay_out(40_000, &[common, inputs]);
    let end = 40_000 + 2 + 68 + 30;
    image.extend((end..).zip(nameplate.into_iter().chain([0xFFFF])));
    let expected = "\
ADDRESS, unit 1: SunSpec models from holding register 40000
  serial number  SAMPLE-0001
models
      1  at 40002  length   66  Common
    160  at 40070  length   28  Multiple MPPT Inverter Extension Model
    120  at 40100  length    2  Nameplate (not read)
values
  input-1/dc_voltage_v               612.3
  input-1/dc_current_a               -
  input-1/dc_power_w                 -
";
    assert_eq!(printed(image).await, expected);
}

#[tokio::test]
async fn without_models_the_registers_that_answer_are_shown() {
    let image = (20..30).map(|a| (a, 65_510u16.wrapping_add(a))).collect();
    let text = printed(image).await;
    assert!(
        text.starts_with("ADDRESS, unit 1: no SunSpec models\n"),
        "{text}"
    );
    assert!(
        text.contains("  holding       22    fffc   65532      -4\n"),
        "{text}"
    );
    assert!(
        text.contains("  input         20    fffa   65530      -6\n"),
        "{text}"
    );
    // Two headings and two kinds of ten registers each.
    assert_eq!(text.lines().count(), 3 + 20);
}

#[tokio::test]
async fn nobody_there_is_exit_code_69() {
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
    let address = listener.local_addr().expect("bound").to_string();
    drop(listener);
    let error = scan(&address, 1, &mut Vec::new()).await;
    let error = error.expect_err("nobody listens");
    assert_eq!(error.exit_code(), 69);
    let begins = format!("scan {address}, unit 1: connect to {address}: ");
    assert!(error.to_string().starts_with(&begins), "{error}");
}

#[test]
fn an_address_without_a_port_gets_that_of_modbus() {
    assert_eq!(with_port("192.0.2.7"), "192.0.2.7:502");
    assert_eq!(with_port("roof.example:1502"), "roof.example:1502");
    assert_eq!(with_port("2001:db8::7"), "[2001:db8::7]:502");
    assert_eq!(with_port("[2001:db8::7]:1502"), "[2001:db8::7]:1502");
    assert_eq!(with_port("[2001:db8::7]"), "[2001:db8::7]:502");
}
