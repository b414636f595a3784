//! Insulation resistance under its limit.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::play;
use analysis::detect::{Edge, IsolationWatch, Kind, Severity};
use analysis::reading::{Span, Time};
use tests::plant::{Period, START, What, World, two_inverters};

/// 1100 V over 30 mA (IEC 62109-2, from memory, verify) [ohm].
const LIMIT_OHM: f64 = 1100.0 / 0.03;

fn at(minute: i64) -> Time {
    START + Span::from_min(minute)
}

fn told(world: World, days: i64) -> Told {
    let (plant, polls) = play(&two_inverters(), world, days);
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

/// Water gets in during the night and dries by mid-morning.
#[test]
fn a_leak_at_first_start_of_day_is_told_at_once_and_costs_the_morning() {
    let told = told(
        World::fair().with(Period::new((1, 3.0), (1, 9.0)), What::Leaks(1)),
        2,
    );
    let [low] = told.of(Kind::IsolationLow)[..] else {
        panic!("{}", told.list());
    };
    assert_eq!(
        (low.began, low.found),
        (at(1620), at(1620)),
        "the bit needs no second poll"
    );
    assert_eq!(low.severity, Severity::Now);
    assert_eq!(
        low.ended,
        Some(at(1980)),
        "half an hour well above the limit, told as of its start"
    );
    assert_eq!(low.evidence["isolation_resistance_ohm"], 19_000.0);
    assert!(low.lost.wh() > 1000.0, "{:?}", low.lost);
    assert_eq!(
        told.of(Kind::GridTrip).len(),
        0,
        "a ground fault is no trip:\n{}",
        told.list()
    );
    assert_eq!(
        told.of(Kind::InverterOff).len(),
        0,
        "explained by the leak:\n{}",
        told.list()
    );
}

/// What the watch makes of polls that publish a resistance, a bit, or neither.
fn edges(polls: &[(Option<f64>, Option<bool>)]) -> Vec<Edge<Option<f64>>> {
    let mut watch = IsolationWatch::new();
    let poll = |(n, (ohm, bit)): (i64, &(Option<f64>, Option<bool>))| {
        watch.poll(at(10 * n), *ohm, *bit, LIMIT_OHM)
    };
    (0..).zip(polls).filter_map(poll).collect()
}

const LOW: (Option<f64>, Option<bool>) = (Some(2e4), None);
const NOTHING: (Option<f64>, Option<bool>) = (None, None);

/// Sources that deliver channel by channel make polls that hold other things only.
#[test]
fn polls_without_a_resistance_neither_confirm_nor_deny() {
    assert_eq!(edges(&[LOW, NOTHING, (Some(0.0), None), LOW]).len(), 1);
    assert_eq!(edges(&[LOW, NOTHING, (Some(0.0), None)]), []);
    let dry = (Some(1e6), None);
    assert_eq!(edges(&[LOW, LOW, dry, NOTHING, NOTHING, dry]).len(), 2);
}

/// Devices that publish no resistance: the bit begins it, and half an hour without the bit ends it.
#[test]
fn where_only_a_bit_is_published_its_absence_ends_it() {
    let (set, clear) = ((None, Some(true)), (None, Some(false)));
    let wanted = [
        Edge::Found {
            began: at(10),
            found: at(10),
            seen: None,
        },
        Edge::Ended { at: at(30) },
    ];
    assert_eq!(
        edges(&[clear, set, set, clear, clear, clear, clear]),
        wanted
    );
    assert_eq!(
        edges(&[clear, set, clear, clear]).len(),
        1,
        "not before half an hour"
    );
}
