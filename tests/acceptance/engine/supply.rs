//! Disconnections by the supply: which limit acted, and what is no disconnection by the supply.
//! Rules of classification: the project's reading of AS/NZS 4777.2 limits (`plant::grid_limits`).

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::play;
use analysis::detect::{
    Compared, Edge, Kind, Neighbours, Poll, SupplyWatch, Together, TripCause, TripReport,
};
use analysis::plant::{EventBit, State};
use analysis::reading::{Span, Time};
use tests::plant::{Period, START, Shape, What, World, grid_limits, two_inverters};

/// Highest and lowest phase [V], frequency [Hz].
type Supply = (f64, f64, f64);
const GOOD: Supply = (241.0, 239.0, 50.0);
/// A site of one inverter.
const ALONE: Neighbours = Neighbours {
    have_supply: None,
    together: Together { off: 1, of: 1 },
};

fn at(poll: i64) -> Time {
    START + Span::from_min(poll)
}

fn poll(state: State, supply: Supply, bits: &[EventBit]) -> Poll {
    let (highest, lowest, hz) = supply;
    let bits = bits.iter().fold(0_u32, |all, bit| all | 1 << *bit as u32);
    Poll {
        state: Some(state),
        event_bits: Some(f64::from(bits)),
        highest_v: Some(highest),
        lowest_v: Some(lowest),
        frequency_hz: Some(hz),
        load_ratio: Some(if state.is_producing() { 0.5 } else { 0.0 }),
        ..Poll::default()
    }
}

/// What a watch beside such neighbours tells of a poll a minute.
fn edges(polls: i64, beside: Neighbours, poll: impl Fn(i64) -> Poll) -> Vec<Edge<TripReport>> {
    let mut watch = SupplyWatch::new();
    let mut told = Vec::new();
    for n in 0..polls {
        told.extend(watch.poll(at(n), &poll(n), true, beside, &grid_limits()));
    }
    told
}

/// Twenty good minutes that end as `before`, five minutes off, then on again.
fn reports(before: Supply, meanwhile: Supply, bits: &[EventBit]) -> Vec<TripReport> {
    let edges = edges(40, ALONE, |n| match n {
        0..19 => poll(State::Tracking, GOOD, &[]),
        19 => poll(State::Tracking, before, &[]),
        20..25 => poll(State::Fault, meanwhile, bits),
        _ => poll(State::Tracking, GOOD, &[]),
    });
    let found = |edge| match edge {
        Edge::Found { began, found, seen } => {
            assert_eq!((began, found), (at(20), at(25)));
            Some(seen)
        }
        Edge::Ended { .. } => None,
    };
    edges.into_iter().filter_map(found).collect()
}

fn first_cause(before: Supply, meanwhile: Supply, bits: &[EventBit]) -> TripCause {
    let reports = reports(before, meanwhile, bits);
    assert_eq!(reports.len(), 1);
    let total: f64 = reports[0].causes.iter().map(|(_, p)| p).sum();
    assert!((total - 1.0).abs() < 1e-12, "weights sum to {total}");
    reports[0].causes[0].0
}

#[test]
fn each_cause_by_the_values_alone() {
    let table = [
        (TripCause::OverVoltage, (263.5, 240.0, 50.0), GOOD),
        (TripCause::UnderVoltage, (241.0, 182.0, 50.0), GOOD),
        (TripCause::UnderVoltage, GOOD, (241.0, 120.0, 50.0)),
        // One phase away is a lost phase, not a lost supply.
        (TripCause::PhaseLost, GOOD, (241.0, 2.0, 50.0)),
        (TripCause::PhaseLost, (241.0, 30.0, 50.0), GOOD),
        // Without a neutral the phases share the voltage between them by their loads.
        (TripCause::NeutralLost, GOOD, (330.0, 90.0, 50.0)),
        (TripCause::NeutralLost, (305.0, 170.0, 50.0), GOOD),
        (TripCause::OverFrequency, (241.0, 239.0, 51.9), GOOD),
        (TripCause::UnderFrequency, (241.0, 239.0, 47.1), GOOD),
        (TripCause::SupplyLost, GOOD, (3.0, 1.0, 0.0)),
        // A limit that acts in a fifth of a second leaves no trace.
        (TripCause::NotVisible, GOOD, GOOD),
    ];
    for (cause, before, meanwhile) in table {
        assert_eq!(first_cause(before, meanwhile, &[]), cause);
    }
}

#[test]
fn a_bit_outweighs_the_values() {
    let over_v = (263.5, 240.0, 50.0);
    let table = [
        (TripCause::OverVoltage, EventBit::AcOverVoltage),
        (TripCause::UnderVoltage, EventBit::AcUnderVoltage),
        (TripCause::OverFrequency, EventBit::OverFrequency),
        (TripCause::UnderFrequency, EventBit::UnderFrequency),
        (TripCause::SupplyLost, EventBit::GridDisconnect),
        (TripCause::SupplyLost, EventBit::AcDisconnect),
    ];
    for (cause, bit) in table {
        assert_eq!(first_cause(GOOD, GOOD, &[bit]), cause, "{bit:?}");
        assert_eq!(first_cause(over_v, GOOD, &[bit]), cause, "{bit:?}");
    }
}

