//! Labelled clipping beside the slots in which rated power is named as the limit.

use super::labels::{labels, score};
use super::replayed::data;
use analysis::array::Limit;
use std::collections::BTreeSet;
use tests::coverage::{load_recording, run};

/// Labels mark whole plateaus of an hour and more; a limit is named quarter by quarter, so shorter ones
/// count as wrong here although the power stands there.
#[test]
fn rated_power_is_named_where_clipping_is_labelled() {
    let file = data().join("nrel_pvanalytics/ac_power_inv_7539.csv");
    let labels = labels(&file, "timestamp", "label");
    let recorded = load_recording("nrel_pvanalytics/ac_power_7539.toml", None);
    let named: BTreeSet<i64> = run(&recorded.plant, &recorded.polls)
        .iter()
        .filter(|slot| slot.inverters[0].limit == Some(Limit::RatedPower))
        .map(|slot| slot.start.unix_ms())
        .collect();
    let score = score(&labels, |at| named.contains(&at));
    println!("clipping: {score}");
    let (precision, recall) = (score.precision(), score.recall());
    assert!(recall.is_some_and(|r| r >= 0.95), "{score}");
    assert!(precision.is_some_and(|p| p >= 0.6), "{score}");
}
