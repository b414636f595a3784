//! What the page costs, and whom: 200 visitors on connections that stay open look at the page of a plant of
//! twenty inverters with a year of data, which is polled every second meanwhile.
//!
//!     cargo build --release -p noonmark
//!     cargo run --release -p noonmark-tests --example page_load [FOLDER [SECONDS [VISITORS]]]
//!
//! In FOLDER (a temporary one unless told) stays the store; one that is there is used again. Each visitor asks
//! for a page, reads all of it and waits for up to eight seconds. Beside them some follow what changes, and
//! some never read what they have asked for. Devices, visitors and the program share the machine.

#[path = "page_load/site.rs"]
mod site;
#[path = "page_load/visitor.rs"]
mod visitor;
#[path = "year_store.rs"]
mod year_store;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use tests::plant::START;
use tests::{Browser, Program, cpu_s, until};
use year_store::{DAYS, INVERTERS, SLOT, SLOTS_PER_DAY, fill};

const VISITORS: usize = 200;
const SECONDS: usize = 60;
/// They follow what changes.
const FOLLOWERS: usize = 60;
/// They ask for the largest file and never read it.
const NEVER_READ: usize = 20;
/// Of the day after the year, until three in the afternoon.
const SLOTS_TODAY: i64 = 15 * 12;
const WANTED: Duration = Duration::from_millis(50);

#[tokio::main]
async fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let number = |at: usize, otherwise: usize| {
        let text = arguments.get(at);
        text.map_or(otherwise, |text| text.parse().expect("a number"))
    };
    let temporary = tempfile::tempdir().expect("a folder");
    let folder = arguments
        .first()
        .map_or(temporary.path().into(), PathBuf::from);
    std::fs::create_dir_all(&folder).expect("a folder");
    let (visitors, seconds) = (number(2, VISITORS), number(1, SECONDS) as u64);
    let addresses = site::serve_devices(INVERTERS).await;
    let file = site::write(&folder, &addresses);
    prepare(&folder, &file);
    let mut program = start(&folder, &file);
    let line = program.wait_for_line("the page is at");
    let address = line.rsplit("//").next().unwrap_or_default();
    let address = address.trim_end_matches('/').to_owned();
    let begun = Instant::now();
    let mut browser = Browser::new(&address);
    let first = tokio::task::block_in_place(|| browser.get("/performance/month"));
    assert_eq!(first.status, 200);
    println!(
        "figures of the year: {:.1} s after the start",
        begun.elapsed().as_secs_f64()
    );
    let id = tokio::task::block_in_place(|| finding(&mut browser));
    let pages = pages(&id);
    for path in &pages {
        // Each once, so that what is measured is not the first look of a day.
        let answer = tokio::task::block_in_place(|| browser.get(path));
        assert_eq!(answer.status, 200, "{path}");
    }
    let (_silent, _following) = (
        visitor::never_read(&address, NEVER_READ).await,
        visitor::follow(&address, FOLLOWERS).await,
    );
    let polls = |browser: &mut Browser| {
        let text = tokio::task::block_in_place(|| browser.get("/metrics")).body;
        (
            total(&text, "noonmark_device_answers_total{"),
            total(&text, "noonmark_device_failures_total{"),
        )
    };
    let (before, since) = (polls(&mut browser), Instant::now());
    let cpu = || cpu_s(program.pid());
    let cpu_before = cpu();
    let taken = visitor::all(&address, &pages, visitors, Duration::from_secs(seconds)).await;
    let (after, lasted) = (polls(&mut browser), since.elapsed().as_secs_f64());
    println!(
        "{visitors} visitors, {FOLLOWERS} who follow, {NEVER_READ} who never read; {lasted:.0} s"
    );
    print(&taken, &pages);
    let wanted = INVERTERS as f64 * lasted;
    println!(
        "polls: {:.0} of {wanted:.0} that were due, {} failed; the program took {:.2} cores",
        after.0 - before.0,
        after.1 - before.1,
        (cpu() - cpu_before) / lasted
    );
    let load = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    println!("load of the machine: {}", load.trim());
    let stopping = Instant::now();
    let ended = tokio::task::block_in_place(|| program.terminate());
    println!(
        "stopped in {:.2} s, code {:?}",
        stopping.elapsed().as_secs_f64(),
        ended.code
    );
}

