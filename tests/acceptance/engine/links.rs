//! Devices that do not answer, and those that owe no answer.

use crate::drive::{Told, account, assert_same, end_of, in_batches, one_by_one, with_ticks_every};
use crate::scenario::play;
use analysis::detect::Kind;
use analysis::engine::Input;
use analysis::reading::{DeviceId, Span, Time};
use std::sync::Arc;
use tests::plant::{Period, START, Shape, What, World, two_inverters};

fn told(shape: &Shape, world: World, days: i64) -> Told {
    let (plant, polls) = play(shape, world, days);
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

fn at(day: i64, minute_of_day: i64) -> Time {
    START + Span::from_h(24 * day) + Span::from_min(minute_of_day)
}

#[test]
fn three_missed_polls_of_an_inverter_in_the_light() {
    let silent = What::Silent(Some(1));
    let told = told(
        &two_inverters(),
        World::fair().with(Period::new((0, 11.0), (0, 12.0)), silent),
        1,
    );
    let [lost] = told.of(Kind::LinkLost)[..] else {
        panic!("{}", told.list());
    };
    assert_eq!(lost.subject.device, DeviceId::new("inv-2"));
    // Silent from 11:00 on, polled every minute; told at the third missed poll.
    assert_eq!((lost.began, lost.found), (at(0, 660), at(0, 662)));
    assert_eq!(lost.ended, Some(at(0, 720)));
}

/// Many inverters go dark with the array, and the last that they said is that they track.
#[test]
fn an_inverter_that_is_silent_by_night_has_not_lost_its_link() {
    let world = World {
        answers_at_night: false,
        ..World::fair()
    };
    let told = told(&two_inverters(), world, 3);
    assert_eq!(told.of(Kind::LinkLost).len(), 0, "{}", told.list());
}

#[test]
fn one_that_does_not_come_back_in_the_morning_has() {
    let world = World {
        answers_at_night: false,
        ..World::fair()
    };
    let world = world.with(Period::new((1, 1.0), (1, 10.0)), What::Silent(Some(0)));
    let told = told(&two_inverters(), world, 2);
    let [lost] = told.of(Kind::LinkLost)[..] else {
        panic!("{}", told.list());
    };
    // It gets half an hour of light; the sun rises at about five.
    assert!(
        lost.began > at(1, 5 * 60) && lost.began < at(1, 7 * 60),
        "{:?}",
        lost.began
    );
    assert_eq!(lost.found - lost.began, Span::from_min(30));
    assert_eq!(lost.ended, Some(at(1, 600)));
}

#[test]
fn the_mast_owes_answers_by_night() {
    let night = Period::new((0, 1.0), (0, 2.0));
    let told = told(
        &two_inverters(),
        World::fair().with(night, What::Silent(None)),
        1,
    );
    let [lost] = told.of(Kind::LinkLost)[..] else {
        panic!("{}", told.list());
    };
    assert_eq!(lost.subject.device, DeviceId::new("mast"));
    assert_eq!((lost.began, lost.ended), (at(0, 60), Some(at(0, 120))));
}

#[test]
fn a_device_that_never_answered_is_silent_from_the_first_reading_of_another() {
    let always = Period::new((0, 0.0), (9, 0.0));
    let world = World::fair().with(always, What::Silent(None));
    let (plant, polls) = play(&two_inverters(), world, 1);
    let end = end_of(&plant, &polls);
    let live = account(&plant, one_by_one(&polls), end);
    let replayed = account(&plant, in_batches(&polls, 500), end);
    assert_same(&replayed, &live, "a silent mast in batches");
    let [lost] = live.of(Kind::LinkLost)[..] else {
        panic!("{}", live.list());
    };
    assert_eq!((lost.began, lost.ended), (at(0, 1), None));
}

/// The cable to the whole plant is out from the first moment on.
#[test]
fn a_plant_of_which_nothing_answers_is_told_of() {
    let plant = Arc::new(tests::plant::plant(&two_inverters()));
    let ticks = (0..24 * 60).map(|minute| Input::Tick(at(0, minute)));
    let told = account(&plant, ticks, at(1, 0));
    let devices = told
        .of(Kind::LinkLost)
        .into_iter()
        .map(|f| f.subject.device.to_string());
    let devices: Vec<String> = devices.collect();
    assert_eq!(devices, ["mast", "inv-1", "inv-2"]);
}

/// All links break at once in a plant without a sensor: nothing shows whether it is light.
#[test]
fn without_any_light_measured_the_sun_says_when_answers_are_owed() {
    let shape = Shape {
        sensor: None,
        ..two_inverters()
    };
    let noon = Period::new((0, 11.0), (0, 13.0));
    let world = (0..2).fold(World::fair(), |world, i| {
        world.with(noon, What::Silent(Some(i)))
    });
    let told = told(&shape, world, 1);
    assert_eq!(told.of(Kind::LinkLost).len(), 2, "{}", told.list());
}

/// The first readings are let through after the allowed lateness only.
#[test]
fn waiting_for_the_first_readings_is_no_silence() {
    let shape = Shape {
        every: Span::from_s(10),
        ..two_inverters()
    };
    let plant = Arc::new(tests::plant::plant(&shape));
    let twin = tests::plant::Twin::new(plant.clone(), World::fair());
    let noon = at(0, 720);
    let polls: Vec<_> = (0..60).map(|n| noon + Span::from_s(10) * n).collect();
    let polls: Vec<_> = polls.into_iter().map(|at| (at, twin.poll(at))).collect();
    let told = account(
        &plant,
        with_ticks_every(&polls, Span::from_s(1)),
        polls[59].0,
    );
    assert_eq!(told.of(Kind::LinkLost).len(), 0, "{}", told.list());
}
