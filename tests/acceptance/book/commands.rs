//! Commands and files as the book shows them.

use super::{BESIDE, beside};
use clap::Parser;
use daemon::command_line::Cli;
use tests::book::{blocks, chapters};

fn texts() -> Vec<(String, String)> {
    let chapters = chapters().into_iter();
    let chapters = chapters.map(|(path, text)| (path.display().to_string(), text));
    let beside = BESIDE.iter().map(|name| (name.to_string(), beside(name)));
    chapters.chain(beside).collect()
}

/// The calls of the program in a line for a shell, as words.
fn calls(line: &str) -> Vec<Vec<&str>> {
    let line = line.split(" #").next().unwrap_or(line);
    let parts = line.split("&&").map(|part| {
        let words = part.split_whitespace().skip_while(|word| *word == "sudo");
        let words = words.take_while(|word| ![">", "<", "|"].contains(word));
        words.collect::<Vec<_>>()
    });
    let calls = parts.filter_map(|words| match words[..] {
        ["noonmark", ..] => Some(words),
        ["cargo", "run", ..] => {
            let own = words.iter().position(|word| *word == "--")?;
            let is_daemon = !words[..own].contains(&"--example");
            is_daemon.then(|| [&["noonmark"], &words[own + 1..]].concat())
        }
        _ => None,
    });
    calls.collect()
}

#[test]
fn every_call_that_is_shown_is_one_that_the_program_takes() {
    let mut taken = 0;
    for (name, text) in texts() {
        for line in blocks(&text, "sh").iter().flat_map(|block| block.lines()) {
            for call in calls(line.trim()) {
                taken += 1;
                if let Err(error) = Cli::try_parse_from(&call) {
                    panic!("{name}: {line}: {error}");
                }
            }
        }
    }
    assert!(taken > 20, "only {taken} calls were tried");
}

#[test]
fn every_piece_of_a_file_that_is_shown_is_toml() {
    let mut read = 0;
    for (name, text) in texts() {
        for block in blocks(&text, "toml") {
            read += 1;
            if let Err(error) = block.parse::<toml::Table>() {
                panic!("{name}: {block}: {error}");
            }
        }
    }
    assert!(read >= 3, "only {read}");
}

#[test]
fn calls_are_told_from_what_stands_round_them() {
    assert_eq!(
        calls("noonmark check a.toml && sudo noonmark run a.toml > log   # and so on"),
        [
            vec!["noonmark", "check", "a.toml"],
            vec!["noonmark", "run", "a.toml"]
        ]
    );
    assert_eq!(calls("cargo run --release -- demo"), [["noonmark", "demo"]]);
    assert!(calls("cargo run --example book -- demo").is_empty());
    assert!(calls("sudo systemctl reload noonmark").is_empty());
}
