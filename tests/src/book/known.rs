//! Lists of keys, channels, words and commands.

use super::{Parts, kinds};
use analysis::reading::{Quantity, Scope};
use clap::CommandFactory;
use config::registers::{event_words, state_words};
use config::{Key, MAP_TABLES, MESSAGE_TABLES, TABLES};
use std::fs;
use std::path::Path;

/// Every part that the program knows without a plant.
pub fn known_parts() -> Parts {
    let mut parts = Parts::new();
    for (kind, tables) in [
        ("site file", TABLES),
        ("register map", MAP_TABLES),
        ("message map", MESSAGE_TABLES),
    ] {
        for (table, keys) in tables {
            parts.insert(format!("{kind} [{table}]"), key_list(keys));
        }
    }
    let words = |words: &mut dyn Iterator<Item = &'static str>| {
        let words: Vec<String> = words.map(|word| format!("`{word}`")).collect();
        format!("{}.\n", words.join(", "))
    };
    parts.insert("channels".to_owned(), channels());
    parts.insert("states".to_owned(), words(&mut state_words()));
    parts.insert("events".to_owned(), words(&mut event_words()));
    parts.insert("grid rules".to_owned(), grid_rules());
    parts.insert("commands".to_owned(), commands());
    parts.extend(kinds::known_parts());
    parts
}

/// A list, and no table: a telephone is too narrow for long names beside long words.
fn key_list(keys: &[Key]) -> String {
    let line = |key: &Key| format!("- `{}`: {} ({})\n", key.name, key.doc, key.summary());
    keys.iter().map(line).collect()
}

fn channels() -> String {
    let row = |quantity: &Quantity| {
        let on = match quantity.scope() {
            Scope::Input { string: true } => "input, string",
            Scope::Input { string: false } => "input",
            Scope::Inverter => "inverter",
            Scope::Weather => "weather device",
        };
        let (low, high) = quantity.possible_range();
        format!("| `{}` | {on} | {low} to {high} |\n", quantity.name())
    };
    let rows: String = Quantity::ALL.iter().map(row).collect();
    format!("| quantity | of | can be |\n|---|---|---|\n{rows}")
}

fn grid_rules() -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/grid");
    let row = |name: &str| {
        let text = fs::read_to_string(folder.join(name).with_extension("toml"));
        let text = text.unwrap_or_else(|error| panic!("{name}: {error}"));
        let rules = text.lines().find_map(|line| line.strip_prefix("rules = "));
        let rules = rules.unwrap_or_else(|| panic!("{name} does not say whose rules they are"));
        format!("| `{name}` | {} |\n", rules.trim_matches('"'))
    };
    let rows: String = config::grid::names().map(row).collect();
    format!("| `grid_rules` | limits of |\n|---|---|\n{rows}")
}

fn commands() -> String {
    let line = |command: &clap::Command| {
        let about = command.get_about().map(ToString::to_string);
        let about = about.unwrap_or_else(|| panic!("{} says nothing", command.get_name()));
        format!("- `noonmark {}`: {about}.\n", command.get_name())
    };
    let commands = daemon::command_line::Cli::command();
    commands.get_subcommands().map(line).collect()
}
