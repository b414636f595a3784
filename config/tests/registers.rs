//! Register maps: the examples are right and explain every key, bad ones are told all at once.

mod common;

use config::registers::{Function, Meaning, NumberKind, Sentinel, parse_map};
use config::{MAP_TABLES, Rule, load};
use std::path::{Path, PathBuf};

fn examples() -> Vec<(PathBuf, String)> {
    common::examples("registers", 3)
}

fn example(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("registers");
    std::fs::read_to_string(path.join(name)).expect("text")
}

#[test]
fn every_example_is_right() {
    for (path, text) in examples() {
        if let Err(errors) = parse_map(&path.display().to_string(), &text) {
            panic!("{}", errors.render(false));
        }
    }
}

/// Beside each key stands its unit, range and default, in the words of the key table.
#[test]
fn every_key_is_explained_in_an_example() {
    let texts: Vec<_> = examples().into_iter().map(|(_, text)| text).collect();
    let all = texts.join("\n");
    let comments = all.replace("\n# ", " ");
    for (table, keys) in MAP_TABLES {
        for key in *keys {
            let summary = format!("({})", key.summary());
            let is_table = matches!(key.rule, Rule::Words(words) if words.starts_with('['));
            let explained = is_table || comments.contains(&summary);
            assert!(explained, "{table}.{}: {summary}", key.name);
            let shown = all.contains(&format!("{} = ", key.name))
                || all.contains(&format!("{}]", key.name));
            assert!(shown, "{table}.{} is in no example", key.name);
        }
    }
}

#[test]
fn numbers_keep_their_meaning() {
    let map = parse_map("inverter", &example("string-inverter.toml")).expect("right");
    let state = &map.registers[0];
    assert_eq!((state.function, state.address), (Function::Input, 1000));
    assert!(matches!(&state.meaning, Meaning::States(states) if states.len() == 6));
    let current = &map.registers[3];
    assert_eq!(current.channel(), "input-1/dc_current_a");
    assert_eq!(current.encoding.kind, NumberKind::I16);
    assert_eq!(current.not_available, [Sentinel::Whole(0x8000)]);
    // Counted from 1 in the file, from 0 in the protocol.
    let station = parse_map("station", &example("weather-station.toml")).expect("right");
    assert_eq!(station.registers[0].address, 200);
    assert!(station.registers[0].encoding.is_low_word_first);
    assert!(!station.registers[3].encoding.is_low_word_first);
    let combiner = parse_map("combiner", &example("combiner-meter.toml")).expect("right");
    assert_eq!(combiner.registers[5].encoding.kind, NumberKind::Bit);
}

/// Everything wrong with a map in one list, read by a person against the text.
#[test]
fn all_problems_are_told_together() {
    let text = r#"name = "box"
addresses_count_from = 1
funktion = "input"
max_block = 2

[[forbidden]]
function = "input"
from = 20
to = 10

[[register]]
channel = "input-1/dc_voltage"
function = "input"
address = 0
type = "u16"

[[register]]
channel = "dc_current_a"
function = "input"
address = 5
type = "u17"

[[register]]
channel = "state"
function = "coil"
address = 6
type = "u16"
scale = 2

[[register]]
channel = "ac_power_w"
address = 65535
type = "u64"
scale = 0
not_available = 0.5

[[register]]
channel = "energy_total_wh"
function = "holding"
address = 65534
type = "u64"

[[register]]
channel = "frequency_hz"
function = "holding"
address = 7
type = "i16"
not_available = 65536

[[register]]
channel = "frequency_hz"
function = "holding"
address = 9
type = "u32"
[register.bits]
"0" = "ground-fauld"
"64" = "ground-fault"
"#;
    let errors = parse_map("box.toml", text).expect_err("wrong");
    let expected = "\
box.toml:3:1: funktion: found unknown key `funktion`, wanted `function`
box.toml:9:6: forbidden[1].to: found 10, wanted at least from = 20
box.toml:12:11: register[1].channel: found text \"input-1/dc_voltage\", wanted a quantity at the end: `dc_voltage_v`
box.toml:14:11: register[1].address: found 0, wanted 1 to 65536, since addresses_count_from = 1 and the value takes 1
box.toml:18:11: register[2].channel: found text \"dc_current_a\", wanted dc_current_a where it is measured: input-<n> or input-<n>/string-<k>
box.toml:21:8: register[2].type: found text \"u17\", wanted `u16`
box.toml:23:1: register[3].states: found no such key, wanted [register.states], since channel = \"state\"
box.toml:27:8: register[3].type: found text \"u16\", wanted bit, since coils and discrete inputs are single bits
box.toml:28:9: register[3].scale: found 2, wanted no such key with channel = \"state\"
box.toml:30:1: register[4].function: found no such key, wanted holding | input | coil | discrete-input, here or at the top of the file
box.toml:34:9: register[4].scale: found 0, wanted a number other than 0
box.toml:40:11: register[5].address: found 65534, wanted 1 to 65533, since addresses_count_from = 1 and the value takes 4
box.toml:48:17: register[6].not_available: found 65536, wanted a number that the register can hold, before scale and offset
box.toml:55:1: register[7].bits: found a table, wanted no such table with channel = \"frequency_hz\"
box.toml:56:7: register[7].bits.\"0\": found text \"ground-fauld\", wanted `ground-fault`
box.toml:57:1: register[7].bits.\"64\": found key `64`, wanted a quoted place of a bit from \"0\" to \"63\"";
    assert_eq!(errors.to_string(), expected);
}

