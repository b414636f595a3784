//! The measuring itself: values that cannot be or stand still, sensors, and clocks (`clocks`). What goes wrong is
//! done to the readings of a healthy plant, so that all else stays as it was.
//!
//! Operating curves, of the healthy plant with three inputs on one plane (days 0, 1, ...):
//! each test says what is found by when; the last ones what is not.

mod clocks;

use crate::drive::{Poll, Told, account, assert_same, end_of, in_batches, one_by_one};
use crate::resume::with_restarts;
use crate::scenario::{polls, with_mast};
use analysis::detect::{Kind, Severity};
use analysis::diagnose::Finding;
use analysis::plant::Plant;
use analysis::reading::{Channel, ChannelId, Quantity, Reading, Span, Time, Value};
use std::sync::Arc;
use tests::plant::{
    Event, NORTH, Period, START, Shape, What, World, one_plane, three_inputs, uniform,
};

/// Three inputs of two strings on one plane, never held back, and a mast with a sensor in it.
fn shape(every: Span) -> Shape {
    one_plane(60_000.0, 3, true, every)
}

/// The plant, with these quantities of the mast as well.
fn site(every: Span, more: &[Quantity]) -> Arc<Plant> {
    Arc::new(with_mast(&shape(every), more))
}

fn id(plant: &Plant, address: &str) -> ChannelId {
    let channel: Channel = address.parse().expect("an address");
    plant.channels.id(&channel).expect("of this plant")
}

fn fair() -> World {
    World {
        cloudiness: vec![0.0, 0.2, 0.0, 0.6, 0.1],
        ..World::fair()
    }
}

fn played(plant: &Arc<Plant>, world: World, days: i64) -> Vec<Poll> {
    polls(plant, world, days, plant.inverters[0].every)
}

/// Other values on one channel.
fn change(polls: &mut [Poll], channel: ChannelId, other: impl Fn(Time, f64) -> f64) {
    for (at, readings) in polls {
        for reading in readings.iter_mut().filter(|r| r.channel == channel) {
            if let Value::Good(value) = reading.value {
                reading.value = Value::Good(other(*at, value));
            }
        }
    }
}

fn told(plant: &Arc<Plant>, polls: &[Poll]) -> Told {
    account(plant, one_by_one(polls), end_of(plant, polls))
}

fn only(told: &Told, kind: Kind) -> &analysis::diagnose::Finding {
    let [found] = told.of(kind)[..] else {
        panic!("{}", told.list());
    };
    assert_eq!(told.findings.len(), 1, "{}", told.list());
    found
}

fn at(day: i64, hour: f64) -> Time {
    Period::new((day, hour), (day, hour)).from
}

fn days(span: Span) -> f64 {
    span.hours() / 24.0
}

#[test]
fn sentinels_for_an_hour_are_told_at_the_third_poll_and_reach_no_slot() {
    let plant = site(Span::from_min(1), &[]);
    let hour = Period::new((0, 11.0), (0, 12.0));
    for (address, shown) in [
        ("inv-1/input-1/dc_voltage_v", 6553.5),
        ("inv-1/input-2/dc_current_a", 655.35),
        ("inv-1/ac_power_w", -32_768.0 * 100.0),
        ("inv-1/ac_voltage_l2_v", 3276.7),
        ("inv-1/frequency_hz", 4.99),
        ("inv-1/heatsink_temperature_degc", -3276.8),
        ("mast/poa_w_m2", -320.0),
        ("mast/air_temperature_degc", 655.35),
    ] {
        let mut polls = played(&plant, fair(), 1);
        let channel = id(&plant, address);
        change(
            &mut polls,
            channel,
            |t, v| if hour.holds(t) { shown } else { v },
        );
        let told = told(&plant, &polls);
        let found = only(&told, Kind::ValueImpossible);
        assert_eq!(
            (found.began, found.found),
            (at(0, 11.0), at(0, 11.0) + Span::from_min(2))
        );
        assert_eq!(found.ended, Some(at(0, 12.0)), "{address}");
        assert!(found.summary.contains(address), "{}", found.summary);
    }
}

