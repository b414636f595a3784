//! Behaviour of the command against the project's own register server.

use super::*;
use crate::demo::{Registers, serve};
use crate::source::sunspec::{ModelImage, lay_out};
use analysis::reading::Quantity;
use std::collections::BTreeMap;
use tokio::net::TcpListener;

fn at(address: &str) -> Scan {
    Scan {
        at: Place::Tcp(address.to_owned()),
        units: 1..=1,
        wanted: Wanted::default(),
        points: false,
        map: None,
    }
}

async fn printed(image: BTreeMap<u16, u16>) -> String {
    let registers = Registers::new();
    registers.replace(1, image);
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
    let address = listener.local_addr().expect("bound").to_string();
    let server = tokio::spawn(serve(listener, registers, std::future::pending()));
    let mut out = Vec::new();
    scan(&at(&address), &mut out).await.expect("reachable");
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

/// What stands in model 120 has no channel; of 160 and 714 one is read.
#[tokio::test]
async fn every_point_is_shown_where_that_is_asked_for() {
    let mut nameplate = ModelImage::new(120, 0).expect("known");
    nameplate.number("WRtg", 3300.0).expect("fits");
    nameplate.scale("WRtg_SF", 1).expect("fits");
    let mut inputs = ModelImage::new(160, 1).expect("known");
    let first = Spot::Input(1);
    inputs.put(first, Quantity::DcVoltage, 612.3).expect("fits");
    let mut ports = ModelImage::new(714, 2).expect("known");
    ports.put(first, Quantity::DcVoltage, 611.9).expect("fits");
    let registers = Registers::new();
    registers.replace(1, lay_out(0, &[nameplate, inputs, ports]));
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
    let address = listener.local_addr().expect("bound").to_string();
    let server = tokio::spawn(serve(listener, registers, std::future::pending()));
    let wanted = Scan {
        points: true,
        ..at(&address)
    };
    let mut out = Vec::new();
    scan(&wanted, &mut out).await.expect("reachable");
    server.abort();
    let text = String::from_utf8(out).expect("text");
    let expected = "
models
    120  at     2  length   26  Nameplate (not read)
    160  at    30  length   28  Multiple MPPT Inverter Extension Model
    714  at    60  length   68  DER DC Measurement (not read: a repetition)
values
  input-1/dc_voltage_v               612.3
  input-1/dc_current_a               -
  input-1/dc_power_w                 -
points
  120/WRtg                           33000
  160/N                              1
  160/block 1/DCV                    612.3
  714/NPrt                           2
  714/block 1/DCV                    611.9
";
    assert!(text.ends_with(expected), "{text}");
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
        text.contains("  holding       22    fffc   65532      -4 "),
        "{text}"
    );
    assert!(
        text.contains("  input         20    fffa   65530      -6 "),
        "{text}"
    );
    // Title, three lines of explanation, heading, and two kinds of ten registers each.
    assert_eq!(text.lines().count(), 5 + 20);
}

/// 100000 as u32, -2 with the low register first, 812.5 as f32: each where it is plausible.
#[tokio::test]
async fn numbers_in_two_registers_stand_side_by_side() {
    let words = [0x0001, 0x86A0, 0xFFFE, 0xFFFF, 0x444B, 0x2000];
    let text = printed((0..).zip(words.into_iter().chain([0; 4])).collect()).await;
    let line = |address: usize| {
        let start = format!("  holding {address:>8} ");
        let line = text.lines().find(|line| line.starts_with(&start));
        let cells = line.expect("answers").split_whitespace();
        cells.skip(2).map(str::to_owned).collect::<Vec<_>>()
    };
    // hex, u16, i16, u32; with the low register first it is past 1e9.
    assert_eq!(line(0), ["0001", "1", "1", "100000"].map(str::to_owned));
    assert_eq!(
        line(2),
        ["fffe", "65534", "-2", "-65537", "-2"].map(str::to_owned)
    );
    assert_eq!(line(4)[3..], ["536888395", "812.500"].map(str::to_owned));
}

