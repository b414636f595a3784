//! Currents of single strings: which one is open is told by its label, once, and in time.

use crate::drive::{Poll, Told, account, assert_same, end_of, one_by_one};
use crate::resume::with_restarts;
use crate::scenario::play;
use analysis::detect::{Kind, Slot};
use analysis::plant::Plant;
use analysis::reading::{Channel, ChannelTable, Place, Quantity, Reading, Span, Time, Value};
use std::sync::Arc;
use tests::plant::{NORTH, Period, START, Shape, Strings, What, World};

const PARALLEL: u8 = 3;
/// By when the design wants an open string found [min of valid light].
const WITHIN_MIN: i64 = 30;
const FAULT_HOUR: f64 = 11.0;
/// What a string sensor of common accuracy shows of nothing [A].
const OFFSET_A: f64 = 0.04;

/// One inverter with two inputs of three strings, whose currents it publishes; of the first input so many
/// open at eleven on the second day, from the first string on.
fn published(open: u8) -> (Arc<Plant>, Vec<Poll>) {
    let fault = Period::new((1, FAULT_HOUR), (3, 0.0));
    let world = World {
        cloudiness: vec![0.5, 0.5],
        ..World::fair()
    };
    let world = world.with(fault, opens(open));
    let (plant, polls) = play(&shape(), world, 2);
    with_strings(&plant, &polls, (open, fault_at()))
}

fn shape() -> Shape {
    let strings = Strings {
        parallel: PARALLEL,
        modules: 16,
        plane: NORTH,
    };
    Shape {
        inverters: vec![(60_000.0, vec![strings; 2])],
        sensor: Some(NORTH),
        every: Span::from_min(1),
    }
}

fn opens(count: u8) -> What {
    What::StringsOpen {
        input: (0, 0),
        count,
    }
}

/// The same with a share of the input's current on each string that carries any.
fn with_strings(
    plant: &Plant,
    polls: &[Poll],
    (open, since): (u8, Time),
) -> (Arc<Plant>, Vec<Poll>) {
    let inverter = plant.inverters[0].id.clone();
    let current = |place| Channel {
        device: inverter.clone(),
        place,
        quantity: Quantity::DcCurrent,
    };
    let places = (1..=2).flat_map(|n| (1..=PARALLEL).map(move |k| Place::String(n, k)));
    let known = plant.channels.iter().map(|(_, channel)| channel.clone());
    let channels = ChannelTable::new(known.chain(places.map(current)));
    let id = |place| channels.id(&current(place)).expect("it was added");
    let of_strings = |reading: &Reading| -> Vec<Reading> {
        let Place::Input(n) = plant.channels.channel(reading.channel).place else {
            return Vec::new();
        };
        let of_input = id(Place::Input(n)) == reading.channel;
        let Some(amps) = reading.value.good().filter(|_| of_input) else {
            return Vec::new();
        };
        let open = if n == 1 && reading.at >= since {
            open
        } else {
            0
        };
        let share = amps / f64::from(PARALLEL - open);
        let string = |k| Reading {
            channel: id(Place::String(n, k)),
            value: Value::Good(if k <= open { OFFSET_A } else { share }),
            ..*reading
        };
        (1..=PARALLEL).map(string).collect()
    };
    let poll = |(at, readings): &Poll| {
        let strings: Vec<Reading> = readings.iter().flat_map(of_strings).collect();
        (*at, [readings.clone(), strings].concat())
    };
    let polls = polls.iter().map(poll).collect();
    let plant = Plant {
        channels: channels.clone(),
        ..plant.clone()
    };
    (Arc::new(plant), polls)
}

fn fault_at() -> Time {
    START + Span::from_h(24) + Span::from_min((60.0 * FAULT_HOUR) as i64)
}

