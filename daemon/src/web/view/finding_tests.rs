//! Kind of truth: property: parts of the list, put together, are the list.

use super::*;
use crate::store::{EngineState, Layout, Step};
use analysis::diagnose::FindingId;
use analysis::reading::{DeviceId, Energy, Span};

const NOON: Time = Time::from_unix_ms(1_782_129_600_000);

fn finding(kind: Kind, input: u8, began: Time, ended: Option<Time>) -> Finding {
    let subject = Subject::input(&DeviceId::new("barn"), input);
    Finding {
        id: FindingId::new(&subject, kind, began),
        subject,
        kind,
        severity: kind.severity(),
        began,
        found: began,
        ended,
        confidence: 0.9,
        causes: Vec::new(),
        evidence: Default::default(),
        lost: Energy::from_wh(0.0),
        summary: String::new(),
        advice: Vec::new(),
        caution: Vec::new(),
    }
}

/// Two that stand and seven that have ended, some of which began at the same time.
fn store() -> Store {
    let mut store = Store::in_memory(&Layout::of_channels([])).expect("memory");
    let at = |hours: i64| NOON + Span::from_h(hours);
    let mut findings = vec![
        finding(Kind::Shade, 1, at(-200), None),
        finding(Kind::IsolationLow, 1, at(-300), None),
    ];
    for (n, began) in [-9, -7, -7, -7, -5, -1, -1].into_iter().enumerate() {
        let (began, input) = (at(began), n as u8 + 1);
        findings.push(finding(Kind::StringOpen, input, began, Some(at(0))));
    }
    let state = EngineState {
        version: 1,
        bytes: Vec::new(),
    };
    let step = Step {
        at: NOON,
        findings: &findings,
        ..Step::nothing(&state)
    };
    store.commit(&step).expect("room");
    store
}

fn ids(findings: &[Answered]) -> Vec<String> {
    let id = |answered: &Answered| answered.finding.id.to_string();
    findings.iter().map(id).collect()
}

#[test]
fn parts_of_the_list_leave_nothing_out_and_say_nothing_twice() {
    let store = store();
    let all = ids(&super::all(&store).expect("reads"));
    assert_eq!(all.len(), 9);
    assert!(all[0].contains("isolation_low"), "the most urgent first");
    for limit in 1..=8 {
        let mut parts: Vec<String> = Vec::new();
        let mut before: Option<String> = None;
        loop {
            let part = part(&store, before.as_deref(), limit).expect("reads");
            let standing = if before.is_none() { 2 } else { 0 };
            assert!(part.findings.len() <= limit + standing, "{limit}");
            parts.extend(ids(&part.findings));
            before = part.more_before;
            if before.is_none() {
                break;
            }
        }
        assert_eq!(parts, all, "{limit} at a time");
    }
}

#[test]
fn a_part_after_a_finding_that_there_is_not_is_empty() {
    let part = part(&store(), Some("barn.link_lost.7"), 5).expect("reads");
    assert!(part.findings.is_empty() && part.more_before.is_none());
}
