//! Sensors beside made-up days. Kind of truth: property.

use super::*;

const SLOT: Span = Span::from_min(5);

/// What is told over days whose slots are given by day and hour: r and k.
fn told(days: i64, slot: impl Fn(i64, f64) -> (f64, f64)) -> Vec<(i64, SensorFault)> {
    told_by(SensorBasis::Inputs, days, slot)
}

fn told_by(
    basis: SensorBasis,
    days: i64,
    slot: impl Fn(i64, f64) -> (f64, f64),
) -> Vec<(i64, SensorFault)> {
    let mut watch = SensorWatch::new(basis);
    let mut told = Vec::new();
    for d in 0..days {
        let day = SolarDay::from_number(d);
        let midnight = Time::from_unix_ms(d * 86_400_000);
        let edges = watch.close_day(day, SLOT, midnight, Budget::new(0.05));
        told.extend(edges.into_iter().filter_map(|(fault, edge)| match edge {
            Edge::Found { .. } => Some((d, fault)),
            Edge::Ended { .. } => None,
        }));
        for n in 96..192 {
            let hour = f64::from(n) / 12.0;
            // Half a percent from day to day, deterministic.
            let wobble = 1.0 + 0.005 * f64::from((d * 7 % 5) as i32 - 2);
            let (ratio, clear_index) = slot(d, hour);
            let seen = SensorSlot {
                start: midnight + SLOT * i64::from(n),
                hour,
                ratio: ratio * wobble,
                spread: 0.02,
                clear_index: clear_index * wobble,
            };
            watch.add(day, seen);
        }
    }
    told
}

#[test]
fn a_sensor_that_drops_or_rises_by_six_percent_is_told_within_days() {
    for (times, fault) in [(0.94, SensorFault::Falling), (1.06, SensorFault::High)] {
        let told = told(30, |d, _| {
            if d < 15 {
                (0.97, 1.0)
            } else {
                (0.97 / times, times)
            }
        });
        assert_eq!(told.len(), 1, "{told:?}");
        assert!(
            told[0].1 == fault && (16..=20).contains(&told[0].0),
            "{told:?}"
        );
    }
}

#[test]
fn dirt_on_the_array_washing_it_and_hazy_air_are_no_sensor() {
    assert_eq!(told(60, |d, _| (0.97 - 0.002 * d as f64, 1.0)), []);
    assert_eq!(told(60, |d, _| (if d < 20 { 0.93 } else { 0.99 }, 1.0)), []);
    assert_eq!(told(60, |d, _| (0.97, if d < 20 { 1.0 } else { 0.9 })), []);
}

#[test]
fn one_that_is_fifteen_percent_low_from_the_start_is_told_in_the_first_week() {
    let told = told(10, |_, _| (1.15, 0.87));
    assert!(
        told.first()
            .is_some_and(|t| t.0 <= 6 && t.1 == SensorFault::Low),
        "{told:?}"
    );
}

#[test]
fn a_sensor_that_tips_over_and_one_in_the_shade_are_told_apart() {
    let tipped = told(30, |d, hour| match (d < 15, hour < 12.0) {
        (true, _) => (0.97, 1.0),
        (false, true) => (0.93, 1.04),
        (false, false) => (1.01, 0.96),
    });
    assert!(
        tipped.iter().all(|t| t.1 == SensorFault::Skewed) && tipped.len() == 1,
        "{tipped:?}"
    );
    let shaded = told(30, |d, hour| {
        let dark = d >= 15 && (9.0..10.0).contains(&hour);
        if dark { (2.0, 0.5) } else { (0.97, 1.0) }
    });
    assert!(
        shaded.iter().any(|t| t.1 == SensorFault::Shaded),
        "{shaded:?}"
    );
}

/// What other planes and the clear sky say together of a horizontal sensor, or one input and the sky.
#[test]
fn a_sensor_that_other_planes_and_the_sky_contradict_is_told_and_one_of_them_alone_is_not() {
    for basis in [SensorBasis::OtherPlanes, SensorBasis::OneInput] {
        for (times, fault) in [
            (0.6, SensorFault::Low),
            (0.88, SensorFault::Falling),
            (1.12, SensorFault::High),
            (1.4, SensorFault::Over),
        ] {
            let told = told_by(basis, 30, |d, _| {
                if d < 15 {
                    (0.98, 0.97)
                } else {
                    (0.98 / times, 0.97 * times)
                }
            });
            assert!(
                told.iter().any(|t| t.1 == fault) && told.iter().all(|t| (16..=21).contains(&t.0)),
                "{basis:?} x {times}: {told:?}"
            );
        }
        let dirt = told_by(basis, 60, |d, _| (0.98 - 0.002 * d as f64, 0.97));
        let haze = told_by(basis, 60, |d, _| (0.98, if d < 20 { 0.97 } else { 0.87 }));
        let cloud = told_by(basis, 60, |d, _| (1.4, if d < 20 { 0.97 } else { 0.4 }));
        assert_eq!((dirt, haze, cloud), (vec![], vec![], vec![]), "{basis:?}");
    }
}

/// A plane that faces a little otherwise strays by the season on both sides of the sky.
#[test]
fn what_healthy_drawn_plants_show_is_quiet() {
    // The widest of nine plants: r of -6 % for ever with 2.5 % from day to day, k within 10 %.
    let stray = |d: i64| 0.025 * (((7 * d) % 11) as f64 / 5.0 - 1.0);
    for basis in [SensorBasis::OtherPlanes, SensorBasis::OneInput] {
        let told = told_by(basis, 360, |d, _| {
            (0.94 * (1.0 + stray(d)), 0.95 * (1.0 - stray(3 * d)))
        });
        assert_eq!(told, [], "{basis:?}");
    }
}
