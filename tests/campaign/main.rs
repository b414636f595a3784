//! The fault campaign by one command; see DEVELOPERS.md.
//! `cargo run --release -p noonmark-tests --example campaign -- --out DIR [--plants N] [--healthy N]
//! [--days D] [--seed S] [--only KIND|healthy] [--threads T] [--poll-min 1|5] [--years]
//! [--runs N,N,..]`

use analysis::reading::Span;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Instant;
use tests::campaign::{
    Campaign, KINDS, Ran, detection_svg, false_alarm_lines, markdown, run_all, run_lines, score,
};

const USAGE: u8 = 64;
const CANNOT_WRITE: u8 = 73;

struct Asked {
    campaign: Campaign,
    out: PathBuf,
    threads: usize,
    cores: usize,
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let asked = match asked(&arguments) {
        Ok(asked) => asked,
        Err(wrong) => {
            eprintln!("{wrong}");
            return ExitCode::from(USAGE);
        }
    };
    if let Err(error) = std::fs::create_dir_all(&asked.out) {
        eprintln!("failed to make {}: {error}", asked.out.display());
        return ExitCode::from(CANNOT_WRITE);
    }
    let began = Instant::now();
    let jobs = asked.campaign.jobs();
    let outcomes = run_all(&jobs, asked.threads, |done| {
        if done % 20 == 0 || done == jobs.len() {
            eprintln!(
                "{done} of {} runs, {:.0} s",
                jobs.len(),
                began.elapsed().as_secs_f64()
            );
        }
    });
    let score = score(&outcomes);
    let ran = Ran {
        command: format!("campaign {}", arguments.join(" ")),
        threads: asked.threads,
        cores: asked.cores,
        seconds: began.elapsed().as_secs_f64(),
    };
    let files = [
        ("campaign.md", markdown(&score, &asked.campaign, &ran)),
        ("campaign.svg", detection_svg(&score)),
        ("false_alarms.csv", false_alarm_lines(&score)),
        ("runs.csv", run_lines(&score)),
    ];
    match write(&asked.out, &files) {
        Ok(()) => ExitCode::SUCCESS,
        Err(wrong) => {
            eprintln!("{wrong}");
            ExitCode::from(CANNOT_WRITE)
        }
    }
}

fn write(out: &Path, files: &[(&str, String)]) -> Result<(), String> {
    for (name, text) in files {
        let path = out.join(name);
        std::fs::write(&path, text)
            .map_err(|error| format!("failed to write {}: {error}", path.display()))?;
    }
    Ok(())
}

fn asked(arguments: &[String]) -> Result<Asked, String> {
    let cores = std::thread::available_parallelism().map_or(1, |n| n.get());
    let mut asked = Asked {
        campaign: Campaign {
            seed: 1,
            plants: 30,
            healthy: 30,
            days: 365,
            every: Span::from_min(5),
            only: None,
            years: false,
            runs: Vec::new(),
        },
        out: PathBuf::new(),
        threads: cores,
        cores,
    };
    let mut rest = arguments.iter();
    while let Some(name) = rest.next() {
        if name == "--years" {
            asked.campaign.years = true;
            continue;
        }
        let value = rest
            .next()
            .ok_or_else(|| format!("found {name} without a value"))?;
        take(&mut asked, name, value)?;
    }
    if asked.out.as_os_str().is_empty() {
        return Err("found no --out, wanted --out DIR".to_owned());
    }
    Ok(asked)
}

fn take(asked: &mut Asked, name: &str, value: &str) -> Result<(), String> {
    let number = |low: u64, high: u64| match value.parse::<u64>() {
        Ok(n) if (low..=high).contains(&n) => Ok(n),
        _ => Err(format!(
            "found {name} {value}, wanted a whole number from {low} to {high}"
        )),
    };
    let campaign = &mut asked.campaign;
    match name {
        "--out" => asked.out = PathBuf::from(value),
        "--plants" => campaign.plants = number(0, 100_000)? as usize,
        "--healthy" => campaign.healthy = number(0, 100_000)? as usize,
        "--days" => campaign.days = number(1, 3660)? as i64,
        "--seed" => campaign.seed = number(0, u64::MAX)?,
        "--threads" => asked.threads = number(1, 1024)? as usize,
        "--poll-min" => campaign.every = Span::from_min(number(1, 5)? as i64),
        "--only" => {
            let mut names = KINDS.iter().map(|row| row.name).chain(["healthy"]);
            let known = names.find(|known| *known == value);
            let all = || {
                KINDS
                    .iter()
                    .map(|row| row.name)
                    .collect::<Vec<_>>()
                    .join(", ")
            };
            campaign.only = Some(known.ok_or_else(|| {
                format!("found --only {value}, wanted healthy or one of: {}", all())
            })?);
        }
        "--runs" => {
            let all: Result<Vec<usize>, _> = value.split(',').map(str::parse).collect();
            campaign.runs = all.map_err(|_| {
                format!("found --runs {value}, wanted numbers of runs with commas between them")
            })?;
        }
        _ => {
            return Err(format!(
                "found {name}, wanted --out, --plants, --healthy, --days, --seed, --only, --threads, --poll-min, --runs or --years"
            ));
        }
    }
    Ok(())
}
