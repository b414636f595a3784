//! Times the report of a year of twenty inverters with two inputs each, and says how much memory the
//! process that writes it takes at most. The store is made first, by another process.
//!
//!     cargo run --release -p noonmark-tests --example report_year [FOLDER]
//!
//! In FOLDER (a temporary one unless told) stay the store and the report; a store that is there is
//! used again.

#[path = "year_store.rs"]
mod year_store;

use analysis::reading::Span;
use chrono::NaiveDate;
use daemon::report::{About, Days, write_period};
use daemon::store::{Layout, Store};
use rustix::process::getpid;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;
use tests::cpu_s;
use tests::plant::{NORTH, Shape, Strings, plant};
use year_store::{INVERTERS, fill};

fn main() {
    let mut arguments = std::env::args().skip(1);
    let first = arguments.next();
    if first.as_deref() == Some("--only-report") {
        report(&PathBuf::from(arguments.next().expect("a folder")));
        return;
    }
    let temporary = tempfile::tempdir().expect("a folder");
    let folder = first.map_or(temporary.path().to_owned(), PathBuf::from);
    std::fs::create_dir_all(&folder).expect("a folder");
    if !store_file(&folder).exists() {
        let begun = Instant::now();
        fill(&plant(&shape()), &store_file(&folder), 0);
        println!("the store: {:.0} s", begun.elapsed().as_secs_f64());
    }
    let size = std::fs::metadata(store_file(&folder)).expect("it is there");
    println!("the store: {:.0} MB", size.len() as f64 / 1e6);
    let program = std::env::current_exe().expect("a program knows its own file");
    let mut command = Command::new(program);
    let status = command.arg("--only-report").arg(&folder).status();
    assert!(status.expect("it starts").success());
}

fn store_file(folder: &Path) -> PathBuf {
    folder.join("noonmark.sqlite")
}

fn shape() -> Shape {
    let strings = Strings {
        parallel: 2,
        modules: 16,
        plane: NORTH,
    };
    Shape {
        inverters: vec![(25_000.0, vec![strings; 2]); INVERTERS],
        sensor: Some(NORTH),
        every: Span::from_min(5),
    }
}

fn report(folder: &Path) {
    let plant = plant(&shape());
    let begun = Instant::now();
    let store = Store::open_to_read(&store_file(folder), &Layout::of(&plant)).expect("a store");
    let date = |y, m, d| NaiveDate::from_ymd_opt(y, m, d).expect("a date");
    let days = Days {
        from: date(2026, 11, 10),
        to: date(2027, 11, 9),
    };
    let about = About {
        plant: &plant,
        timezone: chrono_tz::Australia::Brisbane,
    };
    let out = folder.join("report");
    let files = write_period(&out, about, &store, days, &mut |_, _| {}).expect("a report");
    let (seconds, of_a_core) = (begun.elapsed().as_secs_f64(), cpu_s(getpid()));
    println!("the report: {seconds:.2} s, {of_a_core:.2} s of a core");
    for file in files {
        let size = std::fs::metadata(&file).expect("it is there").len();
        println!("  {} {:.1} MB", file.display(), size as f64 / 1e6);
    }
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find(|line| line.starts_with("VmHWM"));
    println!("{}", peak.unwrap_or("memory is not told here"));
}
