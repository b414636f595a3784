//! Efficiency of an inverter, by operating curve: days to detection by size, and what must not be
//! taken for a loss.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::{ample_inverters, polls};
use analysis::detect::Kind;
use analysis::reading::{Place, Quantity, Span, Time};
use std::sync::Arc;
use tests::assert_close;
use tests::plant::{Period, START, Shape, What, World, plant};

const EVERY: Span = Span::from_min(5);
const ONSET: i64 = 16;

fn at(day: i64) -> Time {
    START + Span::from_h(24 * day)
}

fn told_without(world: World, days: i64, left_out: Option<(Place, Quantity)>) -> Told {
    let plant = Arc::new(plant(&Shape {
        every: EVERY,
        ..ample_inverters()
    }));
    let mut polls = polls(&plant, world, days, EVERY);
    for (_, readings) in &mut polls {
        readings.retain(|r| {
            let (_, channel) = plant
                .channels
                .iter()
                .find(|(id, _)| *id == r.channel)
                .expect("of the plant");
            left_out != Some((channel.place, channel.quantity))
        });
    }
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

fn lossy(loss: f64, days: i64) -> World {
    let period = Period::new((ONSET, 0.0), (days, 0.0));
    World::fair().with(period, What::Converts(0, 1.0 - loss))
}

#[test]
fn from_one_and_a_half_percent_it_is_told_within_a_week_with_its_size_and_cost() {
    for loss in [0.015, 0.03, 0.06] {
        let told = told_without(lossy(loss, ONSET + 8), ONSET + 8, None);
        let [low] = told.of(Kind::EfficiencyLow)[..] else {
            panic!("{loss}: {}", told.list());
        };
        println!("{loss}: {} h", (low.found - at(ONSET)).hours());
        assert!(low.found <= at(ONSET + 7), "{loss}: {}", told.list());
        assert_eq!(told.alarms().len(), 1, "{}", told.list());
        // A day's meters, and a fifth of the smallest size.
        let size = low.evidence["efficiency_loss_ratio"];
        assert_close!(size, loss, 0.003, low.summary);
        let slots = told.slots.iter().filter(|s| s.start >= at(ONSET));
        let ac_wh: f64 = slots
            .filter_map(|s| Some((s.inverters[0].ac_power? * s.span).wh()))
            .sum();
        let true_wh = ac_wh * loss / (1.0 - loss);
        // Clouds and the edges of the day cannot tell and are not counted.
        assert!(
            low.lost.wh() > 0.6 * true_wh && low.lost.wh() < 1.2 * true_wh,
            "{} of {true_wh} Wh",
            low.lost.wh()
        );
    }
}

#[test]
fn meters_with_a_scale_of_their_own_are_healthy_and_far_off_is_told() {
    let from_the_start = |ratio| {
        let period = Period::new((0, 0.0), (30, 0.0));
        let world = World::fair().with(period, What::Converts(0, ratio));
        told_without(world, 30, None)
    };
    for ratio in [0.98, 1.02] {
        let told = from_the_start(ratio);
        assert!(told.alarms().is_empty(), "{ratio}: {}", told.list());
    }
    let told = from_the_start(0.93);
    let [low] = told.of(Kind::EfficiencyLow)[..] else {
        panic!("{}", told.list());
    };
    assert!(low.found <= at(7), "{}", told.list());
}

#[test]
fn a_loss_that_drifts_of_meters_may_be_is_none() {
    let told = told_without(lossy(0.003, 40), 40, None);
    assert!(told.alarms().is_empty(), "{}", told.list());
}

#[test]
fn without_the_dc_power_of_one_input_nothing_is_told() {
    let left_out = Some((Place::Input(2), Quantity::DcCurrent));
    let told = told_without(lossy(0.1, ONSET + 8), ONSET + 8, left_out);
    assert!(told.of(Kind::EfficiencyLow).is_empty(), "{}", told.list());
}
