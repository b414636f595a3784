//! Through a broker.

use super::site::{NOON, Site, cut, finding};
use analysis::diagnose::Finding;
use analysis::reading::Span;
use serde_json::Value;
use std::fs;
use tests::broker::{Access, Broker, LOGIN};

const PREFIX: &str = "noonmark/quince-row-dairy";

fn tables(broker: &Broker, of_broker: &str) -> String {
    let address = broker.address();
    let told = format!("[alerts.mqtt]\naddress = {address:?}\n");
    match of_broker {
        "" => told,
        _ => format!("{told}[[broker]]\naddress = {address:?}\n{of_broker}"),
    }
}

fn all() -> String {
    format!("{PREFIX}/#")
}

#[test]
fn a_finding_is_kept_while_it_stands_and_its_news_are_told_as_they_happen() {
    let login = format!("user = {:?}\npassword_file = \"password\"\n", LOGIN.0);
    let five = format!("{login}version = \"5\"\n");
    let cases = [
        (Access::Everybody, ""),
        (Access::Password, login.as_str()),
        (Access::Password, &five),
    ];
    for (access, settings) in cases {
        let broker = Broker::start(access);
        let mut site = Site::new(&tables(&broker, settings));
        fs::write(site.path("password"), LOGIN.1).expect("room");
        let found = finding(1, None);
        let topic = format!("{PREFIX}/findings/{}", found.id);
        let listener = broker.listen(&all());
        let senders = site.send();
        listener.until(&format!("{PREFIX}/status online"));
        site.know(NOON, &found);
        assert_eq!(site.make(NOON), 1);
        let line = site.line(&found);
        assert_eq!(listener.line(), format!("0 {topic} {line}"));
        let event = listener.line();
        let event = event.strip_prefix(&format!("0 {PREFIX}/events "));
        let event: Value = serde_json::from_str(event.expect("an event")).expect("JSON");
        assert_eq!(
            (&event["event"], &event["finding"]["id"]),
            (&"found".into(), &found.id.as_str().into())
        );
        site.noted("it was acknowledged", <[_]>::is_empty);
        // Whoever comes later sees what stands and that we are there, and no old events.
        let later = broker.listen(&all());
        let mut kept = [later.line(), later.line()];
        kept.sort();
        assert_eq!(
            kept,
            [
                format!("1 {topic} {line}"),
                format!("1 {PREFIX}/status online")
            ]
        );
        let end = NOON + Span::from_h(3);
        site.know(end, &finding(1, Some(end)));
        site.make(end);
        let told = listener.until("/events ");
        assert!(
            told[0].contains("\"ended\":\"2026-06-22T15:00:00Z\""),
            "{told:?}"
        );
        site.noted("it was acknowledged", <[_]>::is_empty);
        // Nobody says good-bye in a power cut; the broker does.
        cut(senders);
        assert_eq!(listener.line(), format!("0 {PREFIX}/status offline"));
    }
}

#[test]
fn a_broker_that_was_away_and_has_forgotten_everything_is_told_all_of_it() {
    let mut broker = Broker::start(Access::Everybody);
    let mut site = Site::new(&tables(&broker, ""));
    let senders = site.send();
    let listener = broker.listen(&all());
    listener.until(&format!("{PREFIX}/status online"));
    site.know(NOON, &finding(1, None));
    site.make(NOON);
    listener.until("/events ");
    site.noted("it was acknowledged", <[_]>::is_empty);
    broker.stop();
    let later = NOON + Span::from_h(1);
    site.know(later, &finding(2, None));
    site.make(later);
    site.noted("it has failed", |waiting| waiting[0].tries > 0);
    broker.start_again();
    site.noted("it was acknowledged", <[_]>::is_empty);
    // This broker keeps nothing through a restart; both findings are there all the same.
    let later = broker.listen(&format!("{PREFIX}/findings/+"));
    let mut kept = [later.line(), later.line()];
    kept.sort();
    for (line, input) in kept.iter().zip([1, 2]) {
        let topic = format!("1 {PREFIX}/findings/{} {{", finding(input, None).id);
        assert!(line.starts_with(&topic), "{line}");
    }
    cut(senders);
}

