//! What the engine has learned and keeps by name: gains, offsets, mornings of insulation.

use super::{layout, open, path, state};
use analysis::detect::Morning;
use analysis::expected::{Known, Learned, LearnedOf, WeatherRung};
use analysis::reading::{DeviceId, SolarDay, Time};
use daemon::store::Step;

fn learned(of: LearnedOf, day: i64, value: f64) -> Learned {
    let known = |from: i64, to: i64, value: f64| Known {
        value,
        sigma: 0.01,
        from: SolarDay::from_number(from),
        to: SolarDay::from_number(to),
        days: (to - from + 1) as usize,
    };
    Learned {
        of,
        now: known(day - 3, day, value),
        baseline: known(1, 14, 1.0),
    }
}

#[test]
fn what_was_forgotten_is_not_read_back_until_it_is_learned_again() {
    let dir = tempfile::tempdir().expect("a directory");
    let rung = WeatherRung::HorizontalOnly;
    let of = LearnedOf::Light(0, rung);
    let kept = learned(LearnedOf::Current(0, 1), 20, 0.99);
    let mut store = open(&path(&dir), &layout());
    let mut step = |forgotten: &[LearnedOf], learned: &[Learned]| {
        let state = state(b"state");
        let step = Step {
            forgotten,
            learned,
            ..Step::nothing(&state)
        };
        store.commit(&step).expect("the step fits the plant");
        store.learned().expect("it reads")
    };
    let before = [learned(of, 19, 0.96), learned(of, 20, 0.97), kept];
    assert_eq!(step(&[], &before).len(), 2);
    assert_eq!(step(&[of], &[]), [kept]);
    let again = learned(of, 21, 1.01);
    let read = step(&[of], &[again]);
    assert!(read.contains(&again) && read.len() == 2, "{read:?}");
}

#[test]
fn what_was_learned_is_read_back_at_its_latest_and_by_name() {
    let dir = tempfile::tempdir().expect("a folder");
    let rung = WeatherRung::PlaneSensor;
    let early = [
        learned(LearnedOf::Light(0, rung), 20, 0.97),
        learned(LearnedOf::Current(0, 1), 20, 0.99),
    ];
    let late = [learned(LearnedOf::Light(0, rung), 21, 0.96)];
    let mut store = open(&path(&dir), &layout());
    for learned in [&early[..], &late[..]] {
        let state = state(b"state");
        let step = Step {
            learned,
            ..Step::nothing(&state)
        };
        store.commit(&step).expect("the step fits the plant");
    }
    drop(store);
    let mut turned = layout();
    turned.planes.reverse();
    turned.inverters[0].1.reverse();
    let read = open(&path(&dir), &turned).learned().expect("it reads");
    let moved = [
        learned(LearnedOf::Light(1, rung), 21, 0.96),
        learned(LearnedOf::Current(0, 0), 20, 0.99),
    ];
    assert_eq!(read.len(), 2, "{read:?}");
    assert!(moved.iter().all(|wanted| read.contains(wanted)), "{read:?}");
}

#[test]
fn mornings_of_insulation_are_read_back_in_order_and_by_the_inverters_name() {
    let dir = tempfile::tempdir().expect("a folder");
    let morning = |day: i64, log10_ohm, is_wet| Morning {
        at: Time::from_unix_ms(day * 86_400_000),
        log10_ohm,
        is_wet,
        temperature_degc: Some(12.5),
        is_low: log10_ohm.is_none(),
        lost_min: 7,
    };
    let made = [
        (0, morning(2, Some(5.25), Some(true))),
        (0, morning(1, Some(6.5), Some(false))),
        (0, morning(3, None, None)),
    ];
    let mut store = open(&path(&dir), &layout());
    let state = state(b"state");
    let step = Step {
        mornings: &made,
        ..Step::nothing(&state)
    };
    store.commit(&step).expect("the step fits the plant");
    drop(store);
    let read = open(&path(&dir), &layout()).mornings().expect("it reads");
    assert_eq!(read, [made[1], made[0], made[2]]);
    let last = open(&path(&dir), &layout())
        .mornings_of(0, 2)
        .expect("it reads");
    assert_eq!(last, [made[0].1, made[2].1]);
    let mut other = layout();
    other.inverters[0].0 = DeviceId::new("another");
    let read = open(&path(&dir), &other).mornings().expect("it reads");
    assert_eq!(read, []);
}
