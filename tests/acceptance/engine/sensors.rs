//! A sensor that shows what cannot be true gives way to the next rung of the ladder, slot by slot,
//! and neither breaks a healthy array nor hides a broken one.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::play;
use analysis::detect::{Kind, Slot};
use analysis::expected::WeatherRung;
use analysis::reading::Span;
use tests::plant::{NORTH, Period, START, Shape, Strings, What, World};

const DAYS: i64 = 3;
/// The sensor is wrong from nine to five on the second day.
const WRONG: (f64, f64) = (9.0, 17.0);

fn told(world: World) -> Told {
    let strings = Strings {
        parallel: 2,
        modules: 16,
        plane: NORTH,
    };
    // Large enough that nothing is held back.
    let shape = Shape {
        inverters: vec![(60_000.0, vec![strings; 3])],
        sensor: Some(NORTH),
        every: Span::from_min(1),
    };
    let (plant, polls) = play(&shape, world, DAYS);
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

fn fair() -> World {
    World {
        cloudiness: vec![0.1],
        ..World::fair()
    }
}

fn wrong(shown_w_m2: f64) -> World {
    let hours = Period::new((1, WRONG.0), (1, WRONG.1));
    fair().with(hours, What::SensorShows(shown_w_m2))
}

/// Rungs of the plane with the sensor, over an hour of the day.
fn rungs(told: &Told, day: i64, hour: i64) -> Vec<WeatherRung> {
    let from = START + Span::from_h(24 * day + hour);
    let in_hour = |slot: &&Slot| slot.start >= from && slot.start < from + Span::from_h(1);
    let slots = told.slots.iter().filter(in_hour);
    slots
        .filter_map(|slot| Some(slot.planes[NORTH].poa?.1))
        .collect()
}

#[test]
fn a_sensor_at_zero_at_a_fixed_number_or_beyond_the_sun_is_not_believed() {
    for (shown, kind) in [
        (0.0, Kind::SensorWrong),
        (12.0, Kind::SensorWrong),
        (640.0, Kind::ValueFrozen),
        (1950.0, Kind::ValueImpossible),
    ] {
        let told = told(wrong(shown));
        let [found] = told.of(kind)[..] else {
            panic!("{shown}:\n{}", told.list());
        };
        assert_eq!(told.findings.len(), 1, "{shown}:\n{}", told.list());
        let from = START + Span::from_h(24 + 9);
        assert!(
            found.found - from <= Span::from_min(61),
            "{shown}:\n{}",
            told.list()
        );
        let wrong = rungs(&told, 1, 12);
        let others = wrong.iter().filter(|r| **r != WeatherRung::ScaledClearSky);
        assert_eq!((wrong.len(), others.count()), (12, 0), "{shown}: {wrong:?}");
        for (day, hour) in [(1, 8), (1, 18), (2, 12)] {
            let right = rungs(&told, day, hour);
            let others = right.iter().filter(|r| **r != WeatherRung::PlaneSensor);
            assert_eq!(others.count(), 0, "{shown}, day {day}, {hour} h: {right:?}");
        }
    }
}

#[test]
fn a_string_that_opens_while_the_sensor_is_at_zero_is_told() {
    let open = What::StringsOpen {
        input: (0, 0),
        count: 1,
    };
    let told = told(wrong(0.0).with(Period::new((1, 11.0), (1, 16.0)), open));
    let [found] = told.of(Kind::StringOpen)[..] else {
        panic!("{}", told.list())
    };
    let fault = START + Span::from_h(24 + 11);
    assert!(found.found - fault <= Span::from_min(40), "{}", told.list());
    assert_eq!(told.of(Kind::SensorWrong).len(), 1, "{}", told.list());
    assert_eq!(told.findings.len(), 2, "{}", told.list());
}