#[test]
fn what_was_not_noted_is_told_again_and_what_ended_a_week_ago_is_cleared() {
    let broker = Broker::start(Access::Everybody);
    let mut site = Site::new(&tables(&broker, ""));
    let listener = broker.listen(&format!("{PREFIX}/events"));
    let end = NOON + Span::from_h(1);
    site.know(end, &finding(1, Some(end)));
    // It began and ended while nobody looked.
    assert_eq!(site.make(end), 2);
    let senders = site.send();
    let before = [listener.line(), listener.line()];
    cut(senders);
    let mut site = site.again(&tables(&broker, ""), end + Span::from_h(24 * 6));
    let senders = site.send();
    let again = [listener.line(), listener.line()];
    assert_eq!(before, again, "the same bodies with the same ids");
    site.noted("it was acknowledged", <[_]>::is_empty);
    cut(senders);
    let topic = format!("{PREFIX}/findings/{}", finding(1, None).id);
    let kept = broker.listen(&topic);
    assert!(kept.line().starts_with(&format!("1 {topic} {{")));
    // After eight days.
    let site = site.again(&tables(&broker, ""), end + Span::from_h(24 * 8));
    let senders = site.send();
    let cleared = kept.until(&format!("0 {topic} "));
    assert_eq!(cleared.last().expect("one"), &format!("0 {topic} "));
    let later = broker.listen(&all());
    assert_eq!(later.line(), format!("1 {PREFIX}/status online"));
    cut(senders);
    // Nothing was kept of it: the next thing that is heard is that we are gone.
    assert_eq!(later.line(), format!("0 {PREFIX}/status offline"));
}

/// A connection that is kept for years, on a clock that runs faster than the machine's.
#[test]
fn what_ended_a_week_ago_is_cleared_while_the_connection_stands() {
    let broker = Broker::start(Access::Everybody);
    let mut site = Site::new(&tables(&broker, ""));
    let week = Span::from_h(24 * 7);
    // Two hours of the site are left of the week: seconds.
    let ended = Finding {
        began: NOON - week - week,
        ..finding(1, Some(NOON + Span::from_h(2) - week))
    };
    site.know(NOON, &ended);
    let listener = broker.listen(&all());
    let senders = site.send();
    let topic = format!("{PREFIX}/findings/{}", ended.id);
    listener.until(&format!("{topic} {{"));
    let told = listener.until(&format!("0 {topic} "));
    assert_eq!(told.last().expect("one"), &format!("0 {topic} "));
    let is_away = |line: &String| line.ends_with("/status offline");
    assert!(!told.iter().any(is_away), "{told:?}");
    cut(senders);
}

/// The program ended between storing it and putting it into the outbox, and nobody started it for days.
#[test]
fn what_was_found_right_before_a_long_power_cut_is_told_after_it() {
    let broker = Broker::start(Access::Everybody);
    let mut site = Site::new(&tables(&broker, ""));
    site.look(NOON);
    site.know(NOON, &finding(1, None));
    let after = NOON + Span::from_h(24 * 3);
    let mut site = site.again(&tables(&broker, ""), after);
    assert_eq!(site.make(after), 1);
    // A receiver that comes new into the site file is not told what is old.
    let later = after + Span::from_h(24 * 3);
    site.look(later);
    let webhook = "[[alerts.webhook]]\nid = \"desk\"\nurl = \"http://127.0.0.1:9/\"\nsecret_file = \"secret\"\n";
    std::fs::write(site.path("secret"), "plover-31-secret").expect("room");
    let mut site = site.again(&tables(&broker, webhook), later);
    assert_eq!(site.make(later), 0);
}
