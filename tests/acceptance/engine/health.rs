//! Thirty days of a healthy plant, with everything that looks like a fault and is none.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::play;
use analysis::reading::Span;
use tests::plant::{Period, Shape, What, World, two_inverters};

const DAYS: i64 = 30;

/// Clouds of every kind, an export limit on some days, and an inverter that clips every clear noon.
fn healthy() -> World {
    let mut world = World {
        cloudiness: vec![0.0, 0.3, 0.7, 0.1, 1.0, 0.5, 0.2],
        ..World::fair()
    };
    for day in (0..DAYS).step_by(5) {
        let hours = Period::new((day, 9.0), (day, 15.5));
        world = world
            .with(hours, What::Commanded(0, 0.4))
            .with(hours, What::Commanded(1, 0.0));
    }
    world
}

/// The second inverter clips: its rating is about two thirds of its array's.
fn shape() -> Shape {
    let mut shape = two_inverters();
    shape.inverters[1].0 = 12_000.0 * 2.0 / 3.0;
    shape.every = Span::from_min(2);
    shape
}

fn told(shape: &Shape, world: World) -> Told {
    let (plant, polls) = play(shape, world, DAYS);
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

fn assert_quiet(shape: &Shape, world: World, label: &str) {
    let told = told(shape, world);
    assert!(told.alarms().is_empty(), "{label}:\n{}", told.list());
}

#[test]
fn a_healthy_month_with_a_sensor_is_quiet() {
    assert_quiet(&shape(), healthy(), "true sensors");
}

#[test]
fn a_healthy_month_without_a_sensor_is_quiet() {
    let shape = Shape {
        sensor: None,
        ..shape()
    };
    assert_quiet(&shape, healthy(), "no sensor");
}

#[test]
fn sensors_that_are_off_do_not_break_the_array() {
    for (ratio, kelvin) in [
        (1.03, 0.0),
        (0.97, 0.0),
        (1.0, 4.0),
        (1.0, -4.0),
        (1.03, 4.0),
    ] {
        let world = World {
            sensor_ratio: ratio,
            air_error_k: kelvin,
            ..healthy()
        };
        assert_quiet(&shape(), world, &format!("sensor {ratio}, air {kelvin} K"));
    }
}

#[test]
fn inverters_that_sleep_in_silence_are_healthy() {
    let world = World {
        answers_at_night: false,
        ..healthy()
    };
    assert_quiet(&shape(), world, "silent nights");
}
