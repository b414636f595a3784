//! Message maps: the examples are right and explain every key, bad ones are told all at once.

mod common;

use config::messages::{DocumentTime, Payload, TimeFormat, parse_message_map};
use config::{MESSAGE_TABLES, Rule};
use std::path::PathBuf;

fn examples() -> Vec<(PathBuf, String)> {
    common::examples("messages", 3)
}

#[test]
fn every_example_is_right() {
    for (path, text) in examples() {
        if let Err(errors) = parse_message_map(&path.display().to_string(), &text) {
            panic!("{}", errors.render(false));
        }
    }
}

/// Beside each key stands its range and default, in the words of the key table.
#[test]
fn every_key_is_explained_in_an_example() {
    let texts: Vec<_> = examples().into_iter().map(|(_, text)| text).collect();
    let comments = texts.join("\n").replace("\n# ", " ");
    for (table, keys) in MESSAGE_TABLES {
        for key in *keys {
            let summary = format!("({})", key.summary());
            let of_a_table = matches!(key.rule, Rule::Words("[[value]]"));
            assert!(
                comments.contains(&summary) || of_a_table,
                "{table}.{}: {summary}",
                key.name
            );
        }
    }
}

#[test]
fn a_time_in_the_document_is_read_as_the_map_says() {
    let (_, text) = &examples()[2];
    let map = parse_message_map("string-inverter.toml", text).expect("right");
    let time = DocumentTime {
        pointer: "/at".to_owned(),
        format: TimeFormat::UnixS,
    };
    assert_eq!(map.payload, Payload::Json(Some(time)));
    let earth = map.values.iter().find(|value| value.topic.is_some());
    assert_eq!(earth.expect("one").channel(), "isolation_resistance_ohm");
}

#[test]
fn everything_that_is_wrong_is_told_at_once() {
    let text = r#"
name = "Wrong"
payload = "number"
time = "unix-s"
[[value]]
channel = "ac_power_w"
pointer = "/p"
[[value]]
channel = "ac_power_w"
topic = "a/#"
[[value]]
channel = "state"
metric = "S"
[[value]]
chanel = "dc_power_w"
scale = 0
"#;
    let errors = parse_message_map("wrong.toml", text).expect_err("wrong");
    let said = errors.to_string();
    for part in [
        "time: found text \"unix-s\", wanted no such key with payload",
        "value[1].pointer: found text \"/p\", wanted no such key with payload",
        "value[2].topic: found text \"a/#\", wanted parts with /",
        "value[3].states: found no such key, wanted [value.states]",
        "value[3].metric: found text \"S\", wanted no such key",
        "value[4].chanel: found unknown key `chanel`, wanted `channel`",
    ] {
        assert!(said.contains(part), "no {part:?} in\n{said}");
    }
}
