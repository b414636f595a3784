//! Clocks read off made-up nights. Kind of truth: property.

use super::*;

const EVERY: Span = Span::from_min(5);
const DAY: Span = Span::from_h(24);

/// The sun of an equinox on the equator: up from six to eighteen.
fn elevation_deg(at: Time) -> f64 {
    let hours = at.unix_ms() as f64 / 3_600_000.0;
    90.0 - (hours.rem_euclid(24.0) - 12.0).abs() * 15.0
}

/// Plays one day after the other: by how many minutes it begins late and ends late by its stamps.
fn played(days: &[(f64, f64)]) -> (NightWatch, Vec<Edge<ClockOff>>) {
    let mut watch = NightWatch::new();
    let mut edges = Vec::new();
    for (day, (rise, set)) in days.iter().enumerate() {
        let at = |hour: f64, min: f64| {
            Time::from_unix_ms(0)
                + DAY * day as i64
                + Span::from_s((hour * 3600.0 + min * 60.0) as i64)
        };
        let polls = [
            at(6.0, *rise),
            at(10.0, *rise),
            at(14.0, *set),
            at(18.0, *set),
        ];
        // Ends of polls fall anywhere in between.
        let jitter = |n: usize| Span::from_s(((day * 7 + n * 3) % 5) as i64 * 30);
        for (n, poll) in polls.into_iter().enumerate() {
            edges.extend(watch.lit(poll + jitter(n), EVERY, elevation_deg));
        }
    }
    (watch, edges)
}

fn days(right: usize, then: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut days = vec![(0.0, 0.0); right];
    days.extend(then);
    days
}

#[test]
fn a_step_is_told_after_three_nights_and_a_large_one_after_two() {
    for (minutes, nights) in [(10.0, 3), (-10.0, 3), (60.0, 2), (-60.0, 2)] {
        // Set at noon of the last right day: its evening is off already.
        let mut all = days(12, &[(minutes, minutes); 4]);
        all[11].1 = minutes;
        let (watch, edges) = played(&all);
        let [Edge::Found { began, found, seen }] = edges[..] else {
            panic!("{minutes}: {edges:?}");
        };
        assert!((seen.offset.minutes - minutes).abs() < 2.0, "{seen:?}");
        assert_eq!(seen.days, nights);
        let after = (found - began).hours() / 24.0;
        assert!(
            (after - (nights as f64 - 0.5)).abs() < 0.1,
            "{minutes}: {after}"
        );
        assert_eq!(watch.standing().map(|(_, seen)| seen.days), Some(nights));
    }
}

#[test]
fn days_that_are_shorter_longer_or_late_at_one_end_are_no_clock() {
    for other in [(60.0, -60.0), (-30.0, 30.0), (90.0, 0.0), (0.0, -90.0)] {
        let (_, edges) = played(&days(12, &[other; 6]));
        assert!(edges.is_empty(), "{other:?}: {edges:?}");
    }
    // Less than it tells, and too few nights to know what is usual.
    assert!(played(&days(12, &[(4.0, 4.0); 6])).1.is_empty());
    assert!(played(&days(6, &[(60.0, 60.0); 3])).1.is_empty());
}

#[test]
fn nights_that_scatter_ask_for_a_larger_step() {
    let scattered: Vec<(f64, f64)> = (0..14)
        .map(|day| f64::from(day % 5 - 2) * 8.0)
        .map(|min| (min, min))
        .collect();
    let with = |minutes: f64| {
        let mut all = scattered.clone();
        all.extend([(minutes, minutes); 4]);
        played(&all).1
    };
    assert!(with(10.0).is_empty());
    assert_eq!(with(60.0).len(), 1);
}

#[test]
fn it_ends_once_two_nights_are_as_they_were_and_is_not_told_again() {
    let mut all = days(12, &[(60.0, 60.0); 20]);
    all.extend([(0.0, 0.0); 6]);
    let (watch, edges) = played(&all);
    let [Edge::Found { .. }, Edge::Ended { at }] = edges[..] else {
        panic!("{edges:?}");
    };
    // The evening of the last day that was off begins no right night.
    let day = (at - Time::from_unix_ms(0)).hours() / 24.0;
    assert!((day - 32.75).abs() < 0.1, "{day}");
    assert_eq!(watch.standing(), None);
    let usual = watch.usual().expect("nights enough");
    let moved = watch.earlier.iter().map(|night| middle(night.moved(usual)));
    assert!(moved.fold(0.0, |most: f64, min| most.max(min.abs())) < 10.0);
}

#[test]
fn what_is_accepted_is_the_usual_one_from_then_on() {
    let (mut watch, _) = played(&days(12, &[(60.0, 60.0); 4]));
    assert!(watch.standing().is_some());
    watch.accept();
    assert_eq!(watch.standing(), None);
    assert!(watch.earlier.is_empty() && watch.latest.is_empty());
}

#[test]
fn a_gap_by_day_and_a_sun_that_hardly_sinks_are_no_nights() {
    let mut watch = NightWatch::new();
    let at = |hour: i64| Time::from_unix_ms(0) + Span::from_h(hour);
    for hour in [6, 9, 15, 18] {
        watch.lit(at(hour), EVERY, elevation_deg);
    }
    assert!(watch.latest.is_empty());
    let low = |at: Time| elevation_deg(at) / 10.0;
    watch.lit(at(30), EVERY, low);
    assert!(watch.latest.is_empty());
}
