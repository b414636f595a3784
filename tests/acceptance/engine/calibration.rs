//! What is learned follows drift, stops at a fault, and keeps what it was at the handover.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::play;
use analysis::detect::Kind;
use analysis::expected::{Known, Learned, LearnedOf, WeatherRung};
use analysis::reading::Span;
use tests::plant::{NORTH, Period, Shape, What, World, one_plane};

const DAYS: i64 = 45;

/// Three inputs of two strings in one plane, and a sensor in it.
fn shape(sensor: bool) -> Shape {
    one_plane(60_000.0, 3, sensor, Span::from_min(5))
}

fn told(sensor: bool, world: World) -> Told {
    let (plant, polls) = play(&shape(sensor), world, DAYS);
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

fn fair() -> World {
    World {
        cloudiness: vec![0.0, 0.3, 0.1, 0.6],
        ..World::fair()
    }
}

/// What was known at the end of a day; the first day already teaches something.
fn at(told: &Told, day: usize, of: LearnedOf) -> Learned {
    let mut days = told.learned.iter().filter(|learned| learned.of == of);
    *days
        .nth(day)
        .unwrap_or_else(|| panic!("{of:?} on day {day}"))
}

const LIGHT: LearnedOf = LearnedOf::Light(NORTH, WeatherRung::PlaneSensor);

fn holds(known: Known, wanted: f64, sigmas: f64) -> bool {
    (known.value - wanted).abs() <= sigmas * known.sigma
}

#[test]
fn the_gain_of_the_light_follows_a_sensor_that_drifts_and_keeps_the_handover() {
    const PER_DAY: f64 = 0.001;
    let world = World {
        sensor_drift_per_day: PER_DAY,
        ..fair()
    };
    let drifting = told(true, world);
    let steady = told(true, fair());
    assert!(drifting.findings.is_empty(), "{}", drifting.list());
    let light = at(&drifting, 43, LIGHT);
    // The sensor shows less and less, so that the plane gives more and more of what it shows; now
    // is the middle of the last thirty days.
    let wanted = at(&steady, 43, LIGHT).now.value / (1.0 - PER_DAY * 28.5);
    assert!(holds(light.now, wanted, 2.0), "{wanted}: {light:?}");
    assert_eq!(light.baseline, at(&drifting, 13, LIGHT).baseline);
    assert_eq!(light.baseline.days, 14);
}

#[test]
fn an_input_that_loses_current_slowly_or_at_once_is_told_and_not_learned() {
    let input = (0, 1);
    let world = fair().with(
        Period::new((20, 0.0), (DAYS, 0.0)),
        What::Dimmed(input, 0.94),
    );
    let told = told(true, world);
    let own = LearnedOf::Current(0, 1);
    let (before, after) = (at(&told, 19, own), at(&told, 43, own));
    assert_eq!(after.now, before.now, "frozen while it stands");
    let [low] = told.of(Kind::CurrentLow)[..] else {
        panic!("{}", told.list())
    };
    assert_eq!(low.subject.input, Some(2));
    assert_eq!(low.ended, None);
    assert_eq!(told.findings.len(), 1, "{}", told.list());
    // Its siblings and the plane stay what they were.
    for of in [LIGHT, LearnedOf::Current(0, 0)] {
        let known = at(&told, 43, of).now;
        assert!(holds(known, at(&told, 19, of).now.value, 3.0), "{known:?}");
    }
}

#[test]
fn an_error_of_the_air_sensor_is_learned_as_an_offset_of_the_cells() {
    let world = World {
        air_error_k: 5.0,
        ..fair()
    };
    let of = LearnedOf::CellOffset(NORTH);
    let (off, right) = (told(true, world), told(true, fair()));
    let apart = at(&off, 43, of).now.value - at(&right, 43, of).now.value;
    assert!((apart + 5.0).abs() < 0.5, "{apart} K");
}

#[test]
fn without_a_sensor_inputs_are_learned_beside_each_other() {
    let told = told(false, fair());
    assert!(told.findings.is_empty(), "{}", told.list());
    let gains = [0, 1, 2].map(|k| at(&told, 43, LearnedOf::Current(0, k)).now.value);
    let mean = gains.iter().sum::<f64>() / 3.0;
    assert!((mean - 1.0).abs() < 0.01, "{gains:?}");
    assert!(
        gains.iter().any(|gain| (gain - mean).abs() > 1e-4),
        "{gains:?}"
    );
}
