//! Trips that return, through the whole engine: which class, how often, at which hours, of the whole
//! site or of one inverter, and when it is over.
//! Rules: REFERENCE E.4, engineering judgement there.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::play;
use analysis::detect::{Kind, Severity};
use analysis::diagnose::Finding;
use analysis::plant::EventBit;
use analysis::reading::Span;
use tests::assert_close;
use tests::plant::{Period, START, Shape, What, World, two_inverters};

const OVER: EventBit = EventBit::AcOverVoltage;
const LOST: EventBit = EventBit::GridDisconnect;

/// Six minutes off at this hour of a day.
fn trip(world: World, who: usize, (day, hour): (i64, f64), bit: EventBit) -> World {
    let off = Period::new((day, hour), (day, hour + 0.1));
    world.with(off, What::Tripped(who, Some(bit)))
}

fn told(world: World, days: i64) -> Told {
    let shape = Shape {
        every: Span::from_min(1),
        ..two_inverters()
    };
    let (plant, polls) = play(&shape, world, days);
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

fn repeated(told: &Told) -> Vec<&Finding> {
    told.of(Kind::GridTripsRepeated)
}

fn number(finding: &Finding, name: &str) -> f64 {
    let numbers = &finding.evidence;
    *numbers
        .get(name)
        .unwrap_or_else(|| panic!("no {name} in {numbers:?}"))
}

#[test]
fn trips_on_two_days_of_seven_are_told_with_the_second_and_end_after_quiet_days() {
    let mut world = World::fair();
    for at in [(1, 12.0), (4, 12.5), (4, 13.5)] {
        world = trip(world, 0, at, OVER);
    }
    let told = told(world, 13);
    let [finding] = repeated(&told)[..] else {
        panic!("{}", told.list());
    };
    assert_eq!(finding.subject.device.as_str(), "inv-1");
    assert_eq!(finding.severity, Severity::Soon);
    assert_eq!(finding.causes[0].cause, "over-voltage");
    let minute = |day: i64, min: i64| START + Span::from_h(24 * day) + Span::from_min(min);
    assert_eq!(finding.began, minute(1, 720));
    assert_eq!(finding.found, minute(4, 756));
    // It ended with its last trip; that is known a week of production later.
    assert_eq!(finding.ended, Some(minute(4, 816)));
    assert_eq!(number(finding, "trips_in_7_days_count"), 3.0);
    assert_eq!(number(finding, "days_with_trips_count"), 2.0);
    assert_eq!(number(finding, "most_trips_in_a_day_count"), 2.0);
    assert_eq!(number(finding, "trips_at_solar_hour_12_count"), 2.0);
    assert_eq!(number(finding, "trips_at_solar_hour_13_count"), 1.0);
    // What the last trip cost until it came back is in it.
    let lost_s = number(finding, "daylight_lost_s");
    assert_close!(lost_s, 3.0 * 360.0, 180.0, "a poll at either end");
    // The other inverter stayed on.
    assert_eq!(number(finding, "trips_of_whole_site_count"), 0.0);
    assert_eq!(number(finding, "trips_not_of_whole_site_count"), 3.0);
    assert!(
        finding.summary.contains("Other inverters stay on"),
        "{}",
        finding.summary
    );
    assert!(
        finding
            .caution
            .iter()
            .any(|c| c.contains("licensed people"))
    );
}

/// A week and a day apart, and two that cost little: nothing.
#[test]
fn trips_that_are_seldom_are_not_repeated() {
    let mut world = trip(World::fair(), 0, (1, 12.0), OVER);
    world = trip(world, 0, (8, 12.0), OVER);
    world = trip(world, 1, (8, 12.5), LOST);
    world = trip(world, 1, (8, 13.5), LOST);
    let told = told(world, 9);
    assert_eq!(told.of(Kind::GridTrip).len(), 4, "{}", told.list());
    assert_eq!(repeated(&told).len(), 0, "{}", told.list());
}

/// One outage of an hour is a long trip and no repeated one.
#[test]
fn a_single_long_outage_is_not_repeated() {
    let off = Period::new((0, 12.0), (0, 13.0));
    let world = World::fair().with(off, What::Tripped(0, Some(LOST)));
    let told = told(world, 1);
    assert_eq!(repeated(&told).len(), 0, "{}", told.list());
}

#[test]
fn each_class_is_a_finding_of_its_own() {
    let mut world = World::fair();
    for hour in [10.0, 11.0, 12.0] {
        world = trip(world, 0, (0, hour), OVER);
        world = trip(world, 0, (0, hour + 0.5), LOST);
    }
    let told = told(world, 1);
    let classes: Vec<&str> = repeated(&told)
        .iter()
        .map(|f| f.causes[0].cause.as_str())
        .collect();
    assert_eq!(classes, ["over-voltage", "supply lost"]);
    for finding in repeated(&told) {
        assert_eq!(number(finding, "trips_in_7_days_count"), 3.0);
        assert_eq!(finding.ended, None);
    }
}

#[test]
fn the_whole_site_is_told_from_one_inverter() {
    let mut world = World::fair();
    for hour in [10.0, 11.0, 12.0] {
        world = trip(world, 0, (0, hour), LOST);
        world = trip(world, 1, (0, hour), LOST);
    }
    let told = told(world, 1);
    assert_eq!(repeated(&told).len(), 2, "{}", told.list());
    for finding in repeated(&told) {
        assert_eq!(number(finding, "trips_of_whole_site_count"), 3.0);
        assert!(
            finding.summary.contains("whole site"),
            "{}",
            finding.summary
        );
    }
}

/// Told when it repeats, and once more at ten in a day; in between its numbers grow in silence.
#[test]
fn ten_in_a_day_are_told_again() {
    let mut world = World::fair();
    for n in 0..11 {
        world = trip(world, 0, (0, 8.0 + 0.5 * f64::from(n)), OVER);
    }
    let (plant, polls) = play(&two_inverters(), world, 1);
    let mut engine = crate::drive::engine(&plant);
    let mut counts = Vec::new();
    for step in one_by_one(&polls) {
        let findings = engine.step(step).findings;
        let repeated = findings
            .iter()
            .filter(|f| f.kind == Kind::GridTripsRepeated);
        counts.extend(repeated.map(|f| number(f, "trips_in_7_days_count")));
    }
    // Two in a day cost twelve minutes, three are many.
    assert_eq!(counts, [3.0, 10.0]);
}
