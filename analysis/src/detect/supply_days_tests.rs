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
        day.add(0, &mean(n), 36.0, None, Span::from_min(1));
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