#[test]
fn what_is_judged_poll_by_poll_has_no_rate_of_its_own() {
    let text = "name = \"box\"\naddresses_count_from = 0\nfunction = \"input\"\n[[register]]\n\
                channel = \"ac_power_w\"\naddress = 1\ntype = \"u16\"\nevery_s = 60\n";
    let errors = parse_map("box.toml", text).expect_err("too seldom");
    let wanted = "box.toml:8:11: register[1].every_s: found 60 s, wanted no such key with channel = \
                  \"ac_power_w\", which is judged poll by poll";
    assert_eq!(errors.to_string(), wanted);
}

#[test]
fn what_is_forbidden_or_too_long_for_a_block_is_told() {
    let text = "name = \"box\"\naddresses_count_from = 0\nfunction = \"input\"\nmax_block = 1\n\
                [[forbidden]]\nfrom = 8\nto = 9\n[[register]]\n\
                channel = \"ac_power_w\"\naddress = 7\ntype = \"u32\"\n[[register]]\n\
                channel = \"frequency_hz\"\naddress = 7\ntype = \"u16\"\n[[register]]\n\
                channel = \"frequency_hz\"\naddress = 12\ntype = \"u16\"\n";
    let errors = parse_map("box.toml", text).expect_err("wrong");
    let expected = "\
box.toml:10:11: register[1].address: found 7, wanted an address outside [[forbidden]]
box.toml:10:11: register[1].address: found 7, wanted max_block of at least 2, since the value takes so many
box.toml:17:11: register[3].channel: found text \"frequency_hz\" again, wanted each channel once";
    assert_eq!(errors.to_string(), expected);
}

proptest::proptest! {
    /// Whatever stands in a map, there is a map or a list of problems.
    #[test]
    fn no_text_makes_it_panic(line in 0usize..150, scrap in 0usize..9) {
        let scraps = ["-1", "1e99", "\"\"", "[]", "{}", "0xFFFFFFFFFFFFFFFF", "nan", "true", "\"coil\""];
        for (path, text) in examples() {
            let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
            let at = line % lines.len();
            if let Some((key, _)) = lines[at].split_once(" = ") {
                lines[at] = format!("{key} = {}", scraps[scrap]);
            }
            if let Err(errors) = parse_map(&path.display().to_string(), &lines.join("\n")) {
                assert!(!errors.problems().is_empty());
            }
        }
    }
}

fn site_with(map: &str, every_s: &str) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let site = Path::new(env!("CARGO_MANIFEST_DIR")).join("sites/hillside-barn.toml");
    let site = std::fs::read_to_string(site).expect("text");
    let site = site
        .replacen("map = \"sunspec\"", "map = \"box.toml\"", 1)
        .replacen("every_s = 10", &format!("every_s = {every_s}"), 1);
    let path = folder.path().join("site.toml");
    std::fs::write(&path, site).expect("written");
    if !map.is_empty() {
        std::fs::write(folder.path().join("box.toml"), map).expect("written");
    }
    (folder, path)
}

#[test]
fn a_site_tells_what_is_wrong_with_its_maps() {
    let map = example("string-inverter.toml");
    let (_folder, site) = site_with(&map, "10");
    load(&site).expect("right");

    let (_folder, site) = site_with("", "10");
    let text = load(&site).expect_err("no such file").to_string();
    assert!(
        text.contains("inverter[1].source.map: found text \"box.toml\", which cannot be read"),
        "{text}"
    );

    let (_folder, site) = site_with(&map.replace("\"u16\"", "\"u15\""), "10");
    let errors = load(&site).expect_err("a wrong map");
    let text = errors.to_string();
    assert!(
        text.contains("found text \"box.toml\", a file with 8 problem(s)"),
        "{text}"
    );
    assert!(
        text.contains("box.toml:46:8: register[1].type: found text \"u15\", wanted `u16`"),
        "{text}"
    );
    assert!(errors.render(false).contains("8 problems in "));

    let (_folder, site) = site_with(&map, "7");
    let text = load(&site).expect_err("rates do not fit").to_string();
    let wanted = "found 7 s, wanted a divisor of what the register map says: \
                  heatsink_temperature_degc every 60 s, isolation_resistance_ohm every 60 s, \
                  energy_total_wh every 300 s";
    assert!(text.contains(wanted), "{text}");
}