#[test]
fn a_register_that_never_held_a_value_is_no_channel() {
    let plant = site(Span::from_min(1), &[]);
    let mut polls = played(&plant, fair(), 1);
    change(
        &mut polls,
        id(&plant, "inv-1/residual_current_a"),
        |_, _| 65.535,
    );
    change(
        &mut polls,
        id(&plant, "inv-1/heatsink_temperature_degc"),
        |_, _| -3276.8,
    );
    let told = told(&plant, &polls);
    assert!(told.findings.is_empty(), "{}", told.list());
}

#[test]
fn a_single_spike_is_dropped_silently_and_moves_no_mean() {
    let plant = site(Span::from_min(1), &[]);
    let mut polls = played(&plant, fair(), 1);
    let channel = id(&plant, "inv-1/input-1/dc_voltage_v");
    change(&mut polls, channel, |t, v| {
        if t == at(0, 11.0) { 65_535.0 } else { v }
    });
    let told = told(&plant, &polls);
    assert!(told.findings.is_empty(), "{}", told.list());
    let volts = told
        .slots
        .iter()
        .filter_map(|s| s.inverters[0].inputs[0].voltage);
    assert!(volts.map(|v| v.v()).fold(0.0, f64::max) < 900.0);
}

/// What the channels that begin like this say in these hours is what they said first.
fn freeze(polls: &mut [Poll], plant: &Plant, begin: &str, hours: Period) {
    let stand = |r: &Reading| {
        let address = plant.channels.channel(r.channel).to_string();
        address.starts_with(begin)
    };
    let first = polls
        .iter()
        .position(|p| hours.holds(p.0))
        .expect("it begins");
    let kept: Vec<Reading> = polls[first].1.iter().copied().filter(stand).collect();
    for (at, readings) in polls.iter_mut().filter(|p| hours.holds(p.0)) {
        readings.retain(|r| !stand(r));
        readings.extend(kept.iter().map(|r| Reading { at: *at, ..*r }));
    }
}

#[test]
fn a_logger_that_repeats_itself_is_told_after_ten_minutes_and_breaks_no_array() {
    let plant = site(Span::from_min(1), &[]);
    let mut polls = played(&plant, fair(), 3);
    freeze(
        &mut polls,
        &plant,
        "inv-1/",
        Period::new((1, 10.0), (1, 13.0)),
    );
    let told = told(&plant, &polls);
    let found = only(&told, Kind::ValueFrozen);
    assert_eq!(
        (found.began, found.found),
        (at(1, 10.0), at(1, 10.0) + Span::from_min(10))
    );
    assert_eq!(found.ended, Some(at(1, 13.0)));
}

#[test]
fn an_input_that_stands_still_alone_is_told_as_that_and_as_nothing_else() {
    for every in [Span::from_min(1), Span::from_min(5)] {
        let plant = site(every, &[]);
        let mut polls = played(&plant, fair(), 3);
        let hours = Period::new((1, 10.0), (2, 9.0));
        freeze(&mut polls, &plant, "inv-1/input-2/", hours);
        let told = told(&plant, &polls);
        let found = only(&told, Kind::ValueFrozen);
        assert_eq!(found.subject.input, Some(2));
        assert_eq!(found.began, hours.from);
        let after = found.found - hours.from;
        assert_eq!(after, Span::from_h(1), "{}", told.list());
        assert_eq!(found.ended, Some(hours.to));
    }
}

/// Whole volts, tenths of amperes, hundreds of watts, a frequency in tenths.
fn coarse(polls: &mut [Poll], plant: &Plant) {
    for reading in polls.iter_mut().flat_map(|(_, readings)| readings) {
        let step = match plant.channels.channel(reading.channel).quantity {
            Quantity::DcVoltage | Quantity::AcVoltageL1 => 5.0,
            Quantity::AcVoltageL2 | Quantity::AcVoltageL3 => 5.0,
            Quantity::DcCurrent => 0.5,
            Quantity::AcPower => 500.0,
            Quantity::Frequency => 1.0,
            Quantity::Poa => 5.0,
            Quantity::AirTemperature => 1.0,
            _ => continue,
        };
        if let Value::Good(value) = reading.value {
            reading.value = Value::Good((value / step).round() * step);
        }
    }
}

