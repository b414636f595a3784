//! Arrays that hang on the inputs otherwise than the site file says are told after the first clear day,
//! with a sensor and without, and a plant as described is not.

use crate::drive::{Told, account, end_of, one_by_one};
use analysis::detect::Kind;
use analysis::plant::Plant;
use analysis::reading::Span;
use std::sync::Arc;
use tests::plant::{NORTH, START, Shape, Strings, Twin, WEST, World, plant};

const EVERY: Span = Span::from_min(5);
const DAYS: i64 = 3;

fn strings(parallel: u8, modules: u16, plane: usize) -> Strings {
    Strings {
        parallel,
        modules,
        plane,
    }
}

fn of(inputs: &[Strings], sensor: Option<usize>) -> Plant {
    plant(&Shape {
        inverters: vec![(60_000.0, inputs.to_vec())],
        sensor,
        every: EVERY,
    })
}

/// What is told of the first plant while the second one stands there.
fn told(stated: &[Strings], true_inputs: &[Strings], sensor: Option<usize>) -> Told {
    told_in(World::fair(), stated, true_inputs, sensor)
}

fn told_in(
    world: World,
    stated: &[Strings],
    true_inputs: &[Strings],
    sensor: Option<usize>,
) -> Told {
    let stated = Arc::new(of(stated, sensor));
    let twin = Twin::new(Arc::new(of(true_inputs, sensor)), world);
    let at = |n: i64| START + EVERY * n;
    let polls: Vec<_> = (0..DAYS * 288).map(|n| (at(n), twin.poll(at(n)))).collect();
    account(&stated, one_by_one(&polls), end_of(&stated, &polls))
}

/// The same, wired as described from `mended` on.
fn told_until_mended(stated: &[Strings], true_inputs: &[Strings], mended: i64) -> Told {
    let stated = Arc::new(of(stated, None));
    let wrong = Twin::new(Arc::new(of(true_inputs, None)), World::fair());
    let right = Twin::new(stated.clone(), World::fair());
    let at = |n: i64| START + EVERY * n;
    let twin = |n: i64| if n < 288 * mended { &wrong } else { &right };
    let polls: Vec<_> = (0..288 * (mended + 2))
        .map(|n| (at(n), twin(n).poll(at(n))))
        .collect();
    account(&stated, one_by_one(&polls), end_of(&stated, &polls))
}

const SENSORS: [Option<usize>; 2] = [None, Some(NORTH)];

#[test]
fn swapped_planes_and_swapped_counts_are_told_on_the_first_day_with_nothing_beside_them_at_the_end()
{
    let planes = [strings(2, 16, NORTH), strings(2, 16, WEST)];
    let counts = [strings(1, 16, NORTH), strings(2, 16, NORTH)];
    for sensor in SENSORS {
        for stated in [planes, counts] {
            let told = told(&stated, &[stated[1], stated[0]], sensor);
            let [swapped] = told.of(Kind::InputsSwapped)[..] else {
                panic!("{sensor:?}: {}", told.list());
            };
            assert!(swapped.found < START + Span::from_h(24), "{}", told.list());
            assert_eq!(swapped.ended, None);
            let stands = told.alarms().into_iter().filter(|f| f.ended.is_none());
            assert_eq!(stands.count(), 1, "{sensor:?}: {}", told.list());
        }
    }
}

#[test]
fn strings_more_or_fewer_than_described_are_told_with_their_number_on_the_first_day() {
    let stated = [strings(2, 16, NORTH), strings(3, 16, WEST)];
    for sensor in SENSORS {
        for count in [1, 3] {
            let there = [strings(count, 16, NORTH), stated[1]];
            let told = told(&stated, &there, sensor);
            let [differs] = told.of(Kind::StringCountDiffers)[..] else {
                panic!("{sensor:?} {count}: {}", told.list());
            };
            assert!(differs.found < START + Span::from_h(24), "{}", told.list());
            assert_eq!(differs.subject.input, Some(1));
            let s = if count == 1 { "" } else { "s" };
            let of = format!("that of {count} string{s}.");
            assert!(differs.summary.contains(&of), "{}", differs.summary);
            // An open string looks the same and is told within the hour, before and beside it. More
            // strings without a sensor make the others look low until it is told.
            let alarms = told.alarms().into_iter();
            let mut stands: Vec<_> = alarms.filter(|f| f.ended.is_none()).collect();
            stands.sort_by_key(|f| f.kind.name());
            let mut wanted = vec![Kind::StringCountDiffers];
            wanted.extend((count < 2).then_some(Kind::StringOpen));
            let kinds: Vec<Kind> = stands.iter().map(|f| f.kind).collect();
            assert_eq!(kinds, wanted, "{sensor:?} {count}: {}", told.list());
            assert!(stands.iter().all(|f| f.subject.input == Some(1)));
        }
    }
}

#[test]
fn without_a_sensor_inputs_of_one_plane_tell_under_clouds_that_one_has_more_strings() {
    let stated = [strings(3, 16, NORTH); 3];
    for (count, is_wrong) in [(4, true), (3, false)] {
        let there = [stated[0], strings(count, 16, NORTH), stated[2]];
        let cloudy = World {
            cloudiness: vec![0.8],
            ..World::fair()
        };
        let told = told_in(cloudy, &stated, &there, None);
        let wiring = told.of(Kind::StringCountDiffers);
        assert_eq!(wiring.len(), usize::from(is_wrong), "{}", told.list());
        assert!(wiring.iter().all(|f| f.subject.input == Some(2)));
        let others = told.alarms().into_iter();
        let others = others.filter(|f| f.ended.is_none() && f.kind != Kind::StringCountDiffers);
        assert_eq!(others.count(), 0, "{count}: {}", told.list());
    }
}

#[test]
fn a_plant_as_described_is_told_nothing_of_its_wiring() {
    let inputs = [
        strings(2, 16, NORTH),
        strings(1, 18, WEST),
        strings(3, 16, WEST),
    ];
    for sensor in SENSORS {
        let told = told(&inputs, &inputs, sensor);
        assert!(told.findings.is_empty(), "{sensor:?}: {}", told.list());
    }
}

#[test]
fn what_has_been_put_right_ends_on_the_next_clear_day() {
    let stated = [strings(2, 16, NORTH), strings(3, 16, WEST)];
    let wrong = [[stated[1], stated[0]], [strings(3, 16, NORTH), stated[1]]];
    for there in wrong {
        let told = told_until_mended(&stated, &there, 2);
        let wiring = [Kind::InputsSwapped, Kind::StringCountDiffers];
        let said: Vec<_> = wiring.iter().flat_map(|kind| told.of(*kind)).collect();
        assert!(!said.is_empty(), "{}", told.list());
        let stands = told.alarms().into_iter().filter(|f| f.ended.is_none());
        assert_eq!(stands.count(), 0, "{}", told.list());
    }
}