fn told(open: u8) -> Told {
    let (plant, polls) = published(open);
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

#[test]
fn an_open_string_is_told_by_its_label_and_once() {
    let told = told(1);
    let open = told.of(Kind::StringOpen);
    let [open] = open.as_slice() else {
        panic!("{}", told.list())
    };
    assert_eq!(open.subject.string.as_deref(), Some("1-1"));
    assert_eq!(open.subject.input, Some(1));
    assert!(
        open.summary.contains("String 1-1 on input 1 of inv-1"),
        "{}",
        open.summary
    );
    assert!(open.advice[0].contains("string 1-1"), "{:?}", open.advice);
    let minutes = (open.found - fault_at()).ms() / 60_000;
    println!("one of {PARALLEL} open: found after {minutes} min");
    // Slots that a cloud made unsteady do not stop siblings from being compared.
    assert!(minutes <= WITHIN_MIN, "{minutes} min");
    assert!((open.began - fault_at()).ms().abs() <= 5 * 60_000);
    assert!(open.ended.is_none());
    assert_eq!(told.findings.len(), 1, "{}", told.list());
    // A third of an input of 21 kW from eleven to the evening.
    let lost_kwh = open.lost.wh() / 1000.0;
    println!("lost {lost_kwh:.1} kWh");
    assert!((10.0..50.0).contains(&lost_kwh), "{lost_kwh}");
}

#[test]
fn two_of_three_are_two_findings_with_their_labels() {
    let told = told(2);
    let open = told.of(Kind::StringOpen);
    let mut labels: Vec<_> = open
        .iter()
        .filter_map(|f| f.subject.string.clone())
        .collect();
    labels.sort();
    // The median of the siblings of an open one is half of what the good one carries: enough to tell.
    assert_eq!(labels, ["1-1", "1-2"], "{}", told.list());
    assert_eq!(open.len(), 2, "{}", told.list());
    let ids: Vec<_> = open.iter().map(|f| f.id.to_string()).collect();
    assert_ne!(ids[0], ids[1]);
}

#[test]
fn healthy_strings_give_nothing() {
    let told = told(0);
    assert!(told.findings.is_empty(), "{}", told.list());
}

#[test]
fn what_a_string_misses_is_not_charged_to_its_input_too() {
    let (dim_day, open_day) = (8, 14);
    let days = open_day + 1;
    let opened = (open_day, 8.0);
    let world = World::fair()
        .with(
            Period::new((dim_day, 0.0), (days, 0.0)),
            What::Dimmed((0, 0), 0.85),
        )
        .with(Period::new(opened, (days, 0.0)), opens(1));
    let (plant, polls) = play(&shape(), world, days);
    let since = START + Span::from_h(24 * open_day + 8);
    let (plant, polls) = with_strings(&plant, &polls, (1, since));
    let told = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
    let lost = |kind| told.of(kind).iter().map(|f| f.lost.wh()).sum::<f64>();
    let (of_string, of_input) = (lost(Kind::StringOpen), lost(Kind::CurrentLow));
    assert!(of_string > 0.0 && of_input > 0.0, "{}", told.list());
    let missed = |slot: &Slot| {
        let now = &slot.inverters[0];
        let less = now.expected_ac_power.zip(now.ac_power);
        less.map_or(0.0, |(e, m)| (e.w() - m.w()).max(0.0) * slot.span.hours())
    };
    let since_dim = told
        .slots
        .iter()
        .filter(|s| s.start >= START + Span::from_h(24 * dim_day));
    let missed: f64 = since_dim.map(missed).sum();
    let told_wh = of_string + of_input;
    println!("string {of_string:.0} Wh, input {of_input:.0} Wh, missed {missed:.0} Wh");
    assert!(
        (0.9..1.02).contains(&(told_wh / missed)),
        "{told_wh} of {missed} Wh"
    );
}

#[test]
fn a_restart_changes_nothing_of_it() {
    let (plant, polls) = published(1);
    let live = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
    let restarted = with_restarts(&plant, &polls, |row| row % 100 == 50);
    assert_same(&restarted, &live, "restarts");
}