#[test]
fn ten_minutes_at_the_sustained_limit_are_told_from_a_short_rise() {
    let high = (258.3, 250.0, 50.0);
    let edges = edges(20, ALONE, |n| match n {
        0..12 => poll(State::Tracking, high, &[]),
        12..16 => poll(State::Fault, GOOD, &[EventBit::AcOverVoltage]),
        _ => poll(State::Tracking, GOOD, &[]),
    });
    let mut causes = Vec::new();
    for edge in edges {
        if let Edge::Found { seen, .. } = edge {
            causes.push(seen.causes[0].0);
            // The mean of twelve equal polls.
            assert!(seen.mean_v.is_some_and(|v| (v - 258.3).abs() < 1e-9));
        }
    }
    assert_eq!(causes, [TripCause::SustainedOverVoltage]);
}

#[test]
fn what_the_supply_did_not_do_is_no_trip() {
    use EventBit::*;
    let own = [
        GroundFault,
        DcOverVoltage,
        DcDisconnect,
        ManualShutdown,
        OverTemperature,
        BlownStringFuse,
        HardwareTestFailure,
    ];
    for bit in own {
        assert_eq!(reports(GOOD, GOOD, &[bit]), [], "{bit:?}");
    }
}

/// One poll that says zero, or nothing at all, is a hiccup of the link.
#[test]
fn a_single_poll_without_production_is_no_trip() {
    let told = edges(60, ALONE, |n| match n % 10 {
        3 => poll(State::Standby, (0.0, 0.0, 0.0), &[]),
        6 => Poll::default(),
        _ => poll(State::Tracking, GOOD, &[]),
    });
    assert_eq!(told, []);
}

/// A dark cloud late on a winter's day: the inverter sleeps for some polls, the supply is there.
#[test]
fn a_stop_for_want_of_light_is_no_trip() {
    let (faint, bright) = (0.02, 0.3);
    // Load before, what the inverter says meanwhile, supply meanwhile, and whether it is a trip.
    let table = [
        (faint, State::Standby, GOOD, false),
        (bright, State::Sleeping, GOOD, false),
        (bright, State::Standby, GOOD, true),
        (faint, State::Sleeping, (2.0, 1.0, 0.0), true),
    ];
    for (load, state, supply, is_trip) in table {
        let told = edges(40, ALONE, |n| match n {
            20..25 => poll(state, supply, &[]),
            _ => Poll {
                load_ratio: Some(load),
                ..poll(State::Tracking, GOOD, &[])
            },
        });
        assert_eq!(!told.is_empty(), is_trip, "{load} {state:?} {supply:?}");
    }
}

/// Off for so many minutes with this supply and these neighbours.
fn with_neighbours(meanwhile: Supply, neighbours: Neighbours) -> TripReport {
    let told = edges(40, neighbours, |n| match n {
        20..25 => poll(State::Fault, meanwhile, &[]),
        _ => poll(State::Tracking, GOOD, &[]),
    });
    let [Edge::Found { seen, .. }, Edge::Ended { .. }] = &told[..] else {
        panic!("{told:?}");
    };
    seen.clone()
}

#[test]
fn neighbours_tell_an_open_branch_from_an_outage_and_the_network_from_one_inverter() {
    let dark = (2.0, 1.0, 0.0);
    let table = [
        (dark, Some(true), (1, 3), TripCause::BranchOpen),
        (dark, Some(false), (3, 3), TripCause::SupplyLost),
        (dark, None, (1, 1), TripCause::SupplyLost),
        (GOOD, Some(true), (3, 3), TripCause::NetworkNotVisible),
        (GOOD, Some(true), (1, 3), TripCause::NotVisible),
    ];
    for (meanwhile, have_supply, (off, of), cause) in table {
        let together = Together { off, of };
        let neighbours = Neighbours {
            have_supply,
            together,
        };
        let report = with_neighbours(meanwhile, neighbours);
        assert_eq!(report.causes[0].0, cause, "{meanwhile:?} {neighbours:?}");
        assert_eq!(report.together, together);
    }
}

/// A network operator that takes all power is no trip; one that does so while the supply is away is.
#[test]
fn all_power_taken_by_command_is_no_trip() {
    for (supply, is_trip) in [(GOOD, false), ((2.0, 1.0, 0.0), true)] {
        let told = edges(40, ALONE, |n| match n {
            20..25 => Poll {
                power_limit_ratio: Some(0.0),
                ..poll(State::Standby, supply, &[])
            },
            _ => poll(State::Tracking, GOOD, &[]),
        });
        assert_eq!(!told.is_empty(), is_trip, "{supply:?}");
    }
}

