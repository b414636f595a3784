//! The supply as the own export shows it: worked numbers, operating curves over a noisy network, and
//! months in which nothing is wrong.
//! Kind of truth: property. The network is made here, in the sizes stated beside each test.

use analysis::detect::{
    Edge, ExportPoll, ExportSite, ExportWatch, Exporter, HighBecause, ResistanceHigh, SupplyDays,
    SupplyEdge, SupplyFacts, VoltageHigh, rise_v,
};
use analysis::reading::{SolarDay, Span, Time};
use std::collections::BTreeMap;
use tests::assert_close;
use tests::plant::{Network, Period, START, What, World, grid_limits, normal};

const RATED_W: f64 = 25_000.0;
const LONGITUDE_DEG: f64 = 150.0;
/// Noise of the inverter's voltmeter in one poll [V].
const METER_V: f64 = 0.3;

/// What was told, by the day after which it was told, counted from 0.
#[derive(Debug, Default)]
struct Told {
    high: BTreeMap<i64, VoltageHigh>,
    resistance: BTreeMap<i64, ResistanceHigh>,
    ended: Vec<(&'static str, i64)>,
}

fn rated_a() -> f64 {
    RATED_W / 3.0 / 230.0
}

/// One inverter of 25 kW on three phases, polled every minute.
fn days_of(world: &World, days: i64) -> Told {
    let exporter = Exporter {
        phases: 3,
        rated_a: rated_a(),
    };
    let site = ExportSite::new(vec![Some(exporter)], Span::from_min(1));
    let limits = grid_limits();
    let facts = SupplyFacts {
        limits: &limits,
        phases: 3,
        rated_a: rated_a(),
    };
    let (mut watch, mut supply) = (ExportWatch::new(), SupplyDays::new());
    let mut told = Told::default();
    for n in 0..days * 24 * 60 + 2 {
        let at = START + Span::from_min(n);
        let poll = poll(world, at);
        let day = at.solar_day(LONGITUDE_DEG);
        let over = watch.poll(&site, (0, at), day, &poll, |_, phase| {
            supply.known_ohm(phase)
        });
        if let Some((day, shown)) = over {
            let edges = supply.close_day((day, at), &shown[0], &facts);
            told.take(day, edges);
        }
    }
    told
}

impl Told {
    fn take(&mut self, day: SolarDay, edges: Vec<SupplyEdge>) {
        let day = day.days_since(START.solar_day(LONGITUDE_DEG));
        for edge in edges {
            match edge {
                SupplyEdge::Voltage(Edge::Found { seen, .. }) => {
                    self.high.insert(day, seen);
                }
                SupplyEdge::Resistance(Edge::Found { seen, .. }) => {
                    self.resistance.insert(day, seen);
                }
                SupplyEdge::Voltage(Edge::Ended { .. }) => self.ended.push(("voltage", day)),
                SupplyEdge::Resistance(Edge::Ended { .. }) => self.ended.push(("resistance", day)),
            }
        }
    }
}

fn poll(world: &World, at: Time) -> ExportPoll {
    let sun = (((at - START).hours() - 12.0) / 24.0 * std::f64::consts::TAU).cos();
    let amps = rated_a() * sun.max(0.0) * world.clearness(at);
    let phase = |phase: usize| {
        let meter = METER_V * normal(world.seed + 77 + phase as u64, at.unix_ms() as u64);
        Some(232.0 + world.network.volts(world, at, phase, amps) + meter)
    };
    ExportPoll {
        producing: amps > 0.1,
        volts: [phase(0), phase(1), phase(2)],
        amps: [Some(amps); 3],
        reactive_a: None,
    }
}

/// Clouds of every kind: clear days between cloudy ones.
fn world(seed: u64, network: Network) -> World {
    World {
        seed,
        cloudiness: vec![0.0, 0.4, 0.7, 0.2, 0.9, 0.5, 0.3],
        network,
        ..World::fair()
    }
}

fn feeder(ohm: f64) -> Network {
    Network {
        resistance_ohm: [ohm; 3],
        ..Network::FEEDER
    }
}

/// REFERENCE E.4: 25 kW on three phases are 36.23 A a phase; over 0.08 ohm 2.90 V, over 0.15 ohm
/// 5.44 V. The last is 5.4348 from these numbers, so a whole unit of the last digit is allowed.
#[test]
fn rises_of_the_worked_example() {
    const LAST_DIGIT: f64 = 0.01;
    assert_close!(rated_a(), 36.23, LAST_DIGIT, "rated current");
    for (ohm, volts) in [(0.08, 2.90), (0.15, 5.44)] {
        assert_close!(rise_v(ohm, rated_a()), volts, LAST_DIGIT, ohm);
    }
}

const SEEDS: [u64; 3] = [1, 2, 3];
/// Days by which the design wants it told.
const BY_DAYS: i64 = 7;

fn with_joint(seed: u64, ohm: f64, more: f64, (from, to): (i64, i64)) -> World {
    let worse = What::JointWorse(1, more);
    world(seed, feeder(ohm)).with(Period::new((from, 0.0), (to, 0.0)), worse)
}

/// Standard deviation of the change from one minute to the next, in which the resistance is looked
/// for: 0.6 V, loads and meter together. The numbers of days below hold for this noise.
#[test]
fn the_network_is_as_noisy_as_stated() {
    const STATED_V: f64 = 0.6;
    // A tenth either way is the same noise.
    const SAME_V: f64 = 0.06;
    let world = world(1, feeder(0.0));
    let volts = |n: i64| poll(&world, START + Span::from_min(n)).volts[0].expect("it is there");
    let steps: Vec<f64> = (0..1440).map(|n| volts(n + 1) - volts(n)).collect();
    let mean_square = steps.iter().map(|v| v * v).sum::<f64>() / steps.len() as f64;
    assert_close!(mean_square.sqrt(), STATED_V, SAME_V, "minute to minute");
}

/// Resistance of every phase, the rise that it makes at rated export over nominal voltage, and on
/// which day a rise over 2 % is told. In this noise three good days are enough for 0.15 ohm.
#[test]
fn a_rise_over_two_percent_is_told_within_days_and_less_is_not() {
    let table = [
        (0.05, None),
        (0.10, None),
        (0.115, None),
        (0.14, Some(BY_DAYS)),
        (0.15, Some(4)),
        (0.20, Some(4)),
    ];
    for (ohm, by) in table {
        for seed in SEEDS {
            let told = days_of(&world(seed, feeder(ohm)), 14);
            let label = format!("{ohm} ohm, seed {seed}: {:?}", told.high);
            let Some((day, first)) = told.high.first_key_value() else {
                assert_eq!(by, None, "{label}");
                continue;
            };
            // Days are counted from 0.
            assert!(by.is_some_and(|by| *day < by), "{label}");
            assert_eq!(first.because.0, HighBecause::OwnExport, "{label}");
            let mean = first.resistance.expect("it is why it was told");
            assert_close!(mean.ohm, ohm, 3.0 * mean.sigma_ohm, label);
            let (volts, ratio) = first.rise.expect("it is why it was told");
            assert_close!(volts, rise_v(mean.ohm, rated_a()), 1e-9, label);
            assert_close!(ratio, volts / 230.0, 1e-9, label);
            assert!(told.resistance.is_empty(), "{label}");
        }
    }
}

/// Share of twenty networks in which more resistance in phase 2 is told within the design's seven
/// days: 30 % of 0.1 ohm are 30 milliohm and 39 W at rated export. Of forty networks 38 were told in
/// time, and all of those with more.
#[test]
fn a_joint_going_bad_is_told_within_days() {
    const NETWORKS: u64 = 20;
    // 30 % of 0.05 ohm are 15 milliohm, about twice what three days know: told by chance only.
    let table = [
        (0.05, 0.6, NETWORKS),
        (0.10, 0.3, 18),
        (0.10, 0.6, NETWORKS),
        (0.20, 0.3, NETWORKS),
    ];
    for (ohm, more, least) in table {
        let in_time = |seed: &u64| {
            let told = days_of(&with_joint(*seed, ohm, ohm * more, (15, 45)), 15 + BY_DAYS);
            let Some((day, first)) = told.resistance.first_key_value() else {
                return false;
            };
            let label = format!("{ohm} ohm + {more}, seed {seed}: {first:?}");
            assert!(*day > 15, "day {day}, {label}");
            assert_eq!(first.phase, 2, "{label}");
            true
        };
        let count = (1..=NETWORKS).filter(in_time).count();
        assert!(count >= least as usize, "{count} for {ohm} ohm + {more}");
    }
}

/// It is known how much it is and that the other phases are as they were; it ends when it is mended.
#[test]
fn a_mended_joint_ends_it() {
    const OHM: f64 = 0.1;
    for seed in SEEDS {
        let told = days_of(&with_joint(seed, OHM, 0.6 * OHM, (15, 45)), 60);
        let last = told.resistance.values().last().expect("it was told");
        let label = format!("seed {seed}: {last:?} {:?}", told.ended);
        let sigma_ohm = last.now.sigma_ohm.hypot(last.baseline.sigma_ohm);
        let squared = rated_a().powi(2);
        assert_close!(
            last.heat_w,
            0.6 * OHM * squared,
            3.0 * sigma_ohm * squared,
            label
        );
        let others = last.others_ratio.expect("three phases");
        assert!((0.85..1.15).contains(&others), "{label}");
        let ended = told.ended.iter().find(|e| e.0 == "resistance");
        assert!(ended.is_some_and(|e| (45..52).contains(&e.1)), "{label}");
    }
}

/// A tenth more is what copper gains in 25 K: a summer, and no joint.
#[test]
fn a_warm_cable_is_no_bad_joint() {
    for seed in SEEDS {
        let told = days_of(&with_joint(seed, 0.1, 0.01, (15, 45)), 45);
        assert!(told.resistance.is_empty(), "{:?}", told.resistance);
    }
}

/// Sixty days of a network that swings by 6 V and of loads that come and go; then with neighbours
/// whose feed-in lifts it by 4 V in the same sun, their clouds spread over five minutes. (Sixty such
/// seeds and five networks over 180 days each, 148 years, were quiet when this was written.)
#[test]
fn two_months_of_a_restless_network_are_quiet() {
    let alone = feeder(0.1);
    let with_neighbours = Network {
        neighbours: (4.0, 5),
        ..feeder(0.05)
    };
    for network in [alone, with_neighbours] {
        for seed in SEEDS {
            let told = days_of(&world(seed, network), 60);
            assert!(told.high.is_empty(), "{network:?} {:?}", told.high);
            assert!(told.resistance.is_empty(), "{:?}", told.resistance);
        }
    }
}

/// Neighbours whose clouds come within the same minute cannot be told from the own export by one
/// site's values: what they add is counted as its own. The own rise here is 0.8 %, and 2 % are told.
/// It stays so day after day, so it is no joint going bad.
#[test]
fn neighbours_under_the_very_same_cloud_count_as_own_export() {
    let same = Network {
        neighbours: (4.0, 1),
        ..feeder(0.05)
    };
    for seed in SEEDS {
        let told = days_of(&world(seed, same), 60);
        let (_, first) = told.high.first_key_value().expect("today it is told");
        let (_, ratio) = first.rise.expect("as a rise");
        assert!((0.02..0.03).contains(&ratio), "{ratio}");
        assert!(told.resistance.is_empty(), "{:?}", told.resistance);
    }
}

/// E.4: from 250 V without export the network is high by itself; the export that is left until the
/// limit of 258 V is what it leaves over the resistance.
#[test]
fn a_network_that_is_high_by_itself_is_told_from_an_own_rise() {
    let night = Network {
        higher_v: 14.0,
        ..feeder(0.1)
    };
    // High at noon only, by feed-in far away: seen only where the own share is known.
    let noon = Network {
        higher_v: 20.0,
        swing: (6.0, 13.0),
        ..feeder(0.15)
    };
    for seed in SEEDS {
        let told = days_of(&world(seed, night), 10);
        let (day, first) = told.high.first_key_value().expect("it is high");
        assert_eq!((first.because.0, *day), (HighBecause::Network, 2));
        let told = days_of(&world(seed, noon), 14);
        let last = told.high.values().last().expect("it is high");
        assert_eq!(last.because.0, HighBecause::Network, "{last:?}");
        let v0 = last.without_export_v.expect("it is known");
        // 252 V of the network and 6 V of its swing, loads on top.
        assert_close!(v0, 258.0, 2.0, format!("{last:?}"));
        let mean = last.resistance.expect("it is known");
        let left_w = last.export_at_limit_w.expect("it is known");
        let wanted_w = 3.0 * 258.0 * (258.0 - v0).max(0.0) / mean.ohm;
        assert_close!(left_w, wanted_w, 1e-6, format!("{last:?}"));
    }
}
