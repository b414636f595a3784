//! Steady losses of current and of voltage on one input: how small, by when, and what takes them.
//! Bars: the project's design, section 6; days are counted from the first day with the fault, all of
//! them fair.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::play;
use analysis::detect::{Kind, Severity};
use analysis::reading::Span;
use tests::plant::{NORTH, Period, Shape, Strings, What, World};

/// Days before the fault, and with it.
const HEALTHY: i64 = 20;
const FAULTY: i64 = 12;
/// The input that has it.
const INPUT: (usize, usize) = (0, 1);

/// Three inputs of 20 modules each: sixty sections.
fn shape(inputs: usize, sensor: bool) -> Shape {
    let strings = Strings {
        parallel: 1,
        modules: 20,
        plane: NORTH,
    };
    Shape {
        inverters: vec![(8_000.0 * inputs as f64, vec![strings; inputs])],
        sensor: sensor.then_some(NORTH),
        every: Span::from_min(5),
    }
}

fn told(shape: &Shape, from: i64, what: Option<What>) -> Told {
    let days = from + FAULTY;
    let mut world = World {
        cloudiness: vec![0.0, 0.2, 0.1, 0.4],
        ..World::fair()
    };
    if let Some(what) = what {
        world = world.with(Period::new((from, 0.0), (days, 0.0)), what);
    }
    let (plant, polls) = play(shape, world, days);
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

/// Days from the first day with the fault to the day that ends before it is told.
fn days_until(told: &Told, kind: Kind, from: i64) -> Option<i64> {
    let [found] = told.of(kind)[..] else {
        return None;
    };
    assert_eq!(found.subject.input, Some(2), "{}", told.list());
    let found = (found.found - tests::plant::START).hours() / 24.0;
    Some(found.round() as i64 - from)
}

fn assert_told(shape: &Shape, from: i64, what: What, kind: Kind, within_days: i64) {
    let told = told(shape, from, Some(what));
    let days = days_until(&told, kind, from);
    println!("{what:?} from day {from}: {kind:?} after {days:?} days");
    assert!(
        days.is_some_and(|days| days <= within_days) && told.findings.len() == 1,
        "{what:?}: {days:?}\n{}",
        told.list()
    );
}

#[test]
fn a_lost_section_of_sixty_is_told_within_three_clear_days() {
    for lost in [1.0 / 60.0, 3.0 / 60.0] {
        let what = What::VoltageLost(INPUT, lost);
        assert_told(&shape(3, true), HEALTHY, what, Kind::SectionLost, 3);
        assert_told(&shape(3, false), HEALTHY, what, Kind::SectionLost, 3);
    }
}

#[test]
fn half_an_ohm_is_told_within_five_clear_days() {
    for ohm in [0.5, 1.0, 3.0] {
        let what = What::JointInString(INPUT, ohm);
        assert_told(&shape(3, true), HEALTHY, what, Kind::ResistanceHigh, 5);
        assert_told(&shape(3, false), HEALTHY, what, Kind::ResistanceHigh, 5);
    }
}

#[test]
fn a_joint_that_may_burn_is_a_hazard() {
    for (ohm, severity) in [(0.4, Severity::Soon), (3.0, Severity::Now)] {
        let told = told(
            &shape(3, true),
            HEALTHY,
            Some(What::JointInString(INPUT, ohm)),
        );
        let [joint] = told.of(Kind::ResistanceHigh)[..] else {
            panic!("{ohm} ohm: {}", told.list());
        };
        println!(
            "{ohm} ohm: {:.0} W, {:?}",
            joint.evidence["heat_w"], joint.severity
        );
        assert_eq!(joint.severity, severity, "{}", joint.summary);
        let is_to_stop = joint.advice[0].contains("Shut the inverter down");
        assert_eq!(is_to_stop, severity == Severity::Now);
    }
}

#[test]
fn four_percent_of_current_are_told_within_three_clear_days() {
    for left in [0.96, 0.92] {
        let what = What::Dimmed(INPUT, left);
        assert_told(&shape(3, true), HEALTHY, what, Kind::CurrentLow, 3);
        assert_told(&shape(3, false), HEALTHY, what, Kind::CurrentLow, 3);
    }
}

#[test]
fn what_was_lost_before_the_handover_is_told_beside_the_datasheet() {
    let module = What::VoltageLost(INPUT, 3.0 / 60.0);
    assert_told(&shape(3, true), 0, module, Kind::SectionLost, 4);
    let dim = What::Dimmed(INPUT, 0.92);
    assert_told(&shape(3, true), 0, dim, Kind::CurrentLow, 6);
}

#[test]
fn it_ends_when_it_is_mended() {
    let world = World {
        cloudiness: vec![0.0, 0.2, 0.1, 0.4],
        ..World::fair()
    };
    let period = Period::new((HEALTHY, 0.0), (HEALTHY + 8, 0.0));
    let world = world.with(period, What::VoltageLost(INPUT, 1.0 / 30.0));
    let days = HEALTHY + 16;
    let (plant, polls) = play(&shape(3, true), world, days);
    let told = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
    let [lost] = told.of(Kind::SectionLost)[..] else {
        panic!("{}", told.list());
    };
    let ended = lost.ended.expect("it was mended");
    let day = (ended - tests::plant::START).hours() / 24.0;
    assert_eq!(day.floor() as i64, HEALTHY + 8, "{}", told.list());
}

/// Under thick cloud no slot is bright enough for the voltage to be known.
#[test]
fn days_without_bright_light_leave_what_stands_as_it_was() {
    const DIM: i64 = 12;
    let mut cloudiness = vec![0.0; (HEALTHY + 4) as usize];
    cloudiness.extend([1.3; DIM as usize]);
    for (what, kind) in [
        (What::VoltageLost(INPUT, 3.0 / 60.0), Kind::SectionLost),
        (What::JointInString(INPUT, 3.0), Kind::ResistanceHigh),
    ] {
        let world = World {
            cloudiness: cloudiness.clone(),
            ..World::fair()
        };
        let days = HEALTHY + 4 + DIM;
        let world = world.with(Period::new((HEALTHY, 0.0), (days, 0.0)), what);
        let (plant, polls) = play(&shape(3, true), world, days);
        let told = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
        let [lost] = told.of(kind)[..] else {
            panic!("{}", told.list());
        };
        assert!(lost.ended.is_none(), "{}", told.list());
        let numbers = || lost.evidence.values().chain([&lost.confidence]);
        assert!(numbers().all(|n| n.is_finite()), "{:?}", lost.evidence);
        assert!(
            lost.evidence["voltage_loss_ratio"] > 0.01,
            "{}",
            lost.summary
        );
    }
}
