//! Drawn plants: a hundred and twenty of each kind of sensors, three days each, anywhere in the
//! year.

use crate::bar::{Set, judge};
use analysis::detect::Slot;
use tests::assert_close;
use tests::coverage::{Judged, Observation, observe, quantile};
use tests::ensemble::{DrawnPlant, Sensors};
use tests::plant::{NORTH, WEST};

const PLANTS: u64 = 120;
const DAYS: i64 = 3;
/// Another one is another draw of all plants: whoever tunes to one should look at another.
const FIRST_SEED: u64 = 1;

fn everything(_: &Slot, _: (usize, usize)) -> bool {
    true
}

fn sets_of(sensors: Sensors) -> [Set; 2] {
    let plants = (0..PLANTS).map(|n| DrawnPlant::new(FIRST_SEED + n, sensors));
    let seen = plants.flat_map(|drawn| observe(drawn.plant(), &drawn.polls(DAYS), everything));
    let (north, west): (Vec<Observation>, Vec<Observation>) =
        seen.partition(|o: &Observation| o.plane == NORTH);
    let set = |name: &str, seen| Set {
        name: format!("drawn, {sensors:?}, {name}"),
        seen,
        judged: &Judged::ALL,
        many: true,
    };
    assert!(west.iter().all(|o| o.plane == WEST));
    for seen in [&north, &west] {
        assert!(seen.iter().any(|o| o.calibrated), "no plant was calibrated");
    }
    [set("north", north), set("west", west)]
}

/// The truth is built apart from the program: without errors in it the two must agree.
#[test]
fn a_plant_without_errors_is_as_expected() {
    // Medians of some 1500 slots with half a per cent of noise in each.
    const TOLERANCE_RATIO: f64 = 0.0015;
    for seed in 1..=4 {
        let drawn = DrawnPlant::without_errors(seed, Sensors::HorizontalWithDiffuse);
        let seen = observe(drawn.plant(), &drawn.polls(DAYS), everything);
        for what in Judged::ALL {
            let ratios = seen.iter().filter(|o| !o.calibrated).map(|o| o.ratio(what));
            let median = quantile(ratios.collect(), 0.5);
            assert_close!(median, 1.0, TOLERANCE_RATIO, format!("{what:?} of {seed}"));
        }
    }
}

#[test]
fn bands_hold_what_drawn_plants_show() {
    let sets: Vec<Set> = Sensors::ALL.into_iter().flat_map(sets_of).collect();
    judge(&sets);
}
