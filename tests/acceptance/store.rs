//! The store through its front door: what goes in comes out, also after a restart, a changed site
//! file, damage, and with a file of a newer version.
//! Kind of truth: property.

#[path = "store/any.rs"]
mod any;
#[path = "store/history.rs"]
mod history;
#[path = "store/known.rs"]
mod known;
#[path = "store/opening.rs"]
mod opening;

use analysis::array::Limit;
use analysis::detect::{Gate, InputSlot, InverterSlot, Kind, PlaneSlot, Slot};
use analysis::diagnose::{Evidence, Finding, FindingId, Subject};
use analysis::expected::WeatherRung;
use analysis::reading::{
    Channel, ChannelId, ChannelTable, DeviceId, Energy, Irradiance, Power, Reading, Span, Speed,
    Temperature, Time, Value, Voltage,
};
use daemon::store::{EngineState, Layout, Step, Store};
use std::path::{Path, PathBuf};

const BEGINNING: Time = Time::from_unix_ms(i64::MIN);
const END: Time = Time::from_unix_ms(i64::MAX);
const SLOT: Span = Span::from_min(5);

fn channels(addresses: &[&str]) -> ChannelTable {
    let parsed = addresses.iter().map(|a| a.parse::<Channel>());
    ChannelTable::new(parsed.map(|channel| channel.expect("valid address")))
}

/// Two planes, an inverter with two inputs and one with one.
fn layout() -> Layout {
    Layout {
        planes: vec!["east".to_owned(), "west".to_owned()],
        inverters: vec![
            (DeviceId::new("inv-1"), vec![1, 2]),
            (DeviceId::new("inv-2"), vec![1]),
        ],
        channels: channels(&["inv-1/ac_power_w", "inv-2/ac_power_w", "roof/poa_w_m2"]),
    }
}

fn state(bytes: &[u8]) -> EngineState {
    EngineState {
        version: 1,
        bytes: bytes.to_vec(),
    }
}

fn commit(store: &mut Store, readings: &[Reading], slots: &[Slot], findings: &[Finding]) {
    let state = state(b"state");
    let step = Step {
        readings,
        slots,
        findings,
        ..Step::nothing(&state)
    };
    store.commit(&step).expect("the step fits the plant");
}

fn reading(channel: u16, at_ms: i64, value: Value) -> Reading {
    Reading {
        channel: ChannelId(channel),
        at: Time::from_unix_ms(at_ms),
        value,
    }
}

fn readings(store: &Store, channel: u16) -> Vec<Reading> {
    let readings = store.readings(ChannelId(channel), BEGINNING, END);
    readings.expect("readings read")
}

/// A slot of `layout()` whose every measured value tells where it belongs.
fn slot(start: Time) -> Slot {
    let plane = |poa| PlaneSlot {
        poa: Some((Irradiance::from_w_m2(poa), WeatherRung::HorizontalOnly)),
        cell: None,
    };
    let input = |v| InputSlot {
        voltage: Some(Voltage::from_v(v)),
        current: None,
        expected: None,
        gate: Gate::Limited,
        limit: Some(Limit::InputCurrent),
    };
    let inverter = |w, inputs: &[f64]| InverterSlot {
        ac_power: Some(Power::from_w(w)),
        expected_ac_power: None,
        shade_ac_power: None,
        limit: Some(Limit::Command),
        producing: Some(w > 15.0),
        inputs: inputs.iter().copied().map(input).collect(),
    };
    Slot {
        start,
        span: SLOT,
        air: Some(Temperature::from_degc(21.0)),
        wind: Some(Speed::from_m_s(3.0)),
        planes: vec![plane(100.0), plane(200.0)],
        inverters: vec![inverter(10.0, &[11.0, 12.0]), inverter(20.0, &[21.0])],
    }
}

fn finding(began: Time) -> Finding {
    let subject = Subject {
        device: DeviceId::new("inv-1"),
        input: Some(1),
        string: None,
    };
    Finding {
        id: FindingId::new(&subject, Kind::InputDead, began),
        subject,
        kind: Kind::InputDead,
        severity: Kind::InputDead.severity(),
        began,
        found: began + SLOT,
        ended: None,
        confidence: 0.9,
        causes: Vec::new(),
        evidence: Evidence::new(),
        lost: Energy::from_wh(10.0),
        summary: "no current".to_owned(),
        advice: Vec::new(),
        caution: Vec::new(),
    }
}

fn path(dir: &tempfile::TempDir) -> PathBuf {
    dir.path().join("site.sqlite")
}

fn open(path: &Path, layout: &Layout) -> Store {
    let opened = Store::open(path, layout).expect("the store opens");
    assert_eq!(opened.set_aside, None);
    opened.store
}
