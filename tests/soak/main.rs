//! The long soak: `cargo build --release -p noonmark`, then
//! `cargo run --release -p noonmark-tests --example soak -- --days 90 --out FOLDER`.
//!
//! `--rate R` site seconds per second (3600 unless told), `--every-s S` seconds of the site between polls (900),
//! `--seed N` (1). In FOLDER: both daemons with their stores, `soak.json`, `soak.txt`. Ends with an error
//! where anything is wrong. Needs what tests/run installs (mosquitto, NOONMARK_TEST_PYTHON).

use std::path::PathBuf;
use std::process::ExitCode;
use tests::soak::{Settings, run};

fn main() -> ExitCode {
    let mut settings = Settings {
        days: 90,
        rate: 3600.0,
        every_s: 900,
        seed: 1,
        says: true,
    };
    let mut out = PathBuf::from("soak");
    let mut arguments = std::env::args().skip(1);
    while let Some(option) = arguments.next() {
        let value = arguments.next().unwrap_or_default();
        let is_taken = match option.as_str() {
            "--days" => value.parse().map(|days| settings.days = days).is_ok(),
            "--rate" => value.parse().map(|rate| settings.rate = rate).is_ok(),
            "--every-s" => value.parse().map(|s| settings.every_s = s).is_ok(),
            "--seed" => value.parse().map(|seed| settings.seed = seed).is_ok(),
            "--out" => {
                out = PathBuf::from(&value);
                true
            }
            _ => false,
        };
        if !is_taken {
            eprintln!(
                "wanted --days, --rate, --every-s, --seed or --out and a value, found {option} {value}"
            );
            return ExitCode::from(64);
        }
    }
    std::fs::create_dir_all(&out).expect("a folder");
    let report = run(settings, &out);
    let json = serde_json::to_string_pretty(&report).expect("numbers");
    std::fs::write(out.join("soak.json"), json + "\n").expect("room");
    std::fs::write(out.join("soak.txt"), report.text()).expect("room");
    print!("{}", report.text());
    match report.judgement.wrong.is_empty() {
        true => ExitCode::SUCCESS,
        false => ExitCode::FAILURE,
    }
}
