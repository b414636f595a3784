//! Sensors beside made-up days. Kind of truth: property.

use super::*;

const SLOT: Span = Span::from_min(5);

/// What is told over days whose slots are given by day and hour: r and k.
fn told(days: i64, slot: impl Fn(i64, f64) -> (f64, f64)) -> Vec<(i64, SensorFault)> {
    let mut watch = SensorWatch::new();
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
