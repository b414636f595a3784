//! Falls told and not told from mornings made for it. Kind of truth: property.

use super::{Fall, Falling, Morning, Mornings};
use crate::detect::Edge;
use crate::reading::Time;

/// 1100 V over 30 mA: 36.67 kohm (IEC 62109-2, from memory, verify).
const LIMIT_OHM: f64 = 1100.0 / 0.03;

fn morning(day: i64, log10_ohm: f64, is_wet: Option<bool>, degc: Option<f64>) -> Morning {
    Morning {
        at: Time::from_unix_ms(day * 86_400_000),
        log10_ohm: Some(log10_ohm as f32),
        is_wet,
        temperature_degc: degc.map(|t| t as f32),
        is_low: false,
        lost_min: 0,
    }
}

fn edges(mornings: impl IntoIterator<Item = Morning>) -> Vec<Edge<Falling>> {
    let mut kept = Mornings::new();
    let push = |m: Morning| kept.push(m.at, m, LIMIT_OHM);
    mornings.into_iter().filter_map(push).collect()
}

/// From 1 Mohm by 0.02 decades a day: 1.4357 decades, or 71.8 days, to the limit.
#[test]
fn a_straight_fall_is_told_with_the_day_on_which_it_meets_the_limit() {
    let fall = |day: i64| morning(day, 6.0 - 0.02 * day as f64, Some(false), Some(10.0));
    let [Edge::Found { found, seen, .. }] = edges((0..60).map(fall))[..] else {
        panic!("one finding");
    };
    let day = found.unix_ms() as f64 / 86_400_000.0;
    assert_eq!(day, 37.0, "the sixth week has begun on two mornings before");
    let Fall::Drift { days_to_limit, .. } = seen.how else {
        panic!("{seen:?}");
    };
    let meets = (6.0 - LIMIT_OHM.log10()) / 0.02;
    assert!(
        (day + days_to_limit - meets).abs() < 0.01,
        "{days_to_limit}"
    );
}

#[test]
fn a_fall_that_comes_with_warmth_alone_is_none() {
    // 15 K warmer within half a year.
    let warmer = |day: i64| 5.0 + 15.0 * day as f64 / 180.0;
    let log10 = |day: i64| 5.5 - 0.030_103 * (warmer(day) - 5.0);
    let seasonal = |measured: bool| {
        let degc = move |day| measured.then(|| warmer(day));
        edges((0..180).map(move |day| morning(day, log10(day), Some(false), degc(day))))
    };
    assert_eq!(seasonal(true), [], "temperature is measured");
    assert_eq!(seasonal(false), [], "temperature is not measured");
}

#[test]
fn wet_mornings_take_no_part() {
    let mixed = |day: i64| {
        let wet = day % 3 != 0;
        let fall = if wet { 1.5 * day as f64 / 180.0 } else { 0.0 };
        morning(day, 6.2 - fall, Some(wet), Some(10.0))
    };
    assert_eq!(edges((0..180).map(mixed)), []);
}

/// Four wet weeks, as the best of each week shows, then dry again.
#[test]
fn where_nothing_tells_the_best_of_each_week_counts() {
    let open = |day: i64| {
        let wet = if day % 7 == 3 { 0.0 } else { 1.3 };
        morning(day, 6.2 - wet, None, None)
    };
    assert_eq!(edges((0..200).map(open)), []);
    let falling = |day: i64| Morning {
        log10_ohm: open(day).log10_ohm.map(|y| y - 0.01 * day as f32),
        ..open(day)
    };
    assert_eq!(edges((0..200).map(falling)).len(), 1, "30 % a month");
}

#[test]
fn a_step_is_told_on_its_third_day_of_three_and_ends_with_the_repair() {
    let step = |day: i64| {
        let log10 = if (40..60).contains(&day) { 5.5 } else { 6.2 };
        morning(day, log10, Some(false), Some(10.0))
    };
    let edges = edges((0..100).map(step));
    let [Edge::Found { found, seen, .. }, Edge::Ended { at }] = edges[..] else {
        panic!("{edges:?}");
    };
    // Two of three mornings move the median; three mornings in a row must say it.
    assert_eq!(found, Time::from_unix_ms(43 * 86_400_000));
    assert_eq!(seen.how, Fall::Step);
    assert!((seen.from_ohm.log10() - 6.2).abs() < 1e-6);
    assert!(at >= Time::from_unix_ms(59 * 86_400_000) && at <= Time::from_unix_ms(60 * 86_400_000));
}

/// A step of two mornings, then the humidity sensor dies: the three dry mornings that hold two low ones
/// are not judged again with every morning that tells nothing.
#[test]
fn old_dry_mornings_are_not_judged_again_once_the_humidity_sensor_is_dead() {
    let dying = |low_days: std::ops::Range<i64>, level: f64, last: i64| {
        move |day: i64| {
            let log10 = if low_days.contains(&day) { level } else { 6.2 };
            let wet = (day < last).then_some(false);
            morning(day, log10, wet, Some(10.0))
        }
    };
    assert_eq!(edges((0..90).map(dying(40..42, 5.5, 42))), []);
    // Once nothing has told wet from dry for a month, weeks do: a steady fall is still found.
    let falling = |day: i64| {
        let fall = 0.01 * (day - 60).max(0) as f64;
        morning(day, 6.2 - fall, (day < 60).then_some(false), Some(10.0))
    };
    let [Edge::Found { seen, .. }] = edges((0..200).map(falling))[..] else {
        panic!("one finding");
    };
    assert!(matches!(seen.how, Fall::Drift { .. }), "{seen:?}");
}

/// A new version of the engine's state keeps nothing but what was learned: five weeks of a fall come
/// before it, the sixth after.
#[test]
fn mornings_that_were_kept_are_not_lost_with_the_state() {
    let fall = |day: i64| morning(day, 6.0 - 0.02 * day as f64, Some(false), Some(10.0));
    let found = |kept: std::ops::Range<i64>| {
        let mut mornings = Mornings::new();
        kept.map(fall).for_each(|m| mornings.recall(m));
        let mut push = |day: i64| mornings.push(fall(day).at, fall(day), LIMIT_OHM);
        (35..45).filter_map(&mut push).count()
    };
    assert_eq!(found(0..35), 1);
    assert_eq!(found(0..0), 0);
}
