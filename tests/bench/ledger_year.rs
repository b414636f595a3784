//! Times the ledger, the figures and the capacity over a year of slots, one after the other, and
//! says how much memory the process took at most: no year is held.
//!
//!     cargo run --release -p noonmark-tests --example ledger_year

use analysis::detect::{Gate, InputSlot, InverterSlot, PlaneSlot, Slot};
use analysis::expected::{InputExpected, WeatherRung};
use analysis::ledger::{CapacityTest, Hours, Performance};
use analysis::reading::{Current, Irradiance, Power, Span, Speed, Temperature, Voltage};
use std::time::Instant;
use tests::plant::{START, plant, two_inverters};

const SLOT: Span = Span::from_min(5);
const SLOTS: i64 = 365 * 288;

fn main() {
    let plant = plant(&two_inverters());
    let mut hours = Hours::new(&plant, &[]);
    let mut performance = Performance::new(&plant);
    let mut capacity = CapacityTest::new(&plant);
    let begun = Instant::now();
    let mut entries = 0;
    for n in 0..SLOTS {
        let slot = slot(n);
        entries += hours.add(&slot).len();
        performance.add(&slot);
        capacity.add(&slot);
    }
    entries += hours.finish().len();
    let rows = performance.figures().len();
    let seconds = begun.elapsed().as_secs_f64();
    println!("{SLOTS} slots, {entries} hours, {rows} rows of figures: {seconds:.2} s");
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find(|line| line.starts_with("VmHWM"));
    println!("{}", peak.unwrap_or("memory is not told here"));
}

/// Light that rises and falls with the day; two inverters of three and two inputs.
fn slot(n: i64) -> Slot {
    let of_day = (n % 288) as f64 / 288.0;
    let light = (1000.0 * (std::f64::consts::TAU * (of_day - 0.25)).sin()).max(0.0);
    let amps = light / 50.0;
    let input = InputSlot {
        voltage: Some(Voltage::from_v(600.0)),
        current: Some(Current::from_a(0.97 * amps)),
        expected: Some(InputExpected {
            voltage: Voltage::from_v(600.0),
            current: Current::from_a(amps),
            sigma_voltage: Voltage::from_v(6.0),
            sigma_current: Current::from_a(0.5),
            sigma_power: Power::from_w(100.0),
        }),
        gate: if light > 100.0 {
            Gate::Valid
        } else {
            Gate::Dark
        },
        limit: None,
    };
    let inverter = |inputs: usize| InverterSlot {
        ac_power: Some(Power::from_w(560.0 * amps * inputs as f64)),
        expected_ac_power: Some(Power::from_w(580.0 * amps * inputs as f64)),
        shade_ac_power: None,
        limit: None,
        producing: Some(light > 20.0),
        inputs: vec![input; inputs],
    };
    let plane = PlaneSlot {
        poa: Some((Irradiance::from_w_m2(light), WeatherRung::PlaneSensor)),
        cell: Some(Temperature::from_degc(20.0 + light / 40.0)),
    };
    Slot {
        start: START + SLOT * n,
        span: SLOT,
        air: Some(Temperature::from_degc(20.0)),
        wind: Some(Speed::from_m_s(2.0)),
        planes: vec![plane; 2],
        inverters: vec![inverter(3), inverter(2)],
    }
}
