//! `noonmark trial`, and the program itself at work.

use super::site::Site;
use std::fs;
use std::path::Path;
use tests::broker::{Access, Broker};
use tests::receiver::{KNOWN, Receiver};
use tests::{Program, until};

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

/// A mast that nobody answers for, and a program that is killed as soon as it has said so.
#[test]
fn the_daemon_tells_what_it_finds_and_tells_it_again_after_it_was_killed_too_early() {
    let receiver = Receiver::start(false);
    let broker = Broker::start(Access::Everybody);
    let site = Site::new(&format!(
        "[[alerts.webhook]]\nid = {:?}\nurl = {:?}\nsecret_file = \"secret\"\ntold_from = \"note\"\n\
         [alerts.mqtt]\naddress = {:?}\ntold_from = \"note\"\n",
        KNOWN.0,
        receiver.url(),
        broker.address()
    ));
    fs::write(site.path("secret"), KNOWN.1).expect("room");
    let (file, out) = (site.path("site.toml"), site.path("out"));
    let text = fs::read_to_string(&file).expect("it was written");
    // Nobody listens there, and it is asked often.
    let text = text
        .replace("127.0.0.1:5020", "127.0.0.1:9")
        .replace("every_s = 60", "every_s = 1");
    fs::write(&file, text + "[web]\nlisten = \"off\"\n").expect("room");
    let start = || {
        Program::start([
            "run".as_ref(),
            file.as_os_str(),
            "--out".as_ref(),
            out.as_os_str(),
        ])
    };
    let listener = broker.listen("noonmark/quince-row-dairy/#");
    let program = start();
    let is_of_mast =
        |text: &str| text.contains("\"device\":\"mast\"") && text.contains("link_lost");
    let told = until("the lost link is told", || {
        let call = receiver.call();
        assert_eq!(call["unverified"], serde_json::Value::Null, "{call}");
        let body = call["body"].as_str().expect("text").to_owned();
        is_of_mast(&body).then_some(body)
    });
    let seen = listener.until("/events {\"id\":\"mast.link_lost.");
    assert!(seen[0].ends_with("status online"), "{seen:?}");
    assert!(told.contains("\"event\":\"found\""), "{told}");
    program.kill();
    assert!(
        listener
            .until("status ")
            .last()
            .expect("one")
            .ends_with("offline")
    );
    // What stands is there for whoever comes later, and the next start says that we are there again.
    let program = start();
    listener.until("status online");
    let ended = program.terminate();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    assert!(!ended.err.contains(KNOWN.1), "{}", ended.err);
}