#[test]
fn a_light_sensor_that_stands_still_is_told_and_the_array_shows_the_light() {
    let plant = site(Span::from_min(1), &[]);
    let mut polls = played(&plant, fair(), 3);
    let hours = Period::new((1, 9.0), (1, 16.0));
    change(&mut polls, id(&plant, "mast/poa_w_m2"), |t, v| {
        if hours.holds(t) { 640.0 } else { v }
    });
    let told = told(&plant, &polls);
    let found = only(&told, Kind::ValueFrozen);
    assert!(
        found.found - hours.from <= Span::from_min(61),
        "{}",
        told.list()
    );
    assert_eq!(found.ended, Some(hours.to));
}

#[test]
fn a_sensor_that_changes_by_six_percent_is_told_and_the_array_is_not() {
    let plant = site(Span::from_min(5), &[]);
    let right = played(&plant, fair(), 45);
    for times in [0.94, 0.9, 0.8, 1.06, 1.1, 1.25] {
        let mut polls = right.clone();
        change(&mut polls, id(&plant, "mast/poa_w_m2"), |t, v| {
            if t >= at(25, 0.0) { v * times } else { v }
        });
        let told = told(&plant, &polls);
        let found = only(&told, Kind::SensorWrong);
        let days = days(found.found - at(25, 0.0));
        println!("x {times}: {days:.1} days, {}", found.summary);
        // Three clear days of five.
        assert!(days <= 7.0, "{times}: {days}");
    }
}

#[test]
fn a_drifting_sensor_is_told_before_it_has_lost_eight_percent() {
    let plant = site(Span::from_min(5), &[]);
    let world = World {
        sensor_drift_per_day: 0.002,
        ..fair()
    };
    let polls = played(&plant, world, 50);
    let told = told(&plant, &polls);
    let found = only(&told, Kind::SensorWrong);
    println!(
        "0.2 % a day: {:.0} days, {}",
        days(found.found - START),
        found.summary
    );
    assert!(days(found.found - START) < 40.0);
}

#[test]
fn a_sensor_at_the_back_of_a_module_that_comes_off_is_told_on_the_third_bright_day() {
    let plant = site(Span::from_min(5), &[Quantity::ModuleTemperature]);
    let mut polls = played(&plant, fair(), 16);
    let off = Period::new((6, 0.0), (12, 0.0));
    let [poa, air, back] = [
        "poa_w_m2",
        "air_temperature_degc",
        "module_temperature_degc",
    ]
    .map(|name| id(&plant, &format!("mast/{name}")));
    for (at, readings) in &mut polls {
        let value = |id| {
            let reading = readings.iter().find(|r: &&Reading| r.channel == id);
            reading.and_then(|r| r.value.good()).expect("published")
        };
        let rise = value(poa) / (25.0 + 6.84 * 1.5);
        let share = if off.holds(*at) { 0.2 } else { 1.0 };
        let noise = 0.1 * uniform(9, at.unix_ms() as u64);
        let degc = value(air) + rise * share + noise;
        readings.push(Reading {
            channel: back,
            at: *at,
            value: Value::Good(degc),
        });
    }
    let told = told(&plant, &polls);
    let found = only(&told, Kind::SensorWrong);
    println!(
        "{} found {:.1} days after",
        found.summary,
        days(found.found - off.from)
    );
    assert!(days(found.found - off.from) <= 5.1);
    assert!(
        found.ended.is_some_and(|end| days(end - off.to) < 2.0),
        "{}",
        told.list()
    );
}

#[test]
fn healthy_months_are_quiet_with_coarse_registers_and_clouds() {
    const DAYS: i64 = 60;
    for (seed, is_coarse) in [(1, false), (2, true), (3, true)] {
        let plant = site(Span::from_min(5), &[Quantity::Ghi]);
        let mut world = World {
            seed,
            cloudiness: vec![0.0, 0.3, 0.7, 0.0, 1.0, 0.1, 0.5],
            answers_at_night: seed != 3,
            ..World::fair()
        };
        for day in (3..DAYS).step_by(9) {
            let hours = Period::new((day, 9.0), (day, 15.5));
            world = world.with(hours, tests::plant::What::Commanded(0, 0.3));
        }
        let mut polls = played(&plant, world, DAYS);
        if is_coarse {
            coarse(&mut polls, &plant);
        }
        let told = told(&plant, &polls);
        // The days on which it was commanded are a note.
        assert!(told.but_limits().is_empty(), "{seed}: {}", told.list());
    }
}

