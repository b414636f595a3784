//! Notes of limited days: how much, by what, how often, and when they end.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::limited_day::{AMPLE_W, ample, clear};
use crate::scenario::polls;
use analysis::detect::{Kind, Severity};
use analysis::plant::Plant;
use analysis::reading::{Power, Span, Time};
use std::sync::Arc;
use tests::assert_close;
use tests::plant::{Period, START, What, World, one_plane, plant};

const EVERY: Span = Span::from_min(5);
/// What two limited days must take of a free one, to be a test of anything.
const LARGE_RATIO: f64 = 0.4;
/// What the light may be wrong by that an input shows by its place on the curve (`expected::on_curve`: some
/// kelvin, at 2 to 5 % each).
const BY_CURVE_RATIO: f64 = 0.1;

fn told(mut plant: Plant, world: World, days: i64) -> Told {
    plant.inverters[0].every = EVERY;
    plant.weather[0].every = EVERY;
    let plant = Arc::new(plant);
    let polls = polls(&plant, world, days, EVERY);
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

fn at(day: i64, hour: i64) -> Time {
    START + Span::from_h(24 * day + hour)
}

/// A power limit about noon on these days.
fn commanded(days: &[(i64, f64)]) -> World {
    days.iter().fold(clear(), |world, (day, ratio)| {
        world.with(
            Period::new((*day, 10.0), (*day, 14.0)),
            What::Commanded(0, *ratio),
        )
    })
}

fn day_wh(told: &Told, day: i64) -> f64 {
    let of_day = |at: Time| at >= START + Span::from_h(24 * day) && at < at_midnight(day + 1);
    let slots = told.slots.iter().filter(|s| of_day(s.start));
    slots
        .filter_map(|s| Some((s.inverters[0].ac_power? * s.span).wh()))
        .sum()
}

fn at_midnight(day: i64) -> Time {
    at(day, 0)
}

#[test]
fn limited_days_in_a_row_are_one_note_on_the_evening_of_the_first() {
    let told = told(ample(), commanded(&[(1, 0.3), (2, 0.3), (5, 0.3)]), 8);
    assert!(told.alarms().is_empty(), "{}", told.list());
    let [first, second] = told.of(Kind::Limited)[..] else {
        panic!("{}", told.list());
    };
    assert_eq!(first.severity, Severity::Note);
    assert!(
        first.found > at(1, 16) && first.found < at_midnight(2),
        "{}",
        told.list()
    );
    for (finding, from, to) in [(first, 1, 2), (second, 5, 5)] {
        let slot = Span::from_min(10);
        let ended = finding.ended.expect("a free day followed");
        assert!(finding.began >= at(from, 10) && finding.began <= at(from, 10) + slot);
        assert!(ended >= at(to, 14) - slot && ended <= at(to, 14) + slot);
    }
    assert_eq!(first.evidence["limited_days_count"], 2.0);
    assert_eq!(
        first.causes[0].cause, "fixed export or remote limit",
        "{first:?}"
    );
    // Day 4 is as clear as day 2, and free.
    let true_wh = 2.0 * day_wh(&told, 4) - day_wh(&told, 1) - day_wh(&told, 2);
    assert_close!(
        first.lost.wh(),
        true_wh,
        0.02 * 2.0 * day_wh(&told, 4),
        first.summary
    );
    let booked = first.evidence["limited_command_wh"];
    assert_close!(booked, first.lost.wh(), 1e-6 * booked, first.summary);
}

/// Nothing measures the light, and the only input that could show it is held back: its place on the curve
/// shows it.
#[test]
fn a_limit_on_a_lone_input_without_a_sensor_costs_what_it_took() {
    let lone = plant(&one_plane(AMPLE_W, 1, false, EVERY));
    let told = told(lone, commanded(&[(1, 0.1), (2, 0.1)]), 5);
    assert!(told.alarms().is_empty(), "{}", told.list());
    let [limited] = told.of(Kind::Limited)[..] else {
        panic!("{}", told.list());
    };
    // Day 4 is as clear, and free.
    let free_wh = day_wh(&told, 4);
    let true_wh = 2.0 * free_wh - day_wh(&told, 1) - day_wh(&told, 2);
    assert!(true_wh > LARGE_RATIO * free_wh, "{true_wh} of {free_wh}");
    // By its current alone the light would be that of the limit, and nothing lost.
    let produced_wh = 2.0 * 4.0 * 0.1 * AMPLE_W;
    let allowed_wh = BY_CURVE_RATIO * (true_wh + produced_wh);
    assert_close!(limited.lost.wh(), true_wh, allowed_wh, limited.summary);
}

#[test]
fn under_a_percent_of_the_day_is_no_note() {
    // Just under what a clear noon gives: some tenths of a percent of the day.
    let free = told(ample(), clear(), 2);
    let noon_w = free.slots.iter().filter_map(|s| s.inverters[0].ac_power);
    let most = noon_w.map(|p| p.w()).fold(0.0, f64::max) / AMPLE_W;
    let told = told(ample(), commanded(&[(1, 0.985 * most)]), 3);
    assert!(told.findings.is_empty(), "{}", told.list());
}

#[test]
fn clipping_is_a_note_whose_energy_no_inverter_of_that_size_could_give() {
    let mut plant = ample();
    plant.inverters[0].rated_ac = Power::from_w(AMPLE_W / 2.0);
    let told = told(plant, clear(), 6);
    assert!(told.alarms().is_empty(), "{}", told.list());
    let [clips] = told.of(Kind::Limited)[..] else {
        panic!("{}", told.list());
    };
    assert_eq!(clips.ended, None);
    assert_eq!(clips.causes[0].cause, "clipping at rated power");
    assert_eq!(clips.lost.wh(), 0.0);
    assert!(clips.evidence["limited_rated_power_wh"] > 0.0);
}

#[test]
fn a_limit_that_moved_and_then_stands_still_may_be_a_lost_meter() {
    let mut world = clear();
    for (n, hour) in (9..15).enumerate() {
        let ratio = 0.2 + 0.05 * n as f64;
        let hours = Period::new((1, f64::from(hour)), (1, f64::from(hour) + 1.0));
        world = world.with(hours, What::Commanded(0, ratio));
    }
    let still = Period::new((2, 6.0), (2, 18.0));
    let told = told(ample(), world.with(still, What::Commanded(0, 0.05)), 4);
    let [limited] = told.of(Kind::Limited)[..] else {
        panic!("{}", told.list());
    };
    let fallback = |c: &&analysis::diagnose::Cause| c.cause.contains("meter link was lost");
    assert!(limited.causes.iter().any(|c| fallback(&c)), "{limited:?}");
}
