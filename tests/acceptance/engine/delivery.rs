//! However the same readings are delivered, the engine tells the same.

use crate::drive::{
    Poll, Told, account, assert_same, end_of, in_batches, one_by_one, with_ticks_every,
};
use crate::scenario::{KINDS, everything};
use analysis::engine::Input;
use analysis::plant::Plant;
use analysis::reading::{Offer, Reading, Span, Time};
use std::sync::Arc;
use tests::plant::uniform;

fn undisturbed(plant: &Arc<Plant>, polls: &[Poll]) -> Told {
    account(plant, one_by_one(polls), end_of(plant, polls))
}

#[test]
fn live_and_replay_tell_the_same() {
    let (plant, polls) = everything();
    let end = end_of(&plant, &polls);
    let live = undisturbed(&plant, &polls);
    for kind in KINDS {
        assert!(!live.of(kind).is_empty(), "no {kind:?} in\n{}", live.list());
    }
    for size in [7, 700, polls.len()] {
        let batches = account(&plant, in_batches(&polls, size), end);
        assert_same(&batches, &live, &format!("batches of {size}"));
    }
    let seconds = account(&plant, with_ticks_every(&polls, Span::from_s(1)), end);
    assert_same(&seconds, &live, "a tick a second");
}

#[test]
fn late_repeated_and_shuffled_delivery_changes_nothing() {
    let (plant, polls) = everything();
    let wanted = undisturbed(&plant, &polls);
    let lateness = plant.timing.allowed_lateness;
    // Every reading late by up to all that is allowed, one in ten again at another time.
    let mut arrivals = Vec::new();
    for (n, reading) in (0..).zip(polls.iter().flat_map(|(_, readings)| readings)) {
        let late = |seed| Span::from_ms((lateness.ms() as f64 * uniform(seed, n)) as i64);
        arrivals.push((reading.at + late(1), *reading));
        if uniform(2, n) < 0.1 {
            arrivals.push((reading.at + late(3), *reading));
        }
    }
    let again = arrivals.len() - polls.iter().map(|(_, r)| r.len()).sum::<usize>();
    arrivals.sort_by_key(|(arrival, reading)| (*arrival, reading.channel));
    let told = account(&plant, as_they_arrive(&arrivals), end_of(&plant, &polls));
    assert_same(&told, &wanted, "late, repeated, shuffled");
    assert_eq!(told.refused.len(), again, "each reading takes part once");
}

#[test]
fn beyond_the_allowed_lateness_each_reading_is_refused_and_counted() {
    let (plant, polls) = everything();
    let too_late = plant.timing.allowed_lateness + Span::from_min(2);
    let is_late = |n: usize| n % 50 == 17;
    let kept: Vec<Poll> = (0..polls.len())
        .filter(|n| !is_late(*n))
        .map(|n| polls[n].clone())
        .collect();
    let late: Vec<&Reading> = (0..polls.len())
        .filter(|n| is_late(*n))
        .flat_map(|n| &polls[n].1)
        .collect();
    let in_time = kept.iter().flat_map(|(at, r)| r.iter().map(|r| (*at, *r)));
    let mut arrivals: Vec<(Time, Reading)> = in_time.collect();
    arrivals.extend(late.iter().map(|r| (r.at + too_late, **r)));
    arrivals.sort_by_key(|(arrival, _)| *arrival);
    let end = end_of(&plant, &polls);
    let told = account(&plant, as_they_arrive(&arrivals), end);
    let in_time = kept.iter().flat_map(|(at, r)| r.iter().map(|r| (*at, *r)));
    let alone = account(&plant, as_they_arrive(&in_time.collect::<Vec<_>>()), end);
    assert_same(&told, &alone, "with readings that come too late");
    assert_eq!(told.refused, vec![Offer::TooLate; late.len()]);
}

/// Each reading at the time of its arrival, a tick every minute.
fn as_they_arrive(arrivals: &[(Time, Reading)]) -> Vec<Input> {
    const TICK: Span = Span::from_min(1);
    let mut steps = Vec::new();
    let mut tick = arrivals[0].0.slot_start(TICK) + TICK;
    for (arrival, reading) in arrivals {
        while tick < *arrival {
            steps.push(Input::Tick(tick));
            tick = tick + TICK;
        }
        steps.push(Input::Reading(*reading));
    }
    steps
}
