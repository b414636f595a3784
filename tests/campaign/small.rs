//! A small seeded part of the campaign: what holds of it on any day, so that a change which breaks it
//! is seen before the whole campaign runs.
//! Never in here: kinds whose detection is still being built; the report has them.

use analysis::reading::Span;
use tests::campaign::{Campaign, Sensing, run_all, score};

const SMALL: Campaign = Campaign {
    seed: 20,
    plants: 3,
    healthy: 4,
    days: 30,
    every: Span::from_min(5),
    only: None,
    years: false,
};

fn threads() -> usize {
    std::thread::available_parallelism().map_or(1, |n| n.get())
}

/// Kinds whose large faults must be found with the right kind and place, in each of these plants.
const SURE: [&str; 4] = [
    "grid_trip",
    "inverter_off",
    "isolation_low",
    "residual_current_high",
];

#[test]
fn large_faults_are_found_with_the_right_kind() {
    for kind in SURE {
        let mut jobs = Campaign {
            only: Some(kind),
            ..SMALL
        }
        .jobs();
        jobs.retain(|job| job.class == 2);
        let outcomes = run_all(&jobs, threads(), |_| ());
        let score = score(&outcomes);
        assert_eq!(score.faults.len(), 1, "{kind} did not run");
        for scored in &score.faults {
            let said = scored.first.map_or("nothing", |f| f.kind.name());
            let plant = &scored.outcome.plant;
            assert!(scored.right.is_some(), "{kind}: first word {said}; {plant}");
        }
    }
}
