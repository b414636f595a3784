//! Clocks read off made-up clear days. Kind of truth: property.

use super::*;

const STEP: Span = Span::from_min(5);

/// A day of sixteen hours under a beam that is weak near the horizon: columns, and the response
/// of a plane with this east-west and upward part.
fn course() -> Course {
    let columns = (0..288).map(|k| {
        let angle = (f64::from(k) * 5.0 + 2.5 - 720.0) / 1440.0 * std::f64::consts::TAU;
        let up = 0.2 + 0.8 * angle.cos();
        if up <= 0.0 {
            return [0.0; 4];
        }
        let beam = 1000.0 * (-0.2 / up.max(0.02)).exp();
        [
            -beam * angle.sin() * 0.8,
            0.3 * beam,
            beam * up,
            90.0 * up.sqrt(),
        ]
    });
    Course {
        start: Time::from_unix_ms(150_000),
        step: STEP,
        normal: Some([0.0, 0.1, 0.995]),
        columns: columns.collect(),
    }
}

/// The response of a plane turned to the east by some part, stamped so many minutes late.
fn day(east: f64, late_min: f64) -> Vec<(Time, f64)> {
    let course = course();
    let plane = [east, 0.1, 0.9, 1.0];
    let value = |k: f64| {
        let (low, share) = (k.floor() as i64, k - k.floor());
        let at = |i: i64| {
            let x = course.columns[i.rem_euclid(288) as usize];
            (0..4).map(|j| plane[j] * x[j]).sum::<f64>().max(0.0)
        };
        at(low) * (1.0 - share) + at(low + 1) * share
    };
    (0..288)
        .map(|k| (course.start + STEP * k, value(k as f64 - late_min / 5.0)))
        .collect()
}

#[test]
fn an_hour_half_an_hour_and_ten_hours_are_read_off_a_clear_day() {
    for late in [0.0, 60.0, -60.0, 30.0, 600.0, 12.0] {
        let day = day(0.0, late);
        assert!(is_smooth(&day, STEP), "{late}");
        let told = offset(&day, &course()).expect("a clear day");
        assert!((told.minutes - late).abs() < 1.5, "{late}: {told:?}");
    }
}

#[test]
fn a_turned_plane_is_no_clock() {
    for east in [-0.1, -0.05, 0.05, 0.1] {
        let told = offset(&day(east, 0.0), &course()).expect("a clear day");
        assert!(told.minutes.abs() < 1.5, "{east}: {told:?}");
    }
    // So far from what is stated the day says nothing: a turn and a clock are told apart by its edges alone.
    for east in [-0.6, 0.6] {
        assert_eq!(offset(&day(east, 0.0), &course()), None, "{east}");
    }
}

#[test]
fn an_hour_is_told_of_a_plane_that_is_turned_a_little() {
    for (east, late) in [(-0.1, 60.0), (0.1, 60.0), (0.1, -60.0), (-0.1, -60.0)] {
        let told = offset(&day(east, late), &course()).expect("a clear day");
        assert!((told.minutes - late).abs() < 1.5, "{east}: {told:?}");
        assert!(told.minutes.abs() > 3.0 * told.sigma, "{east}: {told:?}");
    }
}

/// Light that weakens from noon on, by a fifth at dusk.
#[test]
fn minutes_that_a_turn_of_the_plane_has_bought_are_not_sure() {
    let mut hazy = day(0.0, 0.0);
    for (k, slot) in hazy.iter_mut().enumerate().skip(144) {
        let share = (k - 144) as f64 / 96.0;
        slot.1 *= 1.0 - 0.2 * share.min(1.0);
    }
    let told = offset(&hazy, &course()).expect("smooth enough");
    assert!(told.sigma > PLANE_FLOOR_MIN + 1.0, "{told:?}");
    assert!(told.minutes.abs() < told.sigma, "{told:?}");
}

#[test]
fn a_day_of_clouds_is_not_smooth() {
    let mut cloudy = day(0.0, 0.0);
    for (k, slot) in cloudy.iter_mut().enumerate().filter(|(k, _)| k % 3 == 0) {
        slot.1 *= if k % 2 == 0 { 0.7 } else { 0.9 };
    }
    assert!(!is_smooth(&cloudy, STEP));
}

#[test]
fn two_clear_days_that_agree_are_told_and_two_right_ones_end_it() {
    let mut watch = ClockWatch::new();
    let midnight = |n: i64| Time::from_unix_ms(n * 86_400_000);
    let offsets = [0.5, -1.0, 59.0, 61.0, 60.0, 1.0, 0.0];
    let told: Vec<_> = (0..)
        .zip(offsets)
        .filter_map(|(n, minutes)| {
            let day = Offset {
                minutes,
                sigma: 1.2,
            };
            watch.add(midnight(n), day, midnight(n + 1))
        })
        .collect();
    let [Edge::Found { began, found, seen }, Edge::Ended { at }] = told[..] else {
        panic!("{told:?}");
    };
    assert_eq!((began, found, at), (midnight(2), midnight(4), midnight(5)));
    assert!((seen.offset.minutes - 60.0).abs() < 0.1, "{seen:?}");
}

#[test]
fn days_that_disagree_or_are_unsure_say_nothing() {
    let mut watch = ClockWatch::new();
    for (n, minutes) in (0..).zip([20.0, -15.0, 9.0, 31.0]) {
        let day = Offset {
            minutes,
            sigma: 1.5,
        };
        let at = Time::from_unix_ms(n * 86_400_000);
        assert_eq!(watch.add(at, day, at), None);
    }
}

#[test]
fn days_since_a_step_show_that_it_has_put_the_clock_right() {
    let at = |day: i64| Time::from_unix_ms(day * 86_400_000);
    let day = |minutes: f64| Offset {
        minutes,
        sigma: 7.0,
    };
    let mut watch = ClockWatch::new();
    // Two days before agree with those after by their own doubt.
    for (n, minutes) in [15.0, 14.0, 1.0, -1.0].into_iter().enumerate() {
        watch.add(at(n as i64), day(minutes), at(n as i64 + 1));
    }
    assert!(watch.is_right_since(at(2), 60.0));
    assert!(!watch.is_right_since(at(2), 15.0), "planes do not know it");
    assert!(!watch.is_right_since(at(3), 60.0), "one day");
}
