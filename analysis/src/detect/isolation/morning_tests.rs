//! Mornings of one inverter, poll by poll. Kind of truth: property.

use super::{Morning, MorningPoll, MorningWatch, Published, Start};
use crate::detect::Dampness;
use crate::reading::{Span, Time};

const DRY: Dampness = Dampness {
    rain_mm: Some(0.0),
    humidity_ratio: Some(0.6),
    dew_point_spread_k: Some(8.0),
    temperature_degc: Some(12.0),
};
const UNMEASURED: Dampness = Dampness {
    rain_mm: None,
    humidity_ratio: None,
    dew_point_spread_k: None,
    temperature_degc: None,
};

/// Polls every quarter of an hour at a place where solar time is UTC: what is published and
/// whether the inverter produces, by day and hour. Light from six to eighteen.
fn mornings(
    days: std::ops::Range<i64>,
    dampness: Dampness,
    limit_ohm: f64,
    publish: impl Fn(i64, f64) -> (f64, bool),
) -> (Vec<Start>, Vec<Morning>) {
    let mut watch = MorningWatch::new();
    let (mut starts, mut closed) = (Vec::new(), Vec::new());
    for n in 96 * days.start..96 * days.end {
        let at = Time::from_unix_ms(n * 900_000);
        let (day, hour) = (n.div_euclid(96), n.rem_euclid(96) as f64 / 4.0);
        let (ohm, producing) = publish(day, hour);
        let (start, morning) = watch.poll(&MorningPoll {
            at,
            day: at.solar_day(0.0),
            hour,
            resistance: Published::new(Some(ohm)),
            is_low: ohm > 0.0 && ohm < limit_ohm,
            producing: Some(producing),
            could_start: (6.0..18.0).contains(&hour),
            dampness,
        });
        starts.extend(start);
        closed.extend(morning);
    }
    (starts, closed)
}

fn ohms(mornings: &[Morning]) -> Vec<f64> {
    // To four digits: what is kept has no more than seven.
    let digits = |ohm: f64| (ohm / 100.0).round() * 100.0;
    let ohm = |m: &Morning| digits(10_f64.powf(f64::from(m.log10_ohm.expect("a number"))));
    mornings.iter().map(ohm).collect()
}

/// Yesterday's number stands until the start at seven, today's until the next one.
#[test]
fn a_number_that_stays_all_day_is_one_morning_and_not_hundreds() {
    let number = |day: i64| 1e6 + 1e4 * day as f64;
    let (starts, closed) = mornings(0..5, DRY, 1e4, |day, hour| {
        let of = if hour < 7.0 { day - 1 } else { day };
        (number(of), (7.0..18.0).contains(&hour))
    });
    assert_eq!(ohms(&closed), [1.0e6, 1.01e6, 1.02e6, 1.03e6, 1.04e6]);
    assert!(
        closed
            .iter()
            .all(|m| m.is_wet == Some(false) && m.lost_min == 0)
    );
    assert_eq!(starts, []);
}

#[test]
fn the_same_number_every_day_is_a_measurement_of_every_day() {
    let (_, closed) = mornings(0..4, DRY, 1e4, |_, hour| (2e6, (7.0..18.0).contains(&hour)));
    assert_eq!(ohms(&closed), [2e6; 4]);
}

#[test]
fn full_scale_and_zero_make_no_morning() {
    for word in [65_535.0, 0.0] {
        let publish = |_, hour| (word, (7.0..18.0).contains(&hour));
        assert_eq!(mornings(0..4, DRY, 1e4, publish), (vec![], vec![]));
    }
}

/// Light from six; the fourth try at nine passes: three hours are lost, and it has dried.
#[test]
fn a_wet_morning_costs_the_time_in_light_until_it_starts() {
    let (starts, closed) = mornings(0..2, UNMEASURED, 4e4, |day, hour| match hour {
        _ if day == 0 => (1.5e6, (6.0..18.0).contains(&hour)),
        ..6.0 => (1.5e6, false),
        6.0..9.0 => (2e4 + 1e3 * hour, false),
        _ => (9e5, hour < 18.0),
    });
    assert_eq!(
        starts,
        [Start {
            lost: Span::from_h(3)
        }]
    );
    assert_eq!(ohms(&closed), [1.5e6, 2.6e4]);
    let wet = closed[1];
    assert_eq!(
        (wet.is_low, wet.lost_min, wet.is_wet),
        (true, 180, Some(true))
    );
    assert_eq!(closed[0].is_wet, None, "one number all day, and no weather");
}

#[test]
fn a_day_without_a_start_is_lost_as_long_as_there_is_light() {
    let (starts, closed) = mornings(0..3, DRY, 4e4, |day, hour| {
        if day == 1 && hour >= 5.0 {
            (2e4, false)
        } else {
            (1e6, (6.0..18.0).contains(&hour))
        }
    });
    assert_eq!(starts, []);
    // From six to the last poll in light, a quarter to eighteen.
    assert_eq!(
        closed.iter().map(|m| m.lost_min).collect::<Vec<_>>(),
        [0, 705, 0]
    );
    assert_eq!(ohms(&closed), [1e6, 2e4, 1e6]);
}

#[test]
fn a_number_that_is_measured_on_and_stays_was_dry() {
    let drifting = |_, hour: f64| (1e6 * (1.0 + 0.01 * hour), (6.0..18.0).contains(&hour));
    let (_, closed) = mornings(0..2, UNMEASURED, 4e4, drifting);
    assert!(closed.iter().all(|m| m.is_wet == Some(false)), "{closed:?}");
}

/// Somebody who joins at noon sees a number of he knows not when.
#[test]
fn a_start_that_nobody_saw_makes_no_morning() {
    let (_, closed) = mornings(0..3, DRY, 4e4, |day, hour| match day {
        0 => (1e6, hour < 18.0), // producing when the watch begins
        _ => (1e6, (6.0..18.0).contains(&hour)),
    });
    assert_eq!(closed.len(), 2);
}
