//! A store that was made for the tests: some days of the demo's plant with one open string.

use super::site;
use analysis::detect::{Gate, InputSlot, InverterSlot, Kind, PlaneSlot, Slot};
use analysis::diagnose::{Cause, Finding, FindingId, Subject};
use analysis::expected::{InputExpected, WeatherRung};
use analysis::plant::Plant;
use analysis::reading::{
    Current, Energy, Irradiance, Power, Span, Speed, Temperature, Time, Voltage,
};
use daemon::store::{EngineState, Layout, Step, Store};
use std::path::{Path, PathBuf};

/// 10 November 2026, 00:00 at Melbourne.
const START: Time = Time::from_unix_ms(1_794_229_200_000);
const SLOT: Span = Span::from_min(5);

/// A store of so many days with one open string, and one that was mended.
pub fn store(folder: &Path, days: i64) -> PathBuf {
    store_of(folder, days, &[(1, None), (0, Some(1))])
}

/// A store of so many days with strings that opened on a day, until another.
pub fn store_of(folder: &Path, days: i64, open: &[(i64, Option<i64>)]) -> PathBuf {
    let plant = config::load(&site()).expect("a right site file").plant;
    let path = folder.join("noonmark.sqlite");
    let mut store = Store::open(&path, &Layout::of(&plant))
        .expect("a store")
        .store;
    let slots: Vec<Slot> = (0..288 * days).map(|n| slot(&plant, n)).collect();
    let state = EngineState {
        version: 1,
        bytes: Vec::new(),
    };
    let open = open.iter().map(|(day, end)| finding(&plant, *day, *end));
    let step = Step {
        slots: &slots,
        findings: &open.collect::<Vec<_>>(),
        ..Step::nothing(&state)
    };
    store.commit(&step).expect("room on the disk");
    path
}

fn slot(plant: &Plant, n: i64) -> Slot {
    let of_day = (n % 288) as f64 / 288.0;
    let light = (1000.0 * (std::f64::consts::TAU * (of_day - 0.25)).sin()).max(0.0);
    let lit = light > 100.0;
    let input = InputSlot {
        voltage: Some(Voltage::from_v(600.0)),
        current: Some(Current::from_a(light / 100.0)),
        expected: lit.then(|| InputExpected {
            voltage: Voltage::from_v(605.0),
            current: Current::from_a(light / 90.0),
            sigma_voltage: Voltage::from_v(6.0),
            sigma_current: Current::from_a(0.3),
            sigma_power: Power::from_w(100.0),
        }),
        gate: if lit { Gate::Valid } else { Gate::Dark },
        limit: None,
    };
    let inverter = |inverter: &analysis::plant::Inverter| InverterSlot {
        ac_power: Some(Power::from_w(8.0 * light)),
        expected_ac_power: Some(Power::from_w(9.0 * light)),
        shade_ac_power: None,
        limit: None,
        producing: Some(lit),
        inputs: vec![input; inverter.inputs.len()],
    };
    let plane = PlaneSlot {
        poa: Some((Irradiance::from_w_m2(light), WeatherRung::PlaneSensor)),
        cell: Some(Temperature::from_degc(30.0)),
    };
    Slot {
        start: START + SLOT * n,
        span: SLOT,
        air: Some(Temperature::from_degc(20.0)),
        wind: Some(Speed::from_m_s(2.0)),
        planes: vec![plane; plant.planes.len()],
        inverters: plant.inverters.iter().map(inverter).collect(),
    }
}

/// On the first input, from a day at ten to another.
fn finding(plant: &Plant, day: i64, end: Option<i64>) -> Finding {
    let at = |day: i64| START + Span::from_h(24 * day + 10);
    let subject = Subject::input(&plant.inverters[0].id, 1);
    Finding {
        id: FindingId::new(&subject, Kind::StringOpen, at(day)),
        subject,
        kind: Kind::StringOpen,
        severity: Kind::StringOpen.severity(),
        began: at(day),
        found: at(day) + Span::from_min(30),
        ended: end.map(at),
        confidence: 0.97,
        causes: vec![Cause {
            cause: "one <string> & its fuse".to_owned(),
            probability: 0.9,
        }],
        evidence: [("current_ratio".to_owned(), 0.5)].into(),
        lost: Energy::from_wh(1234.0),
        summary: "Half of the \"current\" is missing <b>here</b>.".to_owned(),
        advice: vec!["Look & see.".to_owned()],
        caution: vec!["PV strings are live.".to_owned()],
    }
}
