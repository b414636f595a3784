//! The twin at work: its energy, and what faults do to it.

use analysis::plant::State;
use analysis::reading::{Span, Time};
use tests::assert_close;
use tests::campaign::{Act, DrawnPlant, Fault, Now, Options, Twin, draw_plant};

const STEP: Span = Span::from_min(5);

fn drawn(seed: u64) -> DrawnPlant {
    draw_plant(
        seed,
        Options {
            every: STEP,
            least: (2, 2),
        },
    )
}

fn with(drawn: &DrawnPlant, act: Act, from: Time) -> Twin {
    let fault = Fault {
        kind: "input_dead",
        class: 0,
        size: 1.0,
        input: Some(0),
        began: from,
        evident: from,
        until: None,
        act,
    };
    Twin::new(drawn, Some(fault))
}

/// Polls of some days.
fn days(drawn: &DrawnPlant, mut twin: Twin, count: i64) -> Vec<Now> {
    (0..count * 288)
        .map(|n| twin.poll(drawn.start + STEP * n))
        .collect()
}

/// Power out is never more than power in, power in never more than the light on the modules brings at
/// their rating, and cells are no colder than the air by day.
#[test]
fn nothing_comes_from_nothing() {
    /// Cold modules, a good batch, and light that comes with clouds, over the rating.
    const OVER_RATING: f64 = 1.25;
    for seed in 0..12 {
        let mut drawn = drawn(seed);
        // The same cloud at the mast and at the array.
        drawn
            .truth
            .inputs
            .iter_mut()
            .for_each(|input| input.lag_s = 0.0);
        let inverter = &drawn.plant.inverters[0];
        let rated_dc: f64 = inverter
            .inputs
            .iter()
            .map(|i| drawn.plant.input_rated(i).w())
            .sum();
        let mut lit = 0;
        for now in days(&drawn, Twin::new(&drawn, None), 4) {
            let work = &now.work;
            assert!(work.ac_w <= work.dc_w + 1e-6, "seed {seed}: {work:?}");
            assert!(
                work.dc_w <= work.offered_w * (1.0 + 1e-6),
                "seed {seed}: {work:?}"
            );
            assert!(
                work.ac_w <= inverter.rated_ac.w() * 1.0001,
                "seed {seed}: {work:?}"
            );
            let brightest = now.poa_w_m2.iter().copied().fold(0.0, f64::max);
            let most = rated_dc * (brightest / 1000.0) * OVER_RATING + 1.0;
            assert!(
                work.offered_w <= most,
                "seed {seed}: {} over {most}",
                work.offered_w
            );
            assert!(now.cell_degc.iter().all(|cell| *cell > now.air_degc - 1e-9));
            lit += usize::from(work.state == State::Tracking);
        }
        assert!(lit > 4 * 60, "seed {seed}: worked in {lit} polls only");
    }
}

/// Each fault changes its own input as the physics says, and no other.
#[test]
fn faults_do_what_they_are_called() {
    let drawn = drawn(5);
    let healthy = days(&drawn, Twin::new(&drawn, None), 3);
    let strings = drawn.truth.inputs[0].strings.len() as f64;
    let sections = drawn.truth.inputs[0].strings[0].modules * drawn.truth.sections;
    let cases = [
        (Act::Dead(true), 0.0, 0.01),
        (Act::Open(1), 1.0 - 1.0 / strings, 0.02),
        // Cells are a little worse in less light, most in the dim.
        (Act::LightLess(0.2), 0.79, 0.01),
        // In one of several strings: 1.46 times its share of the power, for what the others lose with
        // it (tests/data/reference/strings.csv, 16 beside 18 modules).
        (
            Act::SectionsLost(6.0),
            1.0 - 1.46 * 6.0 / sections / strings,
            0.01,
        ),
        (Act::OffPeak(0.1, false), 0.9, 0.01),
    ];
    for (act, left, tolerance) in cases {
        let label = format!("{act:?}");
        let faulty = days(&drawn, with(&drawn, act, drawn.start), 3);
        let energy = |all: &[Now], k: usize| -> f64 {
            let free = all.iter().zip(&healthy);
            // Where either is held back, the point is not the array's.
            free.filter(|(a, b)| a.work.state == b.work.state && b.work.state == State::Tracking)
                .map(|(a, _)| a.work.points[k].0 * a.work.points[k].1)
                .sum()
        };
        let both = faulty.iter().zip(&healthy);
        let before: f64 = both
            .filter(|(a, b)| a.work.state == b.work.state && b.work.state == State::Tracking)
            .map(|(_, b)| b.work.points[0].0 * b.work.points[0].1)
            .sum();
        assert!(before > 0.0);
        assert_close!(energy(&faulty, 0) / before, left, tolerance, label.clone());
        for (a, b) in faulty.iter().zip(&healthy) {
            if a.work.state == State::Tracking && b.work.state == State::Tracking {
                assert_eq!(a.work.points[1], b.work.points[1], "{label}: another input");
            }
        }
    }
}

/// A clone without its fault goes on as a plant that never had one.
#[test]
fn without_the_fault_it_is_the_healthy_plant() {
    let drawn = drawn(9);
    let from = drawn.start + Span::from_h(36);
    let healthy = days(&drawn, Twin::new(&drawn, None), 3);
    let mut twin = with(&drawn, Act::Dead(false), from);
    let first = 36 * 12;
    for n in 0..first {
        twin.poll(drawn.start + STEP * n);
    }
    let mut without = twin.without_fault();
    for (n, now) in (first..).zip(&healthy[first as usize..]) {
        assert_eq!(without.poll(drawn.start + STEP * n).work, now.work);
    }
}