/// Polls every ten seconds: off from 200 s on, the supply good again from `good_s`, output from
/// `back_s`. The rule asks for 60 s inside 205 to 253 V.
fn came_back(good_s: i64, back_s: i64) -> analysis::detect::Reconnection {
    let mut watch = SupplyWatch::new();
    for n in 0..100 {
        let s = 10 * n;
        let poll = match s {
            _ if s < 200 || s >= back_s => poll(State::Tracking, GOOD, &[]),
            _ if s < good_s => poll(State::Fault, (256.0, 240.0, 50.0), &[]),
            _ => poll(State::Starting, GOOD, &[]),
        };
        let at = START + Span::from_s(s);
        watch.poll(at, &poll, true, ALONE, &grid_limits());
        if let Some(back) = watch.came_back() {
            assert_eq!(s, back_s);
            return back;
        }
    }
    panic!("it comes back");
}

#[test]
fn the_wait_runs_from_the_good_supply_and_is_compared_with_the_rule() {
    let back = came_back(260, 330);
    assert_eq!(back.waited, Some(Span::from_s(70)));
    // From the last output to the last poll outside.
    assert_eq!(back.supply_bad, Span::from_s(60));
    assert_eq!(back.wanted, Some(Span::from_s(60)));
    // The last bad poll was at 250 s, the last without output at 320 s.
    assert_eq!(
        (back.at_least, back.at_most),
        (Span::from_s(60), Span::from_s(80))
    );
    assert_eq!(back.compared(), Some(Compared::AsWanted));
    // 50 s in the polls may well have been 60.
    assert_eq!(came_back(260, 310).compared(), Some(Compared::AsWanted));
    assert_eq!(came_back(260, 300).compared(), Some(Compared::TooSoon));
    assert_eq!(came_back(260, 700).compared(), Some(Compared::Sluggish));
    // Output while the voltage is outside the range: nothing to compare.
    assert_eq!(came_back(990, 300).compared(), None);
}

/// Nothing seen, but it counts down: it waits for the supply, and that is told after ten minutes.
#[test]
fn one_that_counts_down_for_ten_minutes_is_told() {
    for (wait_s, count) in [(Some(120.0), 1), (Some(0.0), 0), (None, 0)] {
        let told = edges(40, ALONE, |n| match n {
            0..20 => poll(State::Tracking, GOOD, &[]),
            _ => Poll {
                reconnect_wait_s: wait_s,
                ..poll(State::Starting, GOOD, &[])
            },
        });
        assert_eq!(told.len(), count, "{wait_s:?}");
    }
}

/// Still off after ten minutes: told then, without waiting for its end.
#[test]
fn a_long_outage_is_told_after_ten_minutes() {
    let edges = edges(60, ALONE, |n| match n {
        0..20 => poll(State::Tracking, GOOD, &[]),
        _ => poll(State::Fault, (0.0, 0.0, 0.0), &[]),
    });
    let found = |edge| match edge {
        Edge::Found { began, found, .. } => Some((began, found)),
        Edge::Ended { .. } => None,
    };
    let found: Vec<_> = edges.into_iter().filter_map(found).collect();
    assert_eq!(found, [(at(20), at(30))]);
}

fn told(shape: &Shape, world: World, days: i64) -> Told {
    let (plant, polls) = play(shape, world, days);
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

#[test]
fn dusk_is_no_trip() {
    let cloudy = World {
        cloudiness: vec![0.6, 0.9, 0.2, 0.4],
        ..World::fair()
    };
    for sensor in [two_inverters().sensor, None] {
        let shape = Shape {
            sensor,
            ..two_inverters()
        };
        let told = told(&shape, cloudy.clone(), 4);
        assert_eq!(told.of(Kind::GridTrip).len(), 0, "{}", told.list());
    }
}

/// Both inverters let go for half an hour around noon; a plant without a sensor then sees no light.
#[test]
fn a_trip_of_the_whole_plant_is_told_with_and_without_a_sensor() {
    let off = Period::new((0, 12.0), (0, 12.5));
    let world = World::fair()
        .with(off, What::Tripped(0, Some(EventBit::GridDisconnect)))
        .with(off, What::Tripped(1, Some(EventBit::GridDisconnect)));
    for sensor in [two_inverters().sensor, None] {
        let shape = Shape {
            sensor,
            ..two_inverters()
        };
        let told = told(&shape, world.clone(), 1);
        let trips = told.of(Kind::GridTrip);
        assert_eq!(trips.len(), 2, "sensor {sensor:?}:\n{}", told.list());
        for trip in trips {
            assert_eq!((trip.began, trip.found), (at(720), at(730)));
            assert_eq!(trip.ended, Some(at(750)));
            // Half of more than half the rated power of the smaller one, at least.
            assert!(
                sensor.is_none() || trip.lost.wh() > 1000.0,
                "{:?}",
                trip.lost
            );
        }
    }
}
