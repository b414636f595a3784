//! However slow or many clients are, the plant is polled, and the program ends when it is told to.

use super::Plant;
use std::io::{Read, Write};
use std::net::TcpStream;
use tests::until;

/// Connections that ask for something and never finish, or never read what they get.
const SLOW: usize = 50;
/// Polls that must have come by then; each is 0.2 s apart here.
const POLLS: f64 = 30.0;

fn polls(metrics: &str, name: &str) -> f64 {
    let line = format!("{name}{{device=\"hut\"}} ");
    let value = metrics.lines().find_map(|l| l.strip_prefix(&line));
    value
        .and_then(|value| value.parse().ok())
        .unwrap_or_else(|| panic!("no {line} in {metrics}"))
}

#[test]
fn slow_clients_do_not_keep_devices_from_being_polled() {
    let plant = Plant::start("");
    let mut browser = plant.browser();
    let answers = |text: &str| polls(text, "noonmark_device_answers_total");
    until("a first poll", || {
        (answers(&browser.get("/metrics").body) > 0.0).then_some(())
    });
    let mut slow: Vec<TcpStream> = Vec::new();
    for n in 0..SLOW {
        let mut stream = TcpStream::connect(&plant.address).expect("it listens");
        let head = format!(
            "GET /assets/uplot.js HTTP/1.1\r\nhost: {}\r\n",
            plant.address
        );
        // Half of them never end what they say; the others never read the answer.
        let said = if n % 2 == 0 {
            head
        } else {
            format!("{head}\r\n")
        };
        stream.write_all(said.as_bytes()).expect("room");
        slow.push(stream);
    }
    let before = browser.get("/metrics").body;
    let wanted = answers(&before) + POLLS;
    let after = until("polls beside slow clients", || {
        let text = browser.get("/metrics").body;
        (answers(&text) >= wanted).then_some(text)
    });
    let failures = |text: &str| polls(text, "noonmark_device_failures_total");
    assert_eq!(failures(&after), failures(&before), "none was given up");
    let overview = browser.get("/api/v1/overview").json();
    let fresh = overview["sources"].as_array().expect("a list");
    assert!(
        fresh.iter().all(|source| source["freshness"] == "fresh"),
        "{overview}"
    );
    // Some follow, and some keep a connection for later.
    for path in ["/live", "/health"] {
        let mut stream = TcpStream::connect(&plant.address).expect("it listens");
        let ask = format!("GET {path} HTTP/1.1\r\nhost: {}\r\n\r\n", plant.address);
        stream.write_all(ask.as_bytes()).expect("room");
        let mut begins = [0; 15];
        stream.read_exact(&mut begins).expect("an answer");
        assert_eq!(&begins, b"HTTP/1.1 200 OK");
        slow.push(stream);
    }
    // Told to stop with all of them still there.
    let ended = plant.program.terminate();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    let mut rest = Vec::new();
    // Cut off, whichever way the system says it.
    let _ = slow[0].read_to_end(&mut rest);
}

#[test]
fn a_browser_is_told_when_something_changes() {
    let plant = Plant::start("");
    let mut stream = TcpStream::connect(&plant.address).expect("it listens");
    let ask = format!("GET /live HTTP/1.1\r\nhost: {}\r\n\r\n", plant.address);
    stream.write_all(ask.as_bytes()).expect("room");
    let mut heard = Vec::new();
    let mut buffer = [0; 1024];
    while !String::from_utf8_lossy(&heard).contains("event: change") {
        let read = stream.read(&mut buffer).expect("it goes on");
        assert!(read > 0, "ended: {}", String::from_utf8_lossy(&heard));
        heard.extend_from_slice(&buffer[..read]);
    }
    assert!(String::from_utf8_lossy(&heard).contains("text/event-stream"));
    let ended = plant.program.terminate();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
}
