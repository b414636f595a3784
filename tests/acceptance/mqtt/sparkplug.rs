//! Devices that speak Sparkplug B: births, data by aliases, quality, gaps and deaths.
//!
//! Kind of truth: reference for the payload (its published definition, written here apart from the program's own).

use crate::Site;
use analysis::reading::Value;
use prost::Message;
use tests::broker::{Access, Broker};

#[derive(Clone, PartialEq, Message)]
struct Payload {
    #[prost(uint64, tag = "1")]
    timestamp: u64,
    #[prost(message, repeated, tag = "2")]
    metrics: Vec<Metric>,
    #[prost(uint64, optional, tag = "3")]
    seq: Option<u64>,
}

#[derive(Clone, PartialEq, Message)]
struct Metric {
    #[prost(string, optional, tag = "1")]
    name: Option<String>,
    #[prost(uint64, optional, tag = "2")]
    alias: Option<u64>,
    #[prost(uint32, optional, tag = "4")]
    datatype: Option<u32>,
    #[prost(message, optional, tag = "9")]
    properties: Option<Properties>,
    #[prost(uint32, optional, tag = "10")]
    int: Option<u32>,
    #[prost(float, optional, tag = "12")]
    float: Option<f32>,
}

#[derive(Clone, PartialEq, Message)]
struct Properties {
    #[prost(string, repeated, tag = "1")]
    keys: Vec<String>,
    #[prost(message, repeated, tag = "2")]
    values: Vec<Property>,
}

#[derive(Clone, PartialEq, Message)]
struct Property {
    #[prost(uint32, optional, tag = "1")]
    kind: Option<u32>,
    #[prost(uint32, optional, tag = "3")]
    int: Option<u32>,
}

/// What a sender says of a value (0 bad, 192 good, 500 stale), as a whole number with sign.
fn quality(code: u32) -> Option<Properties> {
    Some(Properties {
        keys: vec!["Quality".to_owned()],
        values: vec![Property {
            kind: Some(3),
            int: Some(code),
        }],
    })
}

fn sparkplug(seq: Option<u64>, metrics: Vec<Metric>) -> Vec<u8> {
    let now = daemon::clock::Clock::System.now();
    let timestamp = now.unix_ms() as u64;
    Payload {
        timestamp,
        metrics,
        seq,
    }
    .encode_to_vec()
}

#[test]
fn a_sparkplug_device_is_born_reports_by_aliases_and_dies() {
    const INT16: u32 = 2;
    const FLOAT: u32 = 9;
    let broker = Broker::start(Access::Everybody);
    let site = Site::new(&broker, "");
    let mut program = site.start_connected();
    let light = |w_m2| Metric {
        alias: Some(1),
        float: Some(w_m2),
        ..Metric::default()
    };
    let air = |tenths: i16| Metric {
        alias: Some(2),
        int: Some(u32::from(tenths as u16)),
        ..Metric::default()
    };
    let named = |metric, name: &str, kind| Metric {
        name: Some(name.to_owned()),
        datatype: Some(kind),
        ..metric
    };
    broker.publish(
        "spBv1.0/wharf/DDATA/gate/mast",
        &sparkplug(Some(7), vec![light(1.0)]),
        false,
    );
    program.wait_for_line("waiting for the next birth");
    broker.publish(
        "spBv1.0/wharf/NBIRTH/gate",
        &sparkplug(Some(0), vec![]),
        false,
    );
    let born = vec![
        named(light(640.5), "Light/Plane", FLOAT),
        named(air(215), "Air/Temperature", INT16),
    ];
    broker.publish(
        "spBv1.0/wharf/DBIRTH/gate/mast",
        &sparkplug(Some(1), born),
        false,
    );
    site.wait_for("mast/poa_w_m2", Value::Good(640.5));
    let data = sparkplug(Some(4), vec![light(641.5), air(-15)]);
    broker.publish("spBv1.0/wharf/DDATA/gate/mast", &data, false);
    let line = program.wait_for_line("messages before this one are missing");
    assert!(
        line.contains("wanted=2") && line.contains("found=4"),
        "{line}"
    );
    site.wait_for("mast/air_temperature_degc", Value::Good(-1.5));
    let broken = Metric {
        properties: quality(0),
        ..light(1500.0)
    };
    let mended = Metric {
        properties: quality(192),
        ..light(642.5)
    };
    for (seq, metric) in [(5, broken), (6, mended)] {
        let data = sparkplug(Some(seq), vec![metric]);
        broker.publish("spBv1.0/wharf/DDATA/gate/mast", &data, false);
    }
    site.wait_for("mast/poa_w_m2", Value::Good(642.5));
    broker.publish("spBv1.0/wharf/NDEATH/gate", &sparkplug(None, vec![]), false);
    site.wait_for("mast/poa_w_m2", Value::Missing);
    program.terminate();
    assert_eq!(
        site.stored("mast/poa_w_m2"),
        [
            Value::Good(640.5),
            Value::Good(641.5),
            Value::Faulty(Some(1500.0)),
            Value::Good(642.5),
            Value::Missing
        ]
    );
}
