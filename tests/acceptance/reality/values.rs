//! Labelled stale and wild values beside what is said of the measuring itself.

use super::labels::{Score, covered, labels, score};
use super::replayed::{data, list, replayed, replayed_text};
use std::collections::BTreeMap;
use std::fs;
use tests::coverage::{load_recording, run};

fn scored(site: &str, file: &str, label: &str, kind: &str) -> Score {
    let folder = data().join("nrel_pvanalytics");
    let text = fs::read_to_string(folder.join(site)).expect("it is there");
    let text = text.replace("ac_power_inv_7539.csv", file);
    let csv = fs::read_to_string(folder.join(file)).expect("it is there");
    let said = replayed_text(&text, file, &csv);
    let labels = labels(&folder.join(file), "timestamp", label);
    let score = score(&labels, covered(&said, &[kind]));
    println!("{file}: {kind}: {score}\n{}", list(&said));
    score
}

/// Today's miss, asserted so that a better answer is seen. By hand: three labelled runs of 15 to 25 hours
/// at one number. Power alone stands still in health as well, under a limit, so nothing is said of it where
/// neither voltage nor frequency is recorded; that the three go on into the night is not used.
#[test]
fn power_alone_that_stands_still_is_not_told_and_nothing_else_is_called_frozen() {
    let site = "ac_power_2173.toml";
    let file = "ac_power_inv_2173_stale_data.csv";
    let found = scored(site, file, "stale_data_mask", "value_frozen");
    assert_eq!((found.right, found.wrong), (0, 0));
    assert_eq!((found.missed, found.silent), (245, 2755));
}

/// Six wild rows on five days: one alone is dropped and counted, three within a day are told.
#[test]
fn single_wild_values_are_not_told_and_the_impossible_one_reaches_no_slot() {
    let site = "ac_power_7539.toml";
    let file = "ac_power_inv_7539_outliers.csv";
    let found = scored(site, file, "outlier", "value_impossible");
    assert_eq!((found.right, found.wrong), (0, 0));
    assert_eq!((found.missed, found.silent), (6, 494));

    let recorded = load_recording("nrel_pvanalytics/ac_power_7539.toml", Some(file));
    let powers: BTreeMap<i64, bool> = run(&recorded.plant, &recorded.polls)
        .iter()
        .map(|s| (s.start.unix_ms(), s.inverters[0].ac_power.is_some()))
        .collect();
    let labelled = labels(
        &data().join("nrel_pvanalytics").join(file),
        "timestamp",
        "outlier",
    );
    let dropped = |is: bool| {
        let of = labelled.iter().filter(|l| l.1 == is);
        of.filter(|l| powers.get(&l.0) == Some(&false)).count()
    };
    // Twice the rating; the others are within what a device may take or give for a moment.
    assert_eq!((dropped(true), dropped(false)), (1, 0));
}

/// By hand: on 13, 16 and 19 April the power falls from its plateau to 0.001 within a quarter of an hour
/// between two and three in the afternoon and stays there to the next morning. Why is not told.
#[test]
fn three_afternoons_without_output_are_told_and_nothing_else_in_ten_days_of_clipping() {
    let said = replayed(&data().join("nrel_pvanalytics/ac_power_7539.toml"));
    let faults: Vec<&str> = said
        .iter()
        .filter(|f| f["severity"] != "note")
        .map(|f| f["began"].as_str().expect("a time"))
        .collect();
    let wanted = ["2017-04-13T14:15", "2017-04-16T14:45", "2017-04-19T15:00"];
    assert_eq!(faults.len(), wanted.len(), "{}", list(&said));
    for ((fault, wanted), finding) in faults.iter().zip(wanted).zip(&said) {
        assert!(fault.starts_with(wanted), "{}", list(&said));
        assert_eq!(finding["kind"], "inverter_off");
    }
}
