//! Kind of truth: property of our own rules: what the first page says of a plant, and in which words.

use super::*;
use crate::web::texts;

/// Nothing stands, all is heard, and the day is as it should be.
const GOOD: Judged = Judged {
    is_open: false,
    hazard_waits: false,
    is_missed: false,
    account: Account::AsExpected(0.97),
    is_dark: false,
};

#[test]
fn what_stands_comes_before_what_is_not_known_and_that_before_how_the_day_went() {
    let short = Account::Short(0.5);
    for (judged, verdict) in [
        (GOOD, Verdict::AsExpected),
        (
            Judged {
                is_dark: true,
                ..GOOD
            },
            Verdict::Dark,
        ),
        (
            Judged {
                account: Account::NoLight,
                ..GOOD
            },
            Verdict::Dark,
        ),
        (
            Judged {
                account: short,
                is_dark: true,
                ..GOOD
            },
            Verdict::Low,
        ),
        (
            Judged {
                account: Account::HeldBack(0.5),
                ..GOOD
            },
            Verdict::HeldBack,
        ),
        (
            Judged {
                account: Account::NotRecorded,
                ..GOOD
            },
            Verdict::NotRecorded,
        ),
        (
            Judged {
                account: short,
                is_missed: true,
                ..GOOD
            },
            Verdict::Unknown,
        ),
        (
            Judged {
                hazard_waits: true,
                is_missed: true,
                ..GOOD
            },
            Verdict::Waiting,
        ),
        (
            Judged {
                is_open: true,
                hazard_waits: true,
                is_missed: true,
                ..GOOD
            },
            Verdict::Attention,
        ),
    ] {
        assert_eq!(judged.verdict(), verdict, "{judged:?}");
    }
}

fn overview(verdict: Verdict, ratio: Option<f64>) -> Overview {
    Overview {
        site: "Hillside barn".to_owned(),
        now_utc: String::new(),
        verdict,
        today: Today {
            date: "2026-06-22".to_owned(),
            expected_wh: 10_000.0,
            measured_wh: 5_000.0,
            ratio,
            curve: Vec::new(),
        },
        findings: Vec::new(),
        snoozed: Vec::new(),
        limited: Vec::new(),
        sources: vec![Source {
            device: "mast".to_owned(),
            freshness: Freshness::Silent,
            heard_utc: None,
            silent_s: None,
            trouble: None,
        }],
        maintenance: Vec::new(),
        deliveries_late_count: 0,
        timezone: Tz::UTC,
    }
}

#[test]
fn no_sentence_says_yes_where_something_is_wrong_or_not_known() {
    let (yes, no) = (["Yes", "Ja"], ["No:", "Nein:"]);
    for (t, n) in texts::ALL.into_iter().zip(0..) {
        let says = |verdict, ratio| (t.words.sentence)(&overview(verdict, ratio));
        let share = Some(0.5);
        assert!(says(Verdict::AsExpected, share).starts_with(yes[n]));
        assert!(says(Verdict::Dark, share).starts_with(yes[n]));
        for wrong in [Verdict::Attention, Verdict::Waiting] {
            let says = says(wrong, share);
            assert!(says.starts_with(no[n]), "{says}");
        }
        for unknown in [
            says(Verdict::Dark, None),
            says(Verdict::HeldBack, share),
            says(Verdict::Low, share),
            says(Verdict::NotRecorded, None),
            says(Verdict::Unknown, share),
        ] {
            assert!(!unknown.contains(yes[n]), "{unknown}");
        }
        assert!(says(Verdict::Unknown, None).contains("mast"));
        assert!(
            !says(Verdict::Dark, None).contains('%'),
            "nothing was compared"
        );
    }
}
