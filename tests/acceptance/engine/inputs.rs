//! Open strings and dead inputs by their operating curves: light to detection, by size and by what
//! shows the light.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::play;
use analysis::detect::{Gate, Kind, Slot};
use analysis::diagnose::Finding;
use analysis::reading::{Span, Time};
use tests::plant::{NORTH, Period, START, Shape, Strings, WEST, What, World};

/// By when the design wants them found [min of valid light].
const STRING_OPEN_WITHIN_MIN: i64 = 30;
const INPUT_DEAD_WITHIN_MIN: i64 = 15;
/// The fault comes at eleven on a day that is nearly clear.
const FAULT_HOUR: f64 = 11.0;

/// What shows the light beside the input itself.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Seen {
    SensorAndSiblings,
    Sensor,
    Siblings,
    /// One input in another plane, and the clear sky.
    OtherPlane,
}

const ALL: [Seen; 4] = [
    Seen::SensorAndSiblings,
    Seen::Sensor,
    Seen::Siblings,
    Seen::OtherPlane,
];

fn shape(parallel: u8, seen: Seen) -> Shape {
    let north = Strings {
        parallel,
        modules: 16,
        plane: NORTH,
    };
    let west = Strings {
        plane: WEST,
        ..north
    };
    let inputs = match seen {
        Seen::SensorAndSiblings | Seen::Siblings => vec![north; 3],
        Seen::Sensor | Seen::OtherPlane => vec![north, west],
    };
    let sensor = matches!(seen, Seen::SensorAndSiblings | Seen::Sensor).then_some(NORTH);
    // Large enough that nothing is held back.
    let rated_w = 8000.0 * f64::from(parallel) * inputs.len() as f64;
    Shape {
        inverters: vec![(rated_w, inputs)],
        sensor,
        every: Span::from_min(1),
    }
}

fn fault_at(day: i64) -> Time {
    START + Span::from_h(24 * day) + Span::from_min((60.0 * FAULT_HOUR) as i64)
}

/// What is told when so many of so many strings open on a day and stay open to the end of the next.
fn open_strings(count: u8, parallel: u8, seen: Seen, day: i64) -> Told {
    let input = (0, 0);
    let fault = Period::new((day, FAULT_HOUR), (day + 2, 0.0));
    let world = World {
        cloudiness: vec![0.1, 0.15],
        ..World::fair()
    };
    let world = world.with(fault, What::StringsOpen { input, count });
    let (plant, polls) = play(&shape(parallel, seen), world, day + 2);
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

/// Minutes of valid light from the fault until a finding of this kind on the input.
fn valid_min(told: &Told, kind: Kind, day: i64) -> Option<i64> {
    let on_input = told.of(kind).into_iter().find(|f| is_on_first_input(f));
    let found = on_input?.found;
    let valid = |slot: &&Slot| {
        let after = slot.start >= fault_at(day) && slot.start < found;
        after && slot.inverters[0].inputs[0].gate == Gate::Valid
    };
    let slots = told.slots.iter().filter(valid);
    Some(slots.map(|slot| slot.span.ms() / 60_000).sum())
}

fn is_on_first_input(finding: &Finding) -> bool {
    finding.subject.input == Some(1)
}

/// Everything on the input that is not the fault itself is wrong.
fn assert_nothing_else(told: &Told, kind: Kind, label: &str) {
    let others = told
        .findings
        .values()
        .filter(|f| f.kind != kind || !is_on_first_input(f));
    assert_eq!(others.count(), 0, "{label}:\n{}", told.list());
}

/// Where one open string of n is told later than the design wants: from this n on.
///
/// Measured after a day of calibration: 30 min for all n, but 1 of 8 by another plane not by the end of
/// the next day. On the first day, by the datasheet alone: beside siblings and a sensor 1 of 8 after
/// 260 min, by another plane 1 of 6 after 40 and 1 of 7 after 655 min; by the sensor alone 1 of 5 to 8
/// and by another plane 1 of 8 not by the end of the next day.
const LATE_FROM: [[(Seen, u8); 4]; 2] = [
    [
        (Seen::SensorAndSiblings, 8),
        (Seen::Sensor, 5),
        (Seen::Siblings, 9),
        (Seen::OtherPlane, 6),
    ],
    [
        (Seen::SensorAndSiblings, 9),
        (Seen::Sensor, 9),
        (Seen::Siblings, 9),
        (Seen::OtherPlane, 8),
    ],
];

fn assert_one_of_n_is_told(day: i64) {
    println!("day {day}: minutes of valid light until one open string of n is told");
    println!("n  {ALL:?}");
    for n in 2..=8 {
        let minutes = ALL.map(|seen| {
            let told = open_strings(1, n, seen, day);
            let label = format!("1 of {n}, {seen:?}, day {day}");
            assert_nothing_else(&told, Kind::StringOpen, &label);
            valid_min(&told, Kind::StringOpen, day)
        });
        println!("{n}  {minutes:?}");
        for ((seen, late_from), minutes) in LATE_FROM[day as usize].into_iter().zip(minutes) {
            let in_time = minutes.is_some_and(|m| m <= STRING_OPEN_WITHIN_MIN);
            assert!(
                in_time || n >= late_from,
                "1 of {n}, {seen:?}, day {day}: {minutes:?}"
            );
        }
    }
}

#[test]
fn one_open_string_of_n_after_a_day_of_calibration() {
    assert_one_of_n_is_told(1);
}

#[test]
fn one_open_string_of_n_on_the_first_day() {
    assert_one_of_n_is_told(0);
}

#[test]
fn a_dead_input_is_told_within_a_quarter_of_an_hour_of_light() {
    for (parallel, seen) in [1, 4].into_iter().flat_map(|n| ALL.map(|seen| (n, seen))) {
        let label = format!("{parallel} strings, {seen:?}");
        let told = open_strings(parallel, parallel, seen, 0);
        let minutes = valid_min(&told, Kind::InputDead, 0);
        println!("{label}: {minutes:?}");
        assert!(
            minutes.is_some_and(|m| m <= INPUT_DEAD_WITHIN_MIN),
            "{label} {minutes:?}"
        );
        assert_nothing_else(&told, Kind::InputDead, &label);
    }
}