#[test]
fn coarse_registers_read_every_minute_are_not_frozen() {
    let plant = site(Span::from_min(1), &[]);
    let world = World {
        cloudiness: vec![0.0],
        ..fair()
    };
    let mut polls = played(&plant, world, 5);
    coarse(&mut polls, &plant);
    let told = told(&plant, &polls);
    assert!(told.findings.is_empty(), "{}", told.list());
}

#[test]
fn delivery_and_restarts_change_nothing() {
    let plant = site(Span::from_min(5), &[]);
    let mut polls = played(
        &plant,
        World {
            cloudiness: vec![0.0],
            ..fair()
        },
        14,
    );
    freeze(
        &mut polls,
        &plant,
        "inv-1/",
        Period::new((4, 10.0), (4, 13.0)),
    );
    freeze(
        &mut polls,
        &plant,
        "inv-1/input-3/",
        Period::new((5, 10.0), (5, 13.0)),
    );
    let hours = Period::new((6, 9.0), (6, 16.0));
    change(&mut polls, id(&plant, "mast/poa_w_m2"), |t, v| {
        if hours.holds(t) { 0.0 } else { v }
    });
    change(&mut polls, id(&plant, "inv-1/ac_voltage_l1_v"), |t, v| {
        if Period::new((8, 9.0), (8, 9.8)).holds(t) {
            6553.5
        } else {
            v
        }
    });
    let polls = clocks::shift(&polls, &plant, 60, 10, true);
    let live = told(&plant, &polls);
    for kind in [
        Kind::ValueFrozen,
        Kind::SensorWrong,
        Kind::ValueImpossible,
        Kind::ClockOff,
    ] {
        assert!(!live.of(kind).is_empty(), "no {kind:?} in\n{}", live.list());
    }
    let end = end_of(&plant, &polls);
    assert_same(
        &account(&plant, in_batches(&polls, 300), end),
        &live,
        "batches",
    );
    let restarted = with_restarts(&plant, &polls, |row| row % 100 == 37);
    assert_same(&restarted, &live, "restarts");
}

/// Three inputs of which two lie to the north and one to the west, and a horizontal sensor alone.
fn under_a_horizontal_sensor() -> Arc<Plant> {
    let shape = Shape {
        sensor: None,
        ..three_inputs(Span::from_min(5))
    };
    Arc::new(with_mast(&shape, &[Quantity::Ghi]))
}

#[test]
fn a_horizontal_sensor_that_goes_wrong_is_told_and_opens_no_string() {
    let plant = under_a_horizontal_sensor();
    let right = played(&plant, fair(), 36);
    let quiet = told(&plant, &right);
    assert!(
        quiet.findings.values().all(|f| f.severity < Severity::Plan),
        "{}",
        quiet.list()
    );
    for times in [0.55, 0.8, 0.88, 1.12, 1.2, 1.45] {
        let mut polls = right.clone();
        change(&mut polls, id(&plant, "mast/ghi_w_m2"), |t, v| {
            if t >= at(21, 0.0) { v * times } else { v }
        });
        let told = told(&plant, &polls);
        assert_eq!(told.of(Kind::StringOpen), Vec::<&Finding>::new(), "{times}");
        let [found] = told.of(Kind::SensorWrong)[..] else {
            panic!("{times}: {}", told.list());
        };
        let days = days(found.found - at(21, 0.0));
        println!("x {times}: {days:.1} days, {}", found.summary);
        // Three clear days of five.
        assert!((0.0..=8.0).contains(&days), "{times}: {days}");
    }
}

/// What all inputs lose with the sensor is no string's; what one loses beside the others still is.
#[test]
fn an_open_string_is_told_while_the_horizontal_sensor_is_wrong() {
    let plant = under_a_horizontal_sensor();
    let world = World {
        events: vec![Event {
            what: What::StringsOpen {
                input: (0, 0),
                count: 1,
            },
            period: Period::new((22, 9.0), (99, 0.0)),
        }],
        ..fair()
    };
    let mut polls = played(&plant, world, 25);
    change(&mut polls, id(&plant, "mast/ghi_w_m2"), |t, v| {
        if t >= at(21, 0.0) { v * 1.45 } else { v }
    });
    let told = told(&plant, &polls);
    let [found] = told.of(Kind::StringOpen)[..] else {
        panic!("{}", told.list());
    };
    assert_eq!(found.subject.input, Some(1), "{}", told.list());
    assert!(days(found.found - at(22, 9.0)) < 1.0, "{}", told.list());
}
