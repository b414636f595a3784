//! A small seeded part of the campaign: what holds of it on any day, so that a change which breaks it
//! is seen before the whole campaign runs. The rates of the whole are in its report.
//! Never in here: kinds whose detection is still being built.

use analysis::reading::Span;
use tests::campaign::{Campaign, Sensing, healthy_jobs, run_all, score};

const SMALL: Campaign = Campaign {
    seed: 1,
    plants: 3,
    healthy: 12,
    days: 30,
    every: Span::from_min(5),
    only: None,
    years: false,
    runs: Vec::new(),
};
/// Kinds of which the large faults of these plants are all found, with the right kind and place.
const SURE: [&str; 8] = [
    "current_low",
    "grid_trip",
    "grid_trips_repeated",
    "inverter_off",
    "isolation_low",
    "link_lost",
    "residual_current_high",
    "string_open",
];

fn threads() -> usize {
    std::thread::available_parallelism().map_or(1, |n| n.get())
}

#[test]
fn large_faults_are_found_with_the_right_kind() {
    let jobs = SURE.map(|kind| {
        let of = Campaign {
            only: Some(kind),
            ..SMALL.clone()
        }
        .jobs();
        *of.iter()
            .find(|job| job.class == 2)
            .expect("three plants are one of each class")
    });
    let outcomes = run_all(&jobs, threads(), |_| ());
    let score = score(&outcomes);
    assert_eq!(score.faults.len(), SURE.len());
    for scored in &score.faults {
        let said = scored.first.map_or("nothing", |f| f.kind.name());
        let (kind, plant) = (scored.row.name, &scored.outcome.plant);
        assert!(scored.right.is_some(), "{kind}: first word {said}; {plant}");
    }
}

/// A year of inverter-months with a sensor, all of them silent. Plants without a sensor are in the
/// report: with a clear sky alone the losses of all days look alike there.
#[test]
fn healthy_plants_with_a_sensor_are_left_alone() {
    let outcomes = run_all(&healthy_jobs(&SMALL), threads(), |_| ());
    let score = score(&outcomes);
    let with = |sensing: Sensing| sensing != Sensing::Nothing;
    let plants = outcomes
        .iter()
        .filter(|outcome| with(outcome.sensing))
        .count();
    assert!(plants >= 6, "only {plants} plants have a sensor");
    let alarms = score.alarms[0]
        .iter()
        .filter(|alarm| with(alarm.outcome.sensing));
    let said: Vec<String> = alarms
        .map(|a| format!("{} on {}", a.finding.id, a.outcome.plant))
        .collect();
    assert!(said.is_empty(), "{said:#?}");
}
