//! `noonmark trial`, and the program itself at work.

use super::site::Site;
use std::fs;
use std::path::Path;
use tests::Program;
use tests::broker::{Access, Broker};
use tests::receiver::{KNOWN, Receiver};

#[test]
fn a_trial_reaches_everybody_and_says_who_was_not_reached() {
    let receiver = Receiver::start(true);
    let mut broker = Broker::start(Access::Everybody);
    let site = Site::new(&format!(
        "[[alerts.webhook]]\nid = {:?}\nurl = {:?}\nsecret_file = \"secret\"\nca_file = {:?}\n\
         [alerts.mqtt]\naddress = {:?}\n",
        KNOWN.0,
        receiver.url(),
        receiver.authority(),
        broker.address()
    ));
    fs::write(site.path("secret"), KNOWN.1).expect("room");
    let file = site.path("site.toml");
    let trial = || Program::start([Path::new("trial"), file.as_path()]).end();
    let listener = broker.listen("#");
    // Nothing says when a listener has subscribed; what is kept comes first.
    broker.publish("there", b"yes", true);
    listener.until("there");
    let ended = trial();
    assert_eq!(ended.code, Some(0), "{}{}", ended.out, ended.err);
    let call = receiver.call();
    assert_eq!(call["unverified"], serde_json::Value::Null, "{call}");
    let body = call["body"].as_str().expect("text");
    assert!(
        body.contains("\"event\":\"trial\"") && body.contains("\"finding\":null"),
        "{body}"
    );
    let event = listener.line();
    assert!(
        event.starts_with("0 noonmark/quince-row-dairy/events {\"id\":\"trial."),
        "{event}"
    );

    broker.stop();
    fs::remove_file(site.path("secret")).expect("it was there");
    let ended = trial();
    assert_eq!(ended.code, Some(69), "{}{}", ended.out, ended.err);
    assert!(
        ended.out.contains("read the secret of the webhook"),
        "{}",
        ended.out
    );
    assert!(ended.out.contains("tell the broker"), "{}", ended.out);
    assert!(ended.err.contains("tell 2 of 2"), "{}", ended.err);

    let nobody = Site::new("");
    let file = nobody.path("site.toml");
    let ended = Program::start([Path::new("trial"), file.as_path()]).end();
    assert_eq!(ended.code, Some(78), "{}{}", ended.out, ended.err);
}
