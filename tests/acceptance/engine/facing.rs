//! A plane that lies otherwise than the site file says is found out where no sensor lies in it, and one
//! that lies as stated is left alone.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::with_mast;
use analysis::detect::Kind;
use analysis::expected::{Learned, LearnedOf};
use analysis::plant::Plant;
use analysis::reading::{Angle, Quantity, Span};
use std::sync::Arc;
use tests::plant::{NORTH, START, Shape, Strings, Twin, WEST, World};

const DAYS: i64 = 24;

/// Two inputs in one plane; global and direct irradiance are measured on the ground.
fn stated() -> Plant {
    let strings = Strings {
        parallel: 2,
        modules: 16,
        plane: NORTH,
    };
    let shape = Shape {
        inverters: vec![(60_000.0, vec![strings; 2])],
        sensor: None,
        every: Span::from_min(5),
    };
    with_mast(&shape, &[Quantity::Ghi, Quantity::Dni])
}

/// The account of an engine that is told the stated plant, of one whose plane lies like this.
fn told(tilt_deg: f64, azimuth_deg: f64) -> Told {
    let stated = Arc::new(stated());
    let mut true_plant = Plant::clone(&stated);
    true_plant.planes[NORTH].tilt = Angle::from_deg(tilt_deg);
    true_plant.planes[NORTH].azimuth = Angle::from_deg(azimuth_deg);
    let world = World {
        cloudiness: vec![0.0, 0.0, 0.4],
        ..World::fair()
    };
    let twin = Twin::new(Arc::new(true_plant), world);
    let at = |n: i64| START + Span::from_min(5) * n;
    let polls: Vec<_> = (0..DAYS * 288).map(|n| (at(n), twin.poll(at(n)))).collect();
    account(&stated, one_by_one(&polls), end_of(&stated, &polls))
}

fn last(told: &Told, of: LearnedOf) -> Option<Learned> {
    told.learned.iter().rev().find(|l| l.of == of).copied()
}

#[test]
fn a_plane_that_lies_otherwise_is_found_out() {
    let (tilt_deg, azimuth_deg) = (27.0, 12.0);
    let told = told(tilt_deg, azimuth_deg);
    assert!(told.findings.is_empty(), "{}", told.list());
    for (of, wanted_deg, stated_deg) in [
        (LearnedOf::Tilt(NORTH), tilt_deg, 20.0),
        (LearnedOf::Azimuth(NORTH), azimuth_deg, 0.0),
    ] {
        let learned = last(&told, of).unwrap_or_else(|| panic!("{of:?}: not taken"));
        let off_deg = learned.now.value - wanted_deg;
        assert!(off_deg.abs() < 3.0 * learned.now.sigma, "{learned:?}");
        assert!(learned.now.sigma < 2.0, "{learned:?}");
        assert_eq!(learned.baseline.value, stated_deg);
    }
}

#[test]
fn a_plane_that_lies_as_stated_is_left_alone() {
    let told = told(20.0, 0.0);
    assert!(told.findings.is_empty(), "{}", told.list());
    assert_eq!(last(&told, LearnedOf::Tilt(NORTH)), None);
}

/// A roof of 35 deg to the west, with one input, that lies 3 deg flatter and 6 deg further round than
/// stated, under a horizontal sensor: what its oblique light is off by comes back with the sun every
/// day, and is no shade.
#[test]
fn a_lone_steep_plane_that_lies_a_little_otherwise_is_not_in_the_shade() {
    let strings = |plane| Strings {
        parallel: 2,
        modules: 16,
        plane,
    };
    let mut stated = with_mast(
        &Shape {
            inverters: vec![(
                60_000.0,
                vec![strings(NORTH), strings(NORTH), strings(WEST)],
            )],
            sensor: None,
            every: Span::from_min(5),
        },
        &[Quantity::Ghi],
    );
    stated.planes[WEST].tilt = Angle::from_deg(35.0);
    let world = World {
        cloudiness: vec![0.0, 0.1, 0.0],
        ..World::fair()
    };
    let stated = Arc::new(stated);
    for (tilt_deg, azimuth_deg) in [(32.0, 276.0), (38.0, 264.0)] {
        let mut true_plant = Plant::clone(&stated);
        true_plant.planes[WEST].tilt = Angle::from_deg(tilt_deg);
        true_plant.planes[WEST].azimuth = Angle::from_deg(azimuth_deg);
        let twin = Twin::new(Arc::new(true_plant), world.clone());
        let at = |n: i64| START + Span::from_min(5) * n;
        let polls: Vec<_> = (0..10 * 288).map(|n| (at(n), twin.poll(at(n)))).collect();
        let told = account(&stated, one_by_one(&polls), end_of(&stated, &polls));
        assert!(told.of(Kind::Shade).is_empty(), "{}", told.list());
    }
}
