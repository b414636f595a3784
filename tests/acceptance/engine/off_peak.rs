//! Trackers away from their peaks, by operating curve: days to detection by size and side, and what
//! must not be taken for one.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::{ample_inverters, play, polls};
use analysis::detect::Kind;
use analysis::diagnose::Finding;
use analysis::plant::Plant;
use analysis::reading::{Span, Time};
use std::sync::Arc;
use tests::assert_close;
use tests::plant::{NORTH, Period, START, Shape, Strings, What, World, plant};

const EVERY: Span = Span::from_min(5);
/// Days before the fault, to calibrate, and day of the fault.
const ONSET: i64 = 4;
const DAYS: i64 = 7;

fn shape() -> Shape {
    Shape {
        every: EVERY,
        ..ample_inverters()
    }
}

fn at(day: i64) -> Time {
    START + Span::from_h(24 * day)
}

/// What is told of `plant` where `twin` is what stands there.
fn told(plant: &Plant, twin: Plant, world: World) -> Told {
    let (plant, twin) = (Arc::new(plant.clone()), Arc::new(twin));
    let polls = polls(&twin, world, DAYS, EVERY);
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

fn held(input: (usize, usize), ratio: f64, world: World) -> Told {
    let period = Period::new((ONSET, 0.0), (DAYS, 0.0));
    let plant = plant(&shape());
    let world = world.with(period, What::OffPeak(input, ratio));
    told(&plant, plant.clone(), world)
}

fn ac_wh(told: &Told) -> f64 {
    let slots = told.slots.iter().filter(|s| s.start >= at(ONSET));
    slots
        .filter_map(|s| Some((s.inverters[0].ac_power? * s.span).wh()))
        .sum()
}

#[test]
fn from_five_percent_on_either_side_it_is_told_on_the_first_day_with_what_it_costs() {
    // The calibration of four days, in what the input gives; and the first day's slots that could not
    // tell, in what it lost.
    const OF_ENERGY: f64 = 0.01;
    const OF_COST: f64 = 0.1;
    let free = told(&plant(&shape()), plant(&shape()), World::fair());
    let input_wh: f64 = {
        let slots = free.slots.iter().filter(|s| s.start >= at(ONSET));
        let input = slots.filter_map(|s| {
            let input = &s.inverters[0].inputs[0];
            Some((input.voltage? * input.current? * s.span).wh())
        });
        input.sum()
    };
    for ratio in [0.8, 0.88, 0.91, 1.06, 1.09, 1.12] {
        let told = held((0, 0), ratio, World::fair());
        let [off] = told.of(Kind::TrackerOffPeak)[..] else {
            panic!("{ratio}: {}", told.list());
        };
        let true_wh = ac_wh(&free) - ac_wh(&told);
        println!(
            "{ratio}: {:.1} % lost, {:.1} % said, after {:.1} h, {:.0} of {true_wh:.0} Wh",
            100.0 * true_wh / input_wh,
            100.0 * off.evidence["lost_along_curve_ratio"],
            (off.found - at(ONSET)).hours(),
            off.lost.wh()
        );
        assert!(off.found <= at(ONSET + 1), "{}", told.list());
        assert!(off.began >= at(ONSET), "{}", told.list());
        assert_eq!(told.alarms().len(), 1, "{}", told.list());
        let bound = OF_ENERGY * input_wh + OF_COST * true_wh;
        assert_close!(off.lost.wh(), true_wh, bound, off.summary);
    }
}

#[test]
fn without_a_sensor_it_is_told_right_of_the_peak_and_left_of_it_not_decided() {
    let plant = plant(&Shape {
        sensor: None,
        ..shape()
    });
    let told_at = |ratio| {
        let period = Period::new((ONSET, 0.0), (DAYS, 0.0));
        let world = World::fair().with(period, What::OffPeak((0, 0), ratio));
        told(&plant, plant.clone(), world)
    };
    let right = told_at(1.12);
    let off = right.of(Kind::TrackerOffPeak);
    assert_eq!(off.len(), 1, "{}", right.list());
    assert!(off[0].found <= at(ONSET + 1), "{}", right.list());
    // Light that the inputs show follows the current that is a little higher there.
    let left = told_at(0.88);
    assert!(left.alarms().is_empty(), "{}", left.list());
}

#[test]
fn it_ends_when_the_inverter_was_restarted() {
    let period = Period::new((ONSET, 0.0), (ONSET + 1, 11.0));
    let plant = plant(&shape());
    let world = World::fair().with(period, What::OffPeak((0, 1), 0.88));
    let told = told(&plant, plant.clone(), world);
    let [off] = told.of(Kind::TrackerOffPeak)[..] else {
        panic!("{}", told.list());
    };
    let ended = off.ended.expect("it was put right");
    let late = ended - period.to;
    assert!(
        late <= Span::from_min(10) && period.to - ended <= Span::from_h(1),
        "{}",
        told.list()
    );
}

/// The sibling of an input that is off its peak has nothing to be held against, day after day.
#[test]
fn an_input_off_its_peak_is_no_witness_against_its_sibling() {
    const DAYS: i64 = 14;
    let strings = Strings {
        parallel: 1,
        modules: 16,
        plane: NORTH,
    };
    let two = Shape {
        inverters: vec![(20_000.0, vec![strings; 2])],
        sensor: Some(NORTH),
        every: EVERY,
    };
    for ratio in [0.88, 1.09] {
        let period = Period::new((ONSET, 0.0), (DAYS, 0.0));
        let world = World::fair().with(period, What::OffPeak((0, 0), ratio));
        let (plant, polls) = play(&two, world, DAYS);
        let told = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
        assert_eq!(told.of(Kind::TrackerOffPeak).len(), 1, "{}", told.list());
        let of_other = |f: &&Finding| f.subject.input == Some(2);
        assert_eq!(
            told.findings.values().filter(of_other).count(),
            0,
            "{}",
            told.list()
        );
    }
}

#[test]
fn what_costs_next_to_nothing_or_passes_is_none() {
    for ratio in [0.98, 1.02] {
        let told = held((0, 0), ratio, World::fair());
        assert!(told.alarms().is_empty(), "{ratio}: {}", told.list());
    }
    // Two hours of a morning, each day.
    let mut world = World::fair();
    for day in 0..DAYS {
        let period = Period::new((day, 8.0), (day, 10.0));
        world = world.with(period, What::OffPeak((0, 0), 1.1));
    }
    let plant = plant(&shape());
    let told = told(&plant, plant.clone(), world);
    assert!(told.of(Kind::TrackerOffPeak).is_empty(), "{}", told.list());
}

#[test]
fn modules_that_are_missing_and_heat_that_is_not_known_are_no_tracker() {
    for fewer in [1, 2] {
        let mut twin = plant(&shape());
        for string in &mut twin.inverters[0].inputs[0].strings {
            string.count -= fewer;
        }
        let told = told(&plant(&shape()), twin, World::fair());
        assert!(told.of(Kind::TrackerOffPeak).is_empty(), "{}", told.list());
    }
    for kelvin in [-15.0, 15.0] {
        let world = World {
            air_error_k: kelvin,
            ..World::fair()
        };
        let told = told(&plant(&shape()), plant(&shape()), world);
        assert!(told.of(Kind::TrackerOffPeak).is_empty(), "{}", told.list());
    }
}

#[test]
fn limits_that_are_not_published_are_no_tracker() {
    let noon = |day| Period::new((day, 8.0), (day, 16.0));
    let mut world = World::fair();
    for day in 0..DAYS {
        world = world
            .with(noon(day), What::HeldBack(0, 0.5))
            .with(noon(day), What::HeldBack(1, 0.75));
    }
    let told = told(&plant(&shape()), plant(&shape()), world);
    assert!(told.of(Kind::TrackerOffPeak).is_empty(), "{}", told.list());
}
