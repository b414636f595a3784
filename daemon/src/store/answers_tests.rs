//! What people say is kept, and found again. Property of our own rules.

use super::*;
use crate::store::{EngineState, Layout, Step};
use analysis::detect::Kind;
use analysis::diagnose::{Finding, FindingId, Subject};
use analysis::reading::Energy;

#[test]
fn what_was_said_comes_back_and_stands_in_the_audit() {
    let at = Time::from_unix_ms;
    let mut store = Store::in_memory(&Layout::of_channels([])).expect("memory");
    let response = Response {
        finding: "barn.input-1.string_open.1".to_owned(),
        at: at(5),
        who: "technician".to_owned(),
        what: What::Snoozed,
        until: Some(at(900)),
        text: "part ordered".to_owned(),
    };
    let work = Maintenance {
        device: Some(DeviceId::new("barn")),
        from: at(10),
        to: at(20),
        at: at(6),
        who: "technician".to_owned(),
        reason: "new fuse".to_owned(),
    };
    store.hear(&Said::Response(response.clone())).expect("room");
    store.hear(&Said::Maintenance(work.clone())).expect("room");
    let stored = store.responses_to(&response.finding).expect("reads");
    assert_eq!(stored, [response]);
    assert_eq!(store.responses_to("another").expect("reads"), []);
    assert_eq!(store.maintenance_after(at(19)).expect("reads"), [work]);
    assert_eq!(store.maintenance_after(at(20)).expect("reads"), []);
    let audit = store.audit().expect("reads");
    let events: Vec<_> = audit.iter().map(|a| a.event.as_str()).collect();
    assert_eq!(events, ["answered", "maintenance_planned"]);
    assert_eq!(
        audit[0].subject,
        "barn.input-1.string_open.1 snoozed by technician"
    );
}

#[test]
fn work_that_ends_early_or_is_called_off_is_over_and_stays_written() {
    let at = Time::from_unix_ms;
    let mut store = Store::in_memory(&Layout::of_channels([])).expect("memory");
    let work = |from, reason: &str| Maintenance {
        device: None,
        from: at(from),
        to: at(100),
        at: at(1),
        who: "technician".to_owned(),
        reason: reason.to_owned(),
    };
    for (from, reason) in [(10, "fuse"), (60, "roof")] {
        store
            .hear(&Said::Maintenance(work(from, reason)))
            .expect("room");
    }
    let end = |work, ms| {
        Said::MaintenanceEnd(MaintenanceEnd {
            work,
            at: at(ms),
            who: "technician".to_owned(),
        })
    };
    store.hear(&end(1, 40)).expect("room");
    store
        .hear(&end(1, 50))
        .expect("said twice: the first counts");
    store.hear(&end(2, 50)).expect("before it began");
    store.hear(&end(3, 50)).expect_err("there is no such work");
    let fuse = Maintenance {
        to: at(40),
        ..work(10, "fuse")
    };
    assert_eq!(store.maintenance_after(at(39)).expect("reads"), [fuse]);
    assert_eq!(store.maintenance_after(at(40)).expect("reads"), []);
    let audit = store.audit().expect("reads");
    let ended = audit.iter().filter(|a| a.event == "maintenance_ended");
    assert_eq!(ended.count(), 3);
}

#[test]
fn maintenance_that_ends_before_it_begins_is_refused_whole() {
    let mut store = Store::in_memory(&Layout::of_channels([])).expect("memory");
    let at = Time::from_unix_ms;
    let work = Maintenance {
        device: None,
        from: at(20),
        to: at(10),
        at: at(6),
        who: "technician".to_owned(),
        reason: String::new(),
    };
    store.hear(&Said::Maintenance(work)).expect_err("backwards");
    assert_eq!(store.audit().expect("reads"), []);
}

/// Years of answers are not read to decide about what stands.
#[test]
fn of_what_is_long_over_no_answer_is_in_question() {
    let at = Time::from_unix_ms;
    let finding = |input: u8, ended: Option<Time>| {
        let subject = Subject::input(&DeviceId::new("barn"), input);
        Finding {
            id: FindingId::new(&subject, Kind::StringOpen, at(0)),
            subject,
            kind: Kind::StringOpen,
            severity: Kind::StringOpen.severity(),
            began: at(0),
            found: at(0),
            ended,
            confidence: 0.9,
            causes: Vec::new(),
            evidence: Default::default(),
            lost: Energy::from_wh(0.0),
            summary: String::new(),
            advice: Vec::new(),
            caution: Vec::new(),
        }
    };
    let (stands, over) = (finding(1, None), finding(2, Some(at(500))));
    let mut store = Store::in_memory(&Layout::of_channels([])).expect("memory");
    let state = EngineState {
        version: 1,
        bytes: Vec::new(),
    };
    let step = Step {
        at: at(500),
        findings: &[stands.clone(), over.clone()],
        ..Step::nothing(&state)
    };
    store.commit(&step).expect("room");
    for id in [&over.id, &stands.id, &over.id] {
        let response = Response {
            finding: id.to_string(),
            at: at(600),
            who: "technician".to_owned(),
            what: What::Acknowledged,
            until: None,
            text: String::new(),
        };
        store.hear(&Said::Response(response)).expect("room");
    }
    let of = |from: i64| {
        let all = store.responses_in_question(at(from)).expect("reads");
        all.into_iter().map(|r| r.finding).collect::<Vec<_>>()
    };
    let (stands, over) = (stands.id.to_string(), over.id.to_string());
    assert_eq!(of(501), std::slice::from_ref(&stands));
    assert_eq!(of(500), [over.clone(), stands, over]);
}
