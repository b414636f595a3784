//! The rise of the own export, a joint going bad and a restless network through the whole engine, with
//! two inverters behind one service cable.

use crate::drive::{Told, account, assert_same, end_of, one_by_one};
use crate::resume::with_restarts;
use crate::scenario::play;
use analysis::detect::{Kind, Severity};
use analysis::diagnose::Finding;
use analysis::reading::Span;
use tests::assert_close;
use tests::plant::{Network, Period, START, Shape, What, World, two_inverters};

const SUPPLY_KINDS: [Kind; 3] = [
    Kind::GridTripsRepeated,
    Kind::GridVoltageHigh,
    Kind::SupplyResistanceHigh,
];

fn world(seed: u64, ohm: f64, publishes_current: bool) -> World {
    World {
        seed,
        cloudiness: vec![0.0, 0.4, 0.7, 0.2, 0.9, 0.5, 0.3],
        network: Network {
            resistance_ohm: [ohm; 3],
            publishes_current,
            ..Network::FEEDER
        },
        ..World::fair()
    }
}

fn told(world: World, days: i64, every: Span) -> Told {
    let shape = Shape {
        every,
        ..two_inverters()
    };
    let (plant, polls) = play(&shape, world, days);
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

fn number(finding: &Finding, name: &str) -> f64 {
    let numbers = &finding.evidence;
    *numbers
        .get(name)
        .unwrap_or_else(|| panic!("no {name} in {numbers:?}"))
}

/// 35 kW on three phases of 230 V are 50.7 A; over 0.11 ohm 5.6 V, 2.4 % of nominal.
#[test]
fn both_inverters_see_the_rise_of_their_common_cable() {
    const OHM: f64 = 0.11;
    let rated_a = 35_000.0 / 3.0 / 230.0;
    for publishes_current in [false, true] {
        let told = told(world(1, OHM, publishes_current), 9, Span::from_min(1));
        let high = told.of(Kind::GridVoltageHigh);
        assert_eq!(high.len(), 2, "{}", told.list());
        for finding in high {
            assert!(
                finding.found <= START + Span::from_h(24 * 7),
                "{}",
                told.list()
            );
            assert_eq!(finding.severity, Severity::Plan);
            let ohm = number(finding, "supply_resistance_ohm");
            let sigma_ohm = number(finding, "supply_resistance_sigma_ohm");
            assert_close!(ohm, OHM, 3.0 * sigma_ohm, finding.summary);
            let rise_v = number(finding, "rise_at_rated_export_v");
            assert_close!(rise_v, ohm * rated_a, 1e-9, finding.summary);
            assert!(
                finding.causes[0].cause.contains("own export"),
                "{:?}",
                finding.causes
            );
            assert!(
                finding.summary.contains("% of nominal"),
                "{}",
                finding.summary
            );
            let total: f64 = finding.causes.iter().map(|c| c.probability).sum();
            assert_close!(total, 1.0, 1e-12, "shares of causes");
        }
    }
}

#[test]
fn a_joint_in_one_phase_is_a_hazard_on_both() {
    let worse = Period::new((12, 0.0), (20, 0.0));
    let world = world(2, 0.08, false).with(worse, What::JointWorse(2, 0.04));
    let told = told(world, 20, Span::from_min(1));
    let joints = told.of(Kind::SupplyResistanceHigh);
    assert_eq!(joints.len(), 2, "{}", told.list());
    for finding in joints {
        assert_eq!(finding.severity, Severity::Now);
        assert_eq!(number(finding, "phase_number"), 3.0);
        assert!(
            finding.began >= START + Span::from_h(24 * 12),
            "{}",
            told.list()
        );
        assert!(
            finding.found <= START + Span::from_h(24 * 19),
            "{}",
            told.list()
        );
        assert!(finding.summary.contains("L3"), "{}", finding.summary);
        assert!(
            finding.causes[0].cause.contains("joint"),
            "{:?}",
            finding.causes
        );
        let says = |words: &str| finding.caution.iter().any(|c| c.contains(words));
        assert!(says("smell of burning") && says("network operator can isolate"));
    }
}

/// Baseline, days and steps of the day are kept over a restart.
#[test]
fn restarts_while_it_learns_change_nothing() {
    let worse = Period::new((8, 0.0), (14, 0.0));
    let world = world(2, 0.12, true).with(worse, What::JointWorse(0, 0.08));
    let (plant, polls) = play(&two_inverters(), world, 14);
    let wanted = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
    for kind in [Kind::GridVoltageHigh, Kind::SupplyResistanceHigh] {
        assert_eq!(wanted.of(kind).len(), 2, "{kind:?}\n{}", wanted.list());
    }
    let told = with_restarts(&plant, &polls, |row| row % 397 == 0);
    assert_same(&told, &wanted, "restarts every few hours");
}

/// Sixty days, polled every two minutes, with a limit on some of them.
#[test]
fn two_months_behind_a_restless_network_are_quiet() {
    for seed in [1, 2, 3] {
        let mut world = world(seed, 0.06, false);
        for day in (0..60).step_by(5) {
            let hours = Period::new((day, 9.0), (day, 15.5));
            world = world.with(hours, What::Commanded(0, 0.4));
        }
        let told = told(world, 60, Span::from_min(2));
        for kind in SUPPLY_KINDS {
            assert_eq!(told.of(kind).len(), 0, "seed {seed}:\n{}", told.list());
        }
    }
}
