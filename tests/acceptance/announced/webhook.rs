//! By HTTP.

use super::site::{NOON, Site, cut, finding};
use analysis::reading::Span;
use daemon::store::{Response, Said, What};
use serde_json::{Value, json};
use std::fs;
use tests::receiver::{KNOWN, Receiver};

/// A site that tells a receiver, with more keys.
fn tables(receiver: &Receiver, more: &str) -> String {
    let (id, url) = (KNOWN.0, receiver.url());
    format!("[[alerts.webhook]]\nid = {id:?}\nurl = {url:?}\nsecret_file = \"secret\"\n{more}\n")
}

fn site(receiver: &Receiver, more: &str) -> Site {
    let site = Site::new(&tables(receiver, more));
    fs::write(site.path("secret"), format!("{}\n", KNOWN.1)).expect("room");
    site
}

fn body(call: &Value) -> Value {
    assert_eq!(call["unverified"], Value::Null, "{call}");
    assert_eq!(call["type"], "application/json");
    assert_eq!(call["path"], "/plants/dairy?by=post");
    serde_json::from_str(call["body"].as_str().expect("text")).expect("JSON")
}

#[test]
fn beginning_and_end_of_a_finding_arrive_encrypted_and_signed() {
    let receiver = Receiver::start(true);
    let authority = format!("ca_file = {:?}", receiver.authority());
    let mut site = site(&receiver, &authority);
    let found = finding(1, None);
    site.know(NOON, &found);
    assert_eq!(site.make(NOON), 1);
    let senders = site.send();
    let call = receiver.call();
    let text = call["body"].as_str().expect("text");
    assert!(text.contains(&site.line(&found)), "the very line: {text}");
    let first = body(&call);
    let id = format!("{}.found.{}", found.id, NOON.unix_ms());
    let wanted: Value = serde_json::from_str(&site.line(&found)).expect("JSON");
    assert_eq!(
        first,
        json!({"id": id, "event": "found", "at": "2026-06-22T12:00:00Z", "site": "Quince Row dairy",
               "finding": wanted})
    );
    site.noted("it was taken", <[_]>::is_empty);
    let end = NOON + Span::from_h(3);
    site.know(end, &finding(1, Some(end)));
    assert_eq!(site.make(end), 1);
    let second = body(&receiver.call());
    assert_eq!(second["event"], "ended");
    assert_eq!(second["finding"]["ended"], "2026-06-22T15:00:00Z");
    assert_ne!(second["id"], first["id"]);
    site.noted("it was taken", <[_]>::is_empty);
    // Nothing is told twice.
    assert_eq!(site.make(end + Span::from_h(1)), 0);
    cut(senders);
    assert!(!receiver.has_call());
}

/// Nobody reads mails: a program is told again of what nobody has said that he has seen.
#[test]
fn what_nobody_answers_is_told_again_where_programs_alone_are_told() {
    let receiver = Receiver::start(false);
    let mut site = Site::new(&format!("remind_after_h = 1\n{}", tables(&receiver, "")));
    fs::write(site.path("secret"), KNOWN.1).expect("room");
    site.know(NOON, &finding(1, None));
    assert_eq!(site.make(NOON), 1);
    // While it was not taken nobody can have answered, however late it is.
    let days = |n: i64| Span::from_h(24 * n);
    assert_eq!(site.make(NOON + days(1)), 0);
    let senders = site.send();
    assert_eq!(body(&receiver.call())["event"], "found");
    site.noted("it was taken", <[_]>::is_empty);
    // What is urgent within days waits for three times an hour, then for twice as long.
    assert_eq!(site.make(NOON + days(3)), 1);
    assert_eq!(body(&receiver.call())["event"], "unanswered");
    site.noted("it was taken", <[_]>::is_empty);
    let seen = Said::Response(Response {
        finding: finding(1, None).id.to_string(),
        at: NOON + days(3),
        who: "the desk".to_owned(),
        what: What::Acknowledged,
        until: None,
        text: String::new(),
    });
    site.store.hear(&seen).expect("it fits");
    assert_eq!(site.make(NOON + days(6)), 0);
    cut(senders);
    assert!(!receiver.has_call());
}

/// The receiver refuses, wants us later, leads elsewhere, hangs up in the middle and never answers, one
/// after the other.
#[test]
fn news_arrive_once_whatever_the_receiver_does() {
    let mut receiver = Receiver::start(false);
    let mut site = site(&receiver, "timeout_s = 2");
    site.know(NOON, &finding(1, None));
    receiver.set("refuse 500");
    site.make(NOON);
    let senders = site.send();
    for (mode, says) in [
        ("refuse 500", "it answers 500"),
        ("refuse 404", "it answers 404"),
        ("wait 503 60", "it answers 503"),
        ("lead", "leads to /elsewhere, which is not followed"),
        ("drop", "connection closed"),
        ("hang", "no answer within 2 s"),
    ] {
        receiver.set(mode);
        site.noted(mode, |waiting| {
            let error = waiting[0].last_error.as_deref();
            error.is_some_and(|error| error.contains(says))
        });
    }
    receiver.set("accept");
    assert_eq!(body(&receiver.call())["event"], "found");
    site.noted("it was taken", <[_]>::is_empty);
    cut(senders);
    assert!(!receiver.has_call());
}