#[tokio::test]
async fn chosen_registers_are_shown_and_begin_a_map() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("device.toml");
    let registers = Registers::new();
    // A hole in the middle: its neighbours are shown all the same.
    let image = (1000..1020).filter(|a| *a != 1007).map(|a| (a, a));
    registers.replace(4, image.collect());
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
    let address = listener.local_addr().expect("bound").to_string();
    let server = tokio::spawn(serve(listener, registers, std::future::pending()));
    let wanted = Scan {
        units: 4..=4,
        wanted: Wanted {
            from: Some(1000),
            count: Some(20),
            kind: Some(RegisterKind::Input),
        },
        map: Some(path.clone()),
        ..at(&address)
    };
    let mut out = Vec::new();
    scan(&wanted, &mut out).await.expect("reachable");
    let text = String::from_utf8(out).expect("text");
    let shown = text
        .lines()
        .filter(|line| line.starts_with("  input "))
        .count();
    assert_eq!(shown, 1 + 19, "the explanation and the registers:\n{text}");
    let map = std::fs::read_to_string(&path).expect("written");
    assert_eq!(map.matches("# [[register]]").count(), 19);
    // Not finished, and it says so.
    let errors = config::registers::parse_map("device.toml", &map).expect_err("empty");
    assert!(
        errors.to_string().contains("register: found no such key"),
        "{errors}"
    );
    let filled = map
        .replacen(
            "# [[register]]\n# channel = \"FILL IN\"",
            "[[register]]\nchannel = \"ac_power_w\"",
            1,
        )
        .replacen("# function", "function", 2)
        .replacen("# address = ", "address = ", 1)
        .replacen("# type = \"FILL IN\"", "type = \"u16\"", 1)
        .replacen(
            "function = \"holding\"\n# from",
            "# function = \"holding\"\n# from",
            1,
        );
    // The check names what is left; here it is the name of the device.
    let left = config::registers::parse_map("device.toml", &filled).expect_err("no name yet");
    let left: Vec<&str> = left.problems().iter().map(|p| p.path.as_str()).collect();
    assert_eq!(left, ["name"]);
    let filled = filled.replacen("name = \"FILL IN\"", "name = \"Meter\"", 1);
    let map = config::registers::parse_map("device.toml", &filled).expect("one register filled in");
    assert_eq!(map.registers[0].address, 1000);
    // A second scan does not overwrite what has been filled in.
    let error = scan(&wanted, &mut Vec::new())
        .await
        .expect_err("it is there");
    assert_eq!(error.exit_code(), 73);
    server.abort();
}

#[tokio::test]
async fn units_that_do_not_answer_are_told_and_the_others_shown() {
    let registers = Registers::new();
    registers.replace(2, (0..20).map(|a| (a, a)).collect());
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
    let address = listener.local_addr().expect("bound").to_string();
    let server = tokio::spawn(serve(listener, registers, std::future::pending()));
    let wanted = Scan {
        units: 1..=3,
        ..at(&address)
    };
    let mut out = Vec::new();
    scan(&wanted, &mut out).await.expect("unit 2 answers");
    let text = String::from_utf8(out)
        .expect("text")
        .replace(&address, "ADDRESS");
    assert!(
        text.contains("ADDRESS, unit 2: no SunSpec models\n"),
        "{text}"
    );
    for unit in [1, 3] {
        let line = format!(
            "ADDRESS, unit {unit}: read holding registers 40000-40001: the device refused with exception 11"
        );
        assert!(text.contains(&line), "{text}");
    }
    let nobody = Scan {
        units: 7..=8,
        ..at(&address)
    };
    let error = scan(&nobody, &mut Vec::new()).await.expect_err("nobody");
    assert_eq!(error.exit_code(), 69);
    assert!(
        error
            .to_string()
            .starts_with(&format!("scan {address}, units 7 to 8: ")),
        "{error}"
    );
    server.abort();
}

#[tokio::test]
async fn nobody_there_is_exit_code_69() {
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
    let address = listener.local_addr().expect("bound").to_string();
    drop(listener);
    let error = scan(&at(&address), &mut Vec::new()).await;
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
