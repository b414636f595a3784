//! Intervals beside printed tables; the campaign is the same on any number of threads.

use analysis::reading::Span;
use tests::assert_close;
use tests::campaign::{Campaign, poisson_95, run_all, share_95};

/// Garwood's table, Biometrika 28 (1936), 95 %, as reprinted; from memory: two decimals.
#[test]
fn intervals_of_counts_are_those_of_the_table() {
    const PRINTED: f64 = 6e-3;
    for (events, low, high) in [(0, 0.0, 3.69), (1, 0.0253, 5.57), (10, 4.80, 18.39)] {
        let band = poisson_95(events);
        assert_close!(band.low, low, PRINTED, format!("low of {events}"));
        assert_close!(band.high, high, PRINTED, format!("high of {events}"));
    }
}

/// Clopper and Pearson, 95 %. By hand for none of ten: 1 - 0.025^(1/10); five of ten from memory.
#[test]
fn intervals_of_shares_are_those_of_the_table() {
    let none = share_95(0, 10);
    assert_close!(none.low, 0.0, 0.0, "none of ten, low");
    assert_close!(
        none.high,
        1.0 - 0.025_f64.powf(0.1),
        1e-9,
        "none of ten, high"
    );
    let half = share_95(5, 10);
    assert_close!(half.low, 0.187, 6e-4, "five of ten, low");
    assert_close!(half.high, 0.813, 6e-4, "five of ten, high");
    let all = share_95(10, 10);
    assert_close!(all.low, 0.025_f64.powf(0.1), 1e-9, "ten of ten, low");
}

#[test]
fn any_number_of_threads_gives_the_same() {
    let campaign = Campaign {
        seed: 3,
        plants: 2,
        healthy: 0,
        days: 1,
        every: Span::from_min(5),
        only: Some("grid_trip"),
        years: false,
        runs: Vec::new(),
    };
    let jobs = campaign.jobs();
    let [one, three] = [1, 3].map(|threads| run_all(&jobs, threads, |_| ()));
    assert!(
        one.iter().any(|outcome| !outcome.findings.is_empty()),
        "nothing was found at all"
    );
    for (a, b) in one.iter().zip(&three) {
        assert_eq!(
            (a.plant_seed, &a.findings, &a.lost),
            (b.plant_seed, &b.findings, &b.lost)
        );
    }
}
