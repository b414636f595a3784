//! Joints told, ended and remembered, over supplies of one phase made for it. Kind of truth: property.

use super::super::export_day::Mean;
use super::*;
use crate::plant::VoltageLimit;
use crate::reading::{Span, Voltage};

fn limits() -> GridLimits {
    let over = VoltageLimit {
        limit: Voltage::from_v(265.0),
        within: Span::from_s(2),
    };
    GridLimits {
        over_voltage: vec![over],
        sustained_over_voltage: Some(Voltage::from_v(258.0)),
        ..GridLimits::none()
    }
}

/// A day of clouds over a supply of one phase, with so much reactive current for every ampere.
fn shown(ohm: f64, reactive_per_active: f64) -> ExportDay {
    let mean = |n: i64| {
        let amps = 15.0 + 10.0 * (n as f64 * 0.8).sin();
        Mean {
            start: Time::from_unix_ms(n * 60_000),
            volts: 230.0 + ohm * amps,
            amps,
            reactive_a: Some(reactive_per_active * amps),
            is_producing: true,
        }
    };
    let mut day = ExportDay::default();
    for n in 0..300 {
        day.add(0, &mean(n), 36.0, || None, Span::from_min(1));
        day.step(0, &mean(n), &mean(n + 1), 36.0);
    }
    day
}

/// Edges of resistance after five days of the first and four of the second.
fn edges(first: ExportDay, then: ExportDay) -> usize {
    let limits = limits();
    let facts = SupplyFacts {
        limits: &limits,
        phases: 1,
        rated_a: 36.0,
    };
    let mut supply = SupplyDays::new();
    let mut count = 0;
    for n in 0..9 {
        let shown = if n < 5 { &first } else { &then };
        let day = SolarDay::from_number(n);
        let now = Time::from_unix_ms(n * 86_400_000);
        let edges = supply.close_day((day, now), shown, &facts);
        let is_resistance = |e: &&SupplyEdge| matches!(e, SupplyEdge::Resistance(_));
        count += edges.iter().filter(is_resistance).count();
    }
    count
}

/// Told on the third of the days that have changed, and on the next.
#[test]
fn a_change_is_told_unless_the_reactive_power_has_been_set_another_way() {
    assert_eq!(edges(shown(0.1, 0.0), shown(0.14, 0.0)), 2);
    assert_eq!(edges(shown(0.1, -0.3), shown(0.14, -0.3)), 2);
    assert_eq!(edges(shown(0.1, -0.3), shown(0.14, 0.0)), 0);
    assert_eq!(edges(shown(0.1, 0.0), shown(0.11, 0.0)), 0);
}

/// What is told of the resistance, by day, of days with so many ohm, or of which nothing is seen.
fn told(supply: &mut SupplyDays, from: i64, days: &[Option<f64>]) -> Vec<(i64, bool)> {
    let limits = limits();
    let facts = SupplyFacts {
        limits: &limits,
        phases: 1,
        rated_a: 36.0,
    };
    let mut told = Vec::new();
    for (n, ohm) in (from..).zip(days) {
        let shown = ohm.map_or_else(ExportDay::default, |ohm| shown(ohm, 0.0));
        let now = (SolarDay::from_number(n), Time::from_unix_ms(n * 86_400_000));
        for edge in supply.close_day(now, &shown, &facts) {
            if let SupplyEdge::Resistance(edge) = edge {
                told.push((n, matches!(edge, Edge::Found { .. })));
            }
        }
    }
    told
}

const AT_FIRST: [Option<f64>; 5] = [Some(0.1); 5];

/// Four days it takes to tell this one; three that are better are fewer than told it.
#[test]
fn a_joint_that_took_four_days_to_tell_does_not_end_on_three() {
    let mut supply = SupplyDays::new();
    assert_eq!(told(&mut supply, 0, &AT_FIRST), []);
    let worse = [0.125, 0.124, 0.1105, 0.125].map(Some);
    assert_eq!(told(&mut supply, 5, &worse), [(8, true)]);
    assert_eq!(told(&mut supply, 9, &[Some(0.109); 3]), []);
    assert_eq!(told(&mut supply, 12, &[Some(0.109); 1]), [(12, false)]);
}

/// Another inverter of the site is silent: no day shows anything.
#[test]
fn a_joint_that_no_day_of_a_month_shows_does_not_stand_for_ever() {
    let mut supply = SupplyDays::new();
    told(&mut supply, 0, &AT_FIRST);
    let found = told(&mut supply, 5, &[Some(0.14); 3]);
    assert_eq!(found, [(7, true)]);
    let silent = told(&mut supply, 8, &[None; 29]);
    assert!(silent.iter().all(|(_, found)| *found), "{silent:?}");
    // The last day that showed it was day 7.
    assert_eq!(told(&mut supply, 37, &[None; 5]), [(38, false)]);
}

