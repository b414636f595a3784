//! Insulation resistance under its limit.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::play;
use analysis::detect::{Edge, IsolationPoll, IsolationWatch, Kind, Published, Severity};
use analysis::reading::{Span, Time};
use tests::plant::{Insulation, Period, START, What, World, two_inverters};

/// 1100 V over 30 mA (IEC 62109-2, from memory, verify) [ohm].
const LIMIT_OHM: f64 = 1100.0 / 0.03;

fn at(minute: i64) -> Time {
    START + Span::from_min(minute)
}

fn told(world: World, days: i64) -> Told {
    let (plant, polls) = play(&two_inverters(), world, days);
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

/// Water gets in during the night and dries by mid-morning.
#[test]
fn a_leak_at_first_start_of_day_is_told_at_once_and_costs_the_morning() {
    let told = told(
        World::fair().with(Period::new((1, 3.0), (1, 9.0)), What::Leaks(1)),
        2,
    );
    let [low] = told.of(Kind::IsolationLow)[..] else {
        panic!("{}", told.list());
    };
    assert_eq!(
        (low.began, low.found),
        (at(1620), at(1620)),
        "the bit needs no second poll"
    );
    assert_eq!(low.severity, Severity::Now);
    assert_eq!(
        low.ended,
        Some(at(1980)),
        "half an hour well above the limit, told as of its start"
    );
    assert_eq!(low.evidence["isolation_resistance_ohm"], 19_000.0);
    assert!(low.lost.wh() > 1000.0, "{:?}", low.lost);
    assert_eq!(
        told.of(Kind::GridTrip).len(),
        0,
        "a ground fault is no trip:\n{}",
        told.list()
    );
    assert_eq!(
        told.of(Kind::InverterOff).len(),
        0,
        "explained by the leak:\n{}",
        told.list()
    );
}

/// A limit in the site file above the inverter's own: it works, and publishes one number all day.
#[test]
fn a_number_that_stays_all_day_is_one_finding_from_the_first_start_on() {
    let insulation = Insulation {
        dry_ohm: 30_000.0,
        ..Insulation::SOUND
    };
    let world = World {
        insulation,
        ..World::fair()
    };
    let told = told(world, 3);
    let low = told.of(Kind::IsolationLow);
    assert_eq!(low.len(), 2, "one of each inverter:\n{}", told.list());
    assert_eq!(told.but_limits().len(), 2, "{}", told.list());
    for finding in low {
        assert_eq!((finding.began, finding.found), (at(0), at(1)));
        assert_eq!(finding.ended, None, "the nights between change nothing");
        // It works; the slots at dawn before it does are a thousandth of three days.
        assert!(finding.lost.wh() < 500.0, "{:?}", finding.lost);
    }
}

/// The first light is at about five; the value alone tells, at the second poll that has it.
#[test]
fn a_value_without_a_bit_is_told_at_the_first_start_of_the_day() {
    let world = World {
        measures_water: true,
        insulation: Insulation {
            wet_ratio: 0.01,
            ..Insulation::SOUND
        },
        ..World::fair()
    };
    // Chance makes the wet mornings; take a share that wets the second day and not the first.
    let wet = (1..100).map(|n| World {
        wet_mornings: f64::from(n) / 100.0,
        ..world.clone()
    });
    let mut wet = wet.filter(|w| w.is_wet_morning(1) && !w.is_wet_morning(0));
    let world = wet.next().expect("one of the shares does");
    let (plant, polls) = play(&two_inverters(), world, 2);
    let first_light = polls.iter().find(|(time, readings)| {
        let ohm = plant
            .channels
            .id(&"inv-1/isolation_resistance_ohm".parse().expect("a channel"));
        let low = |r: &&analysis::reading::Reading| {
            Some(r.channel) == ohm && r.value.good() < Some(LIMIT_OHM)
        };
        *time > at(1440) && readings.iter().any(|r| low(&r))
    });
    let first_light = first_light.expect("it is wet").0;
    let told = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
    let [low, _] = told.of(Kind::IsolationLow)[..] else {
        panic!("one of each inverter:\n{}", told.list());
    };
    assert_eq!(
        (low.began, low.found),
        (first_light, first_light + Span::from_min(1))
    );
    assert_eq!(low.ended, Some(at(1440 + 600)), "dry at ten");
    assert!(low.lost.wh() > 1000.0, "{:?}", low.lost);
    let lost_min = low.evidence["lost_generation_min"];
    assert!((180.0..300.0).contains(&lost_min), "{lost_min} min");
    assert_eq!(low.evidence["relative_humidity_ratio"], 0.96);
}

#[test]
fn idle_poles_tell_where_a_single_fault_lies() {
    let leak = Period::new((1, 3.0), (1, 9.0));
    let world = World::fair()
        .with(leak, What::LeaksWithoutBit(0, 2e4))
        .with(leak, What::FaultAt(0, 0.3642));
    let told = told(world, 2);
    let [low] = told.of(Kind::IsolationLow)[..] else {
        panic!("{}", told.list());
    };
    assert_eq!(
        low.began,
        at(1620),
        "it is told in the dark, and where when there is light"
    );
    tests::assert_close!(
        low.evidence["fault_position_ratio"],
        0.3642,
        0.005,
        "of the string"
    );
    let modules = low.evidence["modules_from_negative_end_count"];
    tests::assert_close!(modules, 0.3642 * 16.0, 0.1, "of sixteen modules");
    assert_eq!(low.evidence["assumed_faults_count"], 1.0);
    for words in ["between modules 5 and 6", "single fault", "second fault"] {
        assert!(low.summary.contains(words), "{}", low.summary);
    }
    let lost_min = low.evidence["lost_generation_min"];
    assert!((120.0..240.0).contains(&lost_min), "{lost_min} min");
}

#[test]
fn a_residual_current_above_its_limit_is_told_at_one_poll() {
    let (high, below) = (
        Period::new((1, 11.0), (1, 11.3)),
        Period::new((1, 9.0), (1, 10.0)),
    );
    let world = World::fair()
        .with(below, What::ResidualCurrent(0, 0.29))
        .with(below, What::ResidualCurrent(1, 65.535))
        .with(high, What::ResidualCurrent(0, 0.35));
    let told = told(world, 2);
    let [high] = told.of(Kind::ResidualCurrentHigh)[..] else {
        panic!("{}", told.list());
    };
    assert_eq!((high.began, high.found), (at(1440 + 660), at(1440 + 660)));
    assert_eq!(high.ended, Some(at(1440 + 678)));
    assert_eq!(high.severity, Severity::Now);
    assert_eq!(high.evidence["residual_current_a"], 0.35);
    assert_eq!(high.evidence["residual_current_limit_a"], 0.3, "25 kW");
    assert!(high.advice.iter().any(|line| line.contains("too fast")));
    // Where a current has been published, a register without one is no current: told as that.
    assert_eq!(told.of(Kind::ValueImpossible).len(), 1, "{}", told.list());
    assert_eq!(told.but_limits().len(), 2, "{}", told.list());
}

/// One poll is the contract, whether it works or not.
#[test]
fn a_residual_current_while_not_producing_is_told_at_one_poll() {
    let night = Period::new((1, 2.0), (1, 2.01));
    let told = told(World::fair().with(night, What::ResidualCurrent(0, 0.35)), 2);
    let [high] = told.of(Kind::ResidualCurrentHigh)[..] else {
        panic!("{}", told.list());
    };
    assert_eq!((high.began, high.found), (at(1440 + 120), at(1440 + 120)));
}

/// Dry for half an hour and more, so that it has ended, and another place within the hour after.
#[test]
fn another_place_within_an_hour_is_told() {
    let (first, second) = (
        Period::new((1, 3.0), (1, 9.0)),
        Period::new((1, 9.7), (1, 11.5)),
    );
    let world = World::fair()
        .with(first, What::LeaksWithoutBit(0, 2e4))
        .with(first, What::FaultAt(0, 0.25))
        .with(second, What::LeaksWithoutBit(0, 2e4))
        .with(second, What::FaultAt(0, 0.75));
    let told = told(world, 2);
    let [low] = told.of(Kind::IsolationLow)[..] else {
        panic!("{}", told.list());
    };
    tests::assert_close!(
        low.evidence["fault_position_ratio"],
        0.75,
        0.005,
        "of the string"
    );
    assert!(
        low.summary.contains("at 0.75 of the string"),
        "{}",
        low.summary
    );
    assert!(
        low.evidence.contains_key("lost_generation_min"),
        "{:?}",
        low.evidence
    );
}

/// The register shows nothing at rest, when the poles tell the place: what began it was a number.
#[test]
fn a_place_that_is_told_without_a_number_does_not_make_a_bit_of_it() {
    let leak = Period::new((1, 3.0), (1, 9.0));
    let world = World::fair()
        .with(leak, What::LeaksWithoutBit(0, 2e4))
        .with(leak, What::FaultAt(0, 0.3642));
    let (plant, mut polls) = play(&two_inverters(), world, 2);
    let ohm = plant
        .channels
        .id(&"inv-1/isolation_resistance_ohm".parse().expect("a channel"));
    for (time, readings) in &mut polls {
        // A few polls show it, before there is light.
        if *time > at(1440 + 190) && *time < at(1440 + 560) {
            readings.retain(|r| Some(r.channel) != ohm);
        }
    }
    let told = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
    let [low] = told.of(Kind::IsolationLow)[..] else {
        panic!("{}", told.list());
    };
    assert!(
        low.evidence.contains_key("fault_position_ratio"),
        "{:?}",
        low.evidence
    );
    assert!(!low.summary.contains("ground-fault bit"), "{}", low.summary);
    assert!(low.summary.contains("20 kΩ"), "{}", low.summary);
}

/// What the watch makes of polls that publish a resistance, a bit, or neither.
fn edges(polls: &[(Option<f64>, Option<bool>)]) -> Vec<Edge<Option<f64>>> {
    let mut watch = IsolationWatch::new();
    let poll = |(n, (ohm, bit)): (i64, &(Option<f64>, Option<bool>))| {
        let poll = IsolationPoll {
            resistance: Published::new(*ohm),
            ground_fault: *bit,
            producing: None,
        };
        watch.poll(at(10 * n), poll, LIMIT_OHM)
    };
    (0..).zip(polls).filter_map(poll).collect()
}

const LOW: (Option<f64>, Option<bool>) = (Some(2e4), None);
const NOTHING: (Option<f64>, Option<bool>) = (None, None);

/// Sources that deliver channel by channel make polls that hold other things only.
#[test]
fn polls_without_a_resistance_neither_confirm_nor_deny() {
    assert_eq!(edges(&[LOW, NOTHING, (Some(0.0), None), LOW]).len(), 1);
    assert_eq!(edges(&[LOW, NOTHING, (Some(0.0), None)]), []);
    let dry = (Some(1e6), None);
    assert_eq!(edges(&[LOW, LOW, dry, NOTHING, NOTHING, dry]).len(), 2);
}

/// Devices that publish no resistance: the bit begins it, and half an hour without the bit ends it.
#[test]
fn where_only_a_bit_is_published_its_absence_ends_it() {
    let (set, clear) = ((None, Some(true)), (None, Some(false)));
    let wanted = [
        Edge::Found {
            began: at(10),
            found: at(10),
            seen: None,
        },
        Edge::Ended { at: at(30) },
    ];
    assert_eq!(
        edges(&[clear, set, set, clear, clear, clear, clear]),
        wanted
    );
    assert_eq!(
        edges(&[clear, set, clear, clear]).len(),
        1,
        "not before half an hour"
    );
}
