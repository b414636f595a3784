//! The daemon only reads from devices: no request that changes one can be formed.
//!
//! The requests that leave the daemon are formed by one function in one file; here it is held that
//! no other file touches the protocol library, and that this one names nothing but its four reads.

use std::fs;
use std::path::{Path, PathBuf};

/// The one file that may speak to devices.
const CLIENT: &str = "source/modbus/client.rs";
/// The one file that opens connections to devices, for the one above.
const ENDPOINT: &str = "source/modbus/endpoint.rs";
/// Passes bytes on between the two.
const STREAM: &str = "source/modbus/stream.rs";
/// Takes requests instead of making them: it names those that it refuses.
const SERVER: &str = "demo/register_server.rs";
/// Names of the library that form or send a change.
const CHANGES: [&str; 9] = [
    "write_single",
    "write_multiple",
    "masked_write",
    "read_write_multiple",
    "WriteSingle",
    "WriteMultiple",
    "MaskWrite",
    "ReadWriteMultiple",
    "Request::Custom",
];
/// Names that bring those along; in other files they may belong to other libraries.
const CARRIERS: [&str; 4] = ["Writer", "Reader", "prelude", "::*"];
/// Fewer would mean that the files were not found.
const FEWEST_SOURCES: usize = 10;

#[test]
fn no_source_file_names_a_function_that_changes_a_device() {
    let mut seen = 0;
    for (name, text) in sources() {
        seen += 1;
        if name == SERVER {
            continue;
        }
        let code = code(&text);
        for change in CHANGES {
            assert!(!code.contains(change), "{name} names {change}");
        }
    }
    assert!(seen >= FEWEST_SOURCES, "only {seen} source files found");
}

#[test]
fn only_the_read_only_client_speaks_to_devices() {
    let users: Vec<String> = sources()
        .into_iter()
        .filter(|(_, text)| text.contains("tokio_modbus"))
        .map(|(name, _)| name)
        .collect();
    assert_eq!(users, [SERVER, CLIENT]);
}

#[test]
fn the_client_takes_nothing_from_the_library_that_can_change_a_device() {
    let code = code(&fs::read_to_string(source_dir().join(CLIENT)).expect("readable"));
    for carrier in CARRIERS {
        assert!(!code.contains(carrier), "{CLIENT} names {carrier}");
    }
}

#[test]
fn the_client_forms_four_requests_and_sends_at_one_place() {
    let text = fs::read_to_string(source_dir().join(CLIENT)).expect("readable");
    let formed: Vec<&str> = text
        .match_indices("tokio_modbus::Request::")
        .map(|(at, prefix)| {
            let rest = &text[at + prefix.len()..];
            rest.split('(').next().expect("split gives one part")
        })
        .collect();
    let reads = [
        "ReadCoils",
        "ReadDiscreteInputs",
        "ReadHoldingRegisters",
        "ReadInputRegisters",
    ];
    assert_eq!(formed, reads);
    assert_eq!(text.matches(".call(").count(), 1);
}

#[test]
fn bytes_reach_devices_through_the_client_only() {
    let naming = |word: &str| -> Vec<String> {
        let modbus = sources().into_iter();
        let modbus = modbus.filter(|(name, _)| name.starts_with("source/modbus/"));
        let naming = modbus.filter(|(name, text)| {
            let text = text
                .split("#[cfg(test)]")
                .next()
                .expect("split gives one part");
            !name.ends_with("_tests.rs") && code(text).contains(word)
        });
        naming.map(|(name, _)| name).collect()
    };
    // Who could open a connection, and who could put bytes on one.
    assert_eq!(naming("tokio_serial"), [ENDPOINT]);
    assert_eq!(naming("TcpStream::connect"), [ENDPOINT]);
    assert_eq!(naming("poll_write"), [STREAM]);
    for writer in [
        "AsyncWriteExt",
        "write_all",
        "write_u8",
        "write_buf",
        "try_write",
    ] {
        assert_eq!(naming(writer), [""; 0], "{writer}");
    }
}

fn source_dir() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// The text without its comment lines.
fn code(text: &str) -> String {
    let is_code = |line: &&str| !line.trim_start().starts_with("//");
    text.lines().filter(is_code).collect()
}

/// Every Rust file under `src/` with its name from there, in order.
fn sources() -> Vec<(String, String)> {
    let root = source_dir();
    let mut waiting = vec![root.clone()];
    let mut found = Vec::new();
    while let Some(dir) = waiting.pop() {
        for entry in fs::read_dir(dir).expect("readable") {
            let path = entry.expect("readable").path();
            if path.is_dir() {
                waiting.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let name = path.strip_prefix(&root).expect("below the root");
                let text = fs::read_to_string(&path).expect("readable");
                found.push((name.display().to_string(), text));
            }
        }
    }
    found.sort();
    found
}

/// The one file that publishes, and only on topics that `mqtt/own_topic.rs` makes below the own prefix.
const PUBLISHER: &str = "mqtt/connection.rs";
/// The one file that makes such topics.
const OWN_TOPICS: &str = "mqtt/own_topic.rs";

#[test]
fn a_topic_of_ours_is_made_below_the_prefix_and_nowhere_else() {
    let text = |name: &str| fs::read_to_string(source_dir().join(name)).expect("readable");
    let code = |text: &str| code(text.split("#[cfg(test)]").next().expect("one part"));
    let made: usize = sources()
        .iter()
        .map(|(_, text)| code(text).matches("OwnTopic(").count())
        .sum();
    // The type itself, and the one place behind `Prefix`.
    assert_eq!(made, 2);
    let topics = code(&text(OWN_TOPICS));
    assert!(topics.contains("OwnTopic(format!(\"{}/{rest}\", self.0))"));
    assert_eq!(
        topics.matches("Prefix(").count(),
        1,
        "the type; `of` says Self"
    );
    assert_eq!(topics.matches("Self(announcer.prefix.clone())").count(), 1);
    // Each message that leaves, and the will, take their topic from that type.
    let publisher = code(&text(PUBLISHER));
    assert_eq!(
        publisher.matches(".publish(").count(),
        2,
        "one for each version"
    );
    assert_eq!(publisher.matches(".publish(topic,").count(), 2);
    assert!(publisher.contains("let (topic, payload) = (message.topic.as_str(),"));
    assert_eq!(publisher.matches("LastWill::new(").count(), 2);
    assert_eq!(
        publisher.matches("LastWill::new(topic.as_str(),").count(),
        2
    );
    assert!(publisher.contains("status: Option<&OwnTopic>"));
}

#[test]
fn nothing_is_published_where_devices_are_listened_to() {
    let sources = sources().into_iter();
    let mqtt: Vec<_> = sources
        .filter(|(name, text)| text.contains("rumqttc") || name.starts_with("source/mqtt"))
        .filter(|(name, _)| name != PUBLISHER)
        .collect();
    assert!(mqtt.len() > 1, "an empty list is not a pass");
    for (name, text) in mqtt {
        let text = code(&text);
        for way in [
            ".publish(",
            ".try_publish(",
            "publish_bytes(",
            "LastWill",
            "Request::Publish",
        ] {
            assert!(!text.contains(way), "{name} names {way}");
        }
    }
}