fn prepare(folder: &Path, file: &Path) {
    let store = folder.join("noonmark.sqlite");
    if !store.exists() {
        let begun = Instant::now();
        let site = config::load(file).unwrap_or_else(|errors| panic!("{}", errors.render(false)));
        fill(&site.plant, &store, SLOTS_TODAY);
        println!("the store: {:.0} s", begun.elapsed().as_secs_f64());
    }
    let size = std::fs::metadata(&store).expect("it is there").len();
    println!("the store: {:.0} MB", size as f64 / 1e6);
}

/// When the last slot of the store is over, in the light: at night devices are asked less often.
fn start(folder: &Path, file: &Path) -> Program {
    let now = START + SLOT * (DAYS * SLOTS_PER_DAY + SLOTS_TODAY);
    let now = chrono::DateTime::from_timestamp_millis(now.unix_ms()).expect("a date");
    let text = |path: &Path| path.to_str().expect("a plain path").to_owned();
    Program::start([
        "run".to_owned(),
        text(file),
        "--out".to_owned(),
        text(folder),
        "--rehearse-from".to_owned(),
        now.to_rfc3339(),
        "--rehearse-rate".to_owned(),
        "1".to_owned(),
    ])
}

fn finding(browser: &mut Browser) -> String {
    until("a finding", || {
        let found = browser.get("/api/v1/findings").json();
        Some(found.as_array()?.first()?["id"].as_str()?.to_owned())
    })
}

fn pages(finding: &str) -> Vec<String> {
    let date = "2027-10-20";
    vec![
        "/".to_owned(),
        "/findings".to_owned(),
        format!("/findings/{finding}"),
        "/inverters/inv-6".to_owned(),
        format!("/inverters/inv-6/days/{date}"),
        format!("/inverters/inv-6/days/{date}/day.svg"),
        format!("/api/v1/inverters/inv-6/days/{date}"),
        "/ledger/month".to_owned(),
        "/ledger/year".to_owned(),
        "/performance/month".to_owned(),
        "/performance/day".to_owned(),
        "/devices".to_owned(),
        "/maintenance".to_owned(),
        "/api/v1/overview".to_owned(),
    ]
}

fn total(metrics: &str, name: &str) -> f64 {
    let lines = metrics.lines().filter(|line| line.starts_with(name));
    let values = lines.filter_map(|line| line.rsplit(' ').next()?.parse::<f64>().ok());
    values.sum()
}

fn print(taken: &[(usize, Duration)], pages: &[String]) {
    let mut by_page: BTreeMap<usize, Vec<Duration>> = BTreeMap::new();
    for (page, time) in taken {
        by_page.entry(*page).or_default().push(*time);
    }
    println!(
        "{:>6} {:>8} {:>8} {:>8}  milliseconds",
        "loads", "p50", "p99", "most"
    );
    let mut all: Vec<Duration> = taken.iter().map(|(_, time)| *time).collect();
    let line = |name: &str, times: &mut Vec<Duration>| {
        times.sort();
        let at = |share: f64| {
            let index = ((times.len() - 1) as f64 * share).ceil() as usize;
            times[index].as_secs_f64() * 1e3
        };
        let (half, most_of, most) = (at(0.5), at(0.99), at(1.0));
        println!(
            "{:>6} {half:>8.1} {most_of:>8.1} {most:>8.1}  {name}",
            times.len()
        );
    };
    for (page, times) in &mut by_page {
        line(&pages[*page], times);
    }
    line("all", &mut all);
    let quick = all.iter().filter(|time| **time < WANTED).count();
    println!(
        "within {WANTED:?}: {:.2} %",
        100.0 * quick as f64 / all.len() as f64
    );
}