/// A new version of the engine's state keeps nothing but what was learned.
#[test]
fn a_baseline_that_was_kept_is_not_learned_anew_from_the_fault() {
    let mut before = SupplyDays::new();
    told(&mut before, 0, &AT_FIRST);
    let learned = before.learned();
    let numbers: Vec<_> = learned
        .iter()
        .map(|(phase, of, ..)| (*phase, *of))
        .collect();
    assert_eq!(
        numbers,
        [(0, SupplyNumber::Resistance), (0, SupplyNumber::Reactive)]
    );
    let mut fresh = SupplyDays::new();
    for (phase, of, _, baseline) in &learned {
        fresh.recall(*phase, *of, baseline);
    }
    assert_eq!(told(&mut fresh, 5, &[Some(0.14); 3]), [(7, true)]);
    assert_eq!(fresh.learned()[0].3.value, learned[0].3.value);
    // Without it the fault itself becomes what was at first.
    let mut forgetful = SupplyDays::new();
    assert_eq!(told(&mut forgetful, 5, &[Some(0.14); 9]), []);
}

#[test]
fn what_export_the_limit_leaves() {
    // 8 V over 0.08 ohm are 100 A on each of three phases.
    let left = export_at_limit_w(3, 258.0, 250.0, 0.08).expect("it rises");
    assert!((left - 77_400.0).abs() < 1e-6, "{left}");
    assert_eq!(export_at_limit_w(3, 258.0, 259.0, 0.08), Some(0.0));
    assert_eq!(export_at_limit_w(3, 258.0, 250.0, 0.0), None);
}

/// Standard normal values (Box and Muller) from a hash of two numbers (Lehmer, 48271 modulo 2^31 - 1).
fn normal(seed: i64, n: i64) -> f64 {
    let uniform = |salt: i64| {
        let mut z =
            (seed * 7919 + n * 104_729 + salt * 15_485_863 + 1).rem_euclid(2_147_483_646) + 1;
        for _ in 0..5 {
            z = z * 48_271 % 2_147_483_647;
        }
        z as f64 / 2_147_483_647.0
    };
    (-2.0 * uniform(1).ln()).sqrt() * (std::f64::consts::TAU * uniform(2)).cos()
}

/// A day of one value each five minutes: clouds for some of its hours, 0.3 V from value to value and
/// loads of 0.8 V that change every quarter of an hour.
fn restless(seed: i64, day: i64, ohm: f64) -> ExportDay {
    let cloudy_h = 1.0 + 4.0 * normal(seed, -day).abs();
    let at = |n: i64| {
        let t = day * 288 + n;
        let cloud = if n as f64 / 12.0 < cloudy_h { 8.0 } else { 1.0 };
        let amps = 20.0 + cloud * normal(seed + 1000, t);
        let loads = 0.8 * normal(seed + 2000, t.div_euclid(3));
        Mean {
            start: Time::from_unix_ms(t * 300_000),
            volts: 230.0 + ohm * amps + loads + 0.3 * normal(seed + 3000, t),
            amps,
            reactive_a: None,
            is_producing: true,
        }
    };
    let mut shown = ExportDay::default();
    for n in 0..100 {
        shown.add(0, &at(n), 36.0, || None, Span::from_min(5));
        shown.step(0, &at(n), &at(n + 1), 36.0);
    }
    shown
}

/// Days until a resistance is told of a supply that has `more` of it from a day on; at most 180.
fn days_to_tell(seed: i64, more: f64, from: i64) -> Option<i64> {
    let limits = limits();
    let facts = SupplyFacts {
        limits: &limits,
        phases: 1,
        rated_a: 36.0,
    };
    let mut supply = SupplyDays::new();
    (0..180).find(|day| {
        let ohm = if *day < from {
            0.12
        } else {
            0.12 * (1.0 + more)
        };
        let now = (
            SolarDay::from_number(*day),
            Time::from_unix_ms(day * 86_400_000),
        );
        let edges = supply.close_day(now, &restless(seed, *day, ohm), &facts);
        edges.iter().any(|e| matches!(e, SupplyEdge::Resistance(_)))
    })
}

/// Few half hours with clouds say little of how unsure they are: the days that seem quiet by chance
/// must not outweigh the rest. The waits are a regression: 80 % more are told within the week that is
/// asked for on 15 of 40 such supplies, on all of them within four.
#[test]
fn a_supply_that_is_read_every_five_minutes_is_quiet_and_a_joint_is_told_within_weeks() {
    const SEEDS: i64 = 40;
    let quiet = (0..SEEDS).filter_map(|seed| days_to_tell(seed, 0.0, 0));
    let false_alarms = quiet.count();
    println!(
        "{false_alarms} false alarms in {:.0} years",
        SEEDS as f64 / 2.0
    );
    let mut waits: Vec<i64> = (0..SEEDS)
        .map(|seed| days_to_tell(seed + 100, 0.8, 40).map_or(140, |day| day - 40))
        .collect();
    waits.sort_unstable();
    println!("80 % more: {:?}", waits);
    assert!(false_alarms <= 1, "{false_alarms}");
    assert!(waits.iter().all(|wait| *wait >= 0), "{waits:?}");
    assert!(waits[waits.len() / 2] <= 14, "{waits:?}");
    assert!(waits.last().is_some_and(|wait| *wait <= 28), "{waits:?}");
}