#[test]
fn a_receiver_that_asks_to_wait_is_left_alone_and_one_that_is_gone_is_not_called_for_it_again() {
    let mut receiver = Receiver::start(false);
    let mut site = site(&receiver, "");
    site.know(NOON, &finding(1, None));
    receiver.set("wait 429 7200");
    site.make(NOON);
    let senders = site.send();
    let asked = site.noted("it was refused", |waiting| waiting[0].tries == 1);
    let next = asked[0].next_try.expect("it waits");
    assert!(next - NOON >= Span::from_h(2), "{asked:?}");
    // Two hours pass in twelve seconds.
    receiver.set("refuse 410");
    site.noted("it was given up", <[_]>::is_empty);
    receiver.set("accept");
    // What is new after that is told: somebody may have set the receiver up again.
    let later = NOON + Span::from_h(3);
    site.know(later, &finding(2, None));
    assert_eq!(site.make(later), 1);
    let call = body(&receiver.call());
    assert_eq!(call["finding"]["input"], 2);
    cut(senders);
    assert!(!receiver.has_call());
}

#[test]
fn what_was_not_noted_arrives_again_with_the_same_id() {
    let receiver = Receiver::start(false);
    let mut site = site(&receiver, "");
    site.know(NOON, &finding(1, None));
    site.make(NOON);
    let senders = site.send();
    let before = body(&receiver.call());
    // The power is cut here, before anything is noted.
    cut(senders);
    let mut site = site.again(&tables(&receiver, ""), NOON + Span::from_min(5));
    assert_eq!(
        site.make(NOON + Span::from_min(5)),
        0,
        "it is in the outbox"
    );
    let senders = site.send();
    let again = body(&receiver.call());
    site.noted("it was taken", <[_]>::is_empty);
    cut(senders);
    assert_eq!(before["id"], again["id"]);
    assert!(!receiver.has_call());
}

/// So that a right signature above means something.
#[test]
fn a_wrong_secret_is_seen_and_a_wrong_authority_is_not_believed() {
    let receiver = Receiver::start(false);
    let mut site_of = site(&receiver, "");
    fs::write(site_of.path("secret"), "somebody else's").expect("room");
    site_of.know(NOON, &finding(1, None));
    site_of.make(NOON);
    let senders = site_of.send();
    let call = receiver.call();
    assert_ne!(call["unverified"], Value::Null, "{call}");
    cut(senders);

    let (receiver, other) = (Receiver::start(true), Receiver::start(true));
    let mut site = site(&receiver, &format!("ca_file = {:?}", other.authority()));
    site.know(NOON, &finding(1, None));
    site.make(NOON);
    let senders = site.send();
    let failed = site.noted("it has failed", |waiting| waiting[0].tries > 0);
    let why = failed[0].last_error.as_deref().expect("a reason");
    assert!(why.contains("certificate"), "{why}");
    cut(senders);
    assert!(!receiver.has_call());
}

/// The desk asks every second whether something is due; that must not put off what is.
#[test]
fn a_desk_that_asks_every_second_puts_nothing_off() {
    let receiver = Receiver::start(false);
    let mut site = site(&receiver, "");
    assert_eq!(site.make(NOON), 0);
    site.know(NOON + Span::from_s(5), &finding(1, None));
    let made = (1..=60).map(|s| site.make(NOON + Span::from_s(s)));
    assert_eq!(made.sum::<usize>(), 1);
}

/// What is less urgent than a receiver wants is not for it; who has left the site file gets nothing.
#[test]
fn told_from_holds_back_and_a_webhook_that_is_gone_from_the_site_file_is_given_up() {
    let receiver = Receiver::start(false);
    let mut site = site(&receiver, "told_from = \"now\"");
    site.know(NOON, &finding(1, None));
    assert_eq!(site.make(NOON), 0, "a string is for days");
    let mut site = site.again(&tables(&receiver, "told_from = \"soon\""), NOON);
    assert_eq!(site.make(NOON), 1);
    let day_later = NOON + Span::from_h(25);
    assert_eq!(site.store.late(NOON + Span::from_h(23)).expect("reads"), 0);
    assert_eq!(site.store.late(day_later).expect("reads"), 1);
    let mut site = site.again("", day_later);
    site.make(day_later);
    assert_eq!(site.store.waiting().expect("reads"), []);
    assert_eq!(site.store.late(day_later).expect("reads"), 0);
}
