//! The findings on the inverter itself: live, replayed and restarted they are the same.

use crate::drive::{account, assert_same, end_of, in_batches, one_by_one};
use crate::resume::with_restarts;
use crate::scenario::{ample_inverters, polls};
use analysis::detect::Kind;
use analysis::plant::EventBit;
use analysis::reading::Span;
use std::sync::Arc;
use tests::plant::{Period, Shape, What, World, plant};

const EVERY: Span = Span::from_min(5);
const DAYS: i64 = 14;

#[test]
fn however_they_are_delivered_and_wherever_it_is_restarted_they_are_the_same() {
    let until = |from: (i64, f64), to: (i64, f64)| Period::new(from, to);
    let world = World::fair()
        .with(
            until((2, 10.0), (2, 14.0)),
            What::Shows(1, EventBit::OverTemperature),
        )
        .with(
            until((2, 12.0), (2, 13.0)),
            What::Shows(1, EventBit::CabinetOpen),
        )
        .with(until((3, 8.0), (3, 16.0)), What::Commanded(1, 0.2))
        .with(until((4, 8.0), (4, 16.0)), What::Commanded(1, 0.3))
        .with(until((4, 0.0), (6, 11.0)), What::OffPeak((0, 0), 0.88))
        .with(until((8, 0.0), (12, 0.0)), What::Converts(0, 0.96));
    let plant = Arc::new(plant(&Shape {
        every: EVERY,
        ..ample_inverters()
    }));
    let polls = polls(&plant, world, DAYS, EVERY);
    let end = end_of(&plant, &polls);
    let live = account(&plant, one_by_one(&polls), end);
    for kind in [
        Kind::TrackerOffPeak,
        Kind::EfficiencyLow,
        Kind::Limited,
        Kind::ProtectionActed,
    ] {
        assert_eq!(live.of(kind).len(), 1, "{kind:?} in\n{}", live.list());
    }
    let batches = account(&plant, in_batches(&polls, 500), end);
    assert_same(&batches, &live, "batches of 500");
    let restarted = with_restarts(&plant, &polls, |row| row % 100 == 0);
    assert_same(&restarted, &live, "restarts at every hundredth row");
}
