//! A short soak: two daemons before the same plant of twenty inverters for a few days of its sun, one of
//! them with everything round it going wrong. The long one is an example (`tests/soak/main.rs`).
//!
//! Kind of truth: property. What one finds the other finds too, once, and whoever is to be told is told.

use tests::soak::{Act, Plan, Settings, run};

#[test]
fn nothing_is_lost_or_doubled_whatever_goes_wrong_around() {
    let folder = tempfile::tempdir().expect("a folder");
    let settings = Settings {
        days: 5,
        rate: 3600.0,
        every_s: 900,
        seed: 1,
        says: false,
    };
    let report = run(settings, folder.path());
    println!("{}", report.text());
    assert_eq!(report.judgement.wrong, [""; 0]);
}

/// A plan in which little happens would be passed by anybody.
#[test]
fn every_kind_of_trouble_is_in_a_long_plan_and_most_are_in_a_short_one() {
    let all = |days: i64, is: fn(&Act) -> bool| {
        let plan = Plan::new(1, days);
        plan.acts.iter().filter(|(_, act)| is(act)).count()
    };
    for (is, least_of_many, least_of_few) in [
        (is_killed as fn(&Act) -> bool, 20, 1),
        (|act| *act == Act::Terminate, 10, 1),
        (|act| matches!(act, Act::Reload(_)), 100, 1),
        (|act| matches!(act, Act::Disk(false)), 30, 1),
        (|act| matches!(act, Act::Broker(false)), 60, 1),
        (
            |act| matches!(act, Act::Mail(_) | Act::MailServer(_)),
            200,
            2,
        ),
        (|act| matches!(act, Act::Device(..)), 100, 9),
        (|act| matches!(act, Act::Moved(_, true)), 60, 1),
    ] {
        let (many, few) = (all(90, is), all(5, is));
        assert!(
            many >= least_of_many && few >= least_of_few,
            "{many}, {few}"
        );
    }
}

fn is_killed(act: &Act) -> bool {
    *act == Act::Kill
}
