//! Healthy inverters whose meters, limits and weather look like faults of the inverter itself: clouds,
//! clipping, export limits, volt-watt, coarse registers, low light, winter.

use crate::drive::{Poll, account, end_of, one_by_one};
use analysis::detect::Kind;
use analysis::plant::{Plant, VoltWattPoint};
use analysis::reading::{Span, Voltage};
use std::sync::Arc;
use tests::plant::{Period, START, Shape, Twin, What, World, plant, two_inverters};

const EVERY: Span = Span::from_min(5);
const DAYS: i64 = 20;
/// Mid-June over the plant.
const WINTER: i64 = 217;

fn clipping() -> Plant {
    let mut shape = two_inverters();
    shape.inverters[1].0 = 8_000.0;
    shape.every = EVERY;
    plant(&shape)
}

fn clouds(seed: u64) -> World {
    World {
        seed,
        cloudiness: vec![0.0, 0.5, 0.9, 0.2, 1.0, 0.7],
        ..World::fair()
    }
}

fn assert_quiet(plant: Plant, world: World, first_day: i64, label: &str) {
    let plant = Arc::new(plant);
    let twin = Twin::new(plant.clone(), world);
    let start = START + Span::from_h(24 * first_day);
    let count = Span::from_h(24 * DAYS).ms() / EVERY.ms();
    let at = |n: i64| start + EVERY * n;
    let polls: Vec<Poll> = (0..count).map(|n| (at(n), twin.poll(at(n)))).collect();
    let told = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
    let own = [
        Kind::TrackerOffPeak,
        Kind::EfficiencyLow,
        Kind::ProtectionActed,
    ];
    for kind in own {
        assert!(told.of(kind).is_empty(), "{label}:\n{}", told.list());
    }
    let limited = told.of(Kind::Limited);
    assert!(limited.len() <= 10, "{label}:\n{}", told.list());
}

#[test]
fn clouds_and_clipping_are_no_fault_of_the_inverter() {
    for seed in 1..=3 {
        let label = format!("seed {seed}");
        assert_quiet(clipping(), clouds(seed), 0, &label);
    }
}

#[test]
fn winter_and_low_light_are_none() {
    let dim = World {
        cloudiness: vec![1.0, 0.8, 0.0],
        air_degc: 4.0,
        ..World::fair()
    };
    assert_quiet(clipping(), dim, WINTER, "winter");
}

#[test]
fn coarse_registers_are_none() {
    for steps in [(1.0, 0.1, 10.0), (10.0, 0.5, 100.0)] {
        let world = World {
            steps: Some(steps),
            ..clouds(4)
        };
        assert_quiet(clipping(), world, 0, &format!("steps {steps:?}"));
    }
}

#[test]
fn export_limits_told_and_untold_and_volt_watt_are_none() {
    let point = |v, power_ratio| VoltWattPoint {
        voltage: Voltage::from_v(v),
        power_ratio,
    };
    let mut plant = clipping();
    plant.site.grid_limits.volt_watt = vec![point(253.0, 1.0), point(260.0, 0.2)];
    let mut world = clouds(5);
    for day in 0..DAYS {
        let noon = Period::new((day, 9.5), (day, 14.5));
        world = match day % 4 {
            0 => world.with(noon, What::Commanded(0, 0.3)),
            1 => world.with(noon, What::SupplyHigher(16.0)),
            2 => world.with(noon, What::HeldBack(0, 0.35)),
            _ => world,
        };
    }
    assert_quiet(plant, world, 0, "limits");
}

#[test]
fn sensors_that_are_off_are_none() {
    for (ratio, kelvin) in [(0.94, 0.0), (1.06, 0.0), (1.0, 8.0), (1.0, -8.0)] {
        let world = World {
            sensor_ratio: ratio,
            air_error_k: kelvin,
            ..clouds(6)
        };
        let shape = Shape {
            every: EVERY,
            ..two_inverters()
        };
        assert_quiet(plant(&shape), world, 0, &format!("{ratio} {kelvin} K"));
    }
}
