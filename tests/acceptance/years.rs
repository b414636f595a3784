//! The commands on a store of weeks: `export` read back with other people's libraries
//! (`read_export.py`), `backup`, `verify`, their exit codes and messages.
//!
//! Kind of truth: reference for the formats, property for the rest.

#[path = "years/copies.rs"]
mod copies;
#[path = "years/exported.rs"]
mod exported;

use analysis::reading::{Channel, ChannelId, Reading, Span, Time, Value};
use config::checked::SiteFile;
use daemon::store::{EngineState, Keep, Layout, Step, Store};
use std::path::{Path, PathBuf};
use tempfile::TempDir;
use tests::{Ended, Program};

/// 2026-04-30T00:00:00Z.
const TODAY: Time = Time::from_unix_ms(1_777_507_200_000);
const KEEP: Keep = Keep {
    readings: Span::from_h(24 * 5),
    minutes: Span::from_h(24 * 20),
};
/// Days before today on which something was read, and as what it is still there.
const DAYS_BACK: [(i64, i32); 4] = [(1, 0), (4, 0), (10, 60), (30, 3600)];
/// Half a minute apart, from midnight; the last one belongs to another hour.
const READINGS: i64 = 121;

fn site_file() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/sites/quince-row-dairy.toml")
}

fn site() -> SiteFile {
    config::load(&site_file()).unwrap_or_else(|errors| panic!("{}", errors.render(false)))
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a plain path")
}

fn noonmark(arguments: &[&str]) -> Ended {
    Program::start(arguments).end()
}

/// The first inverter's power, energy counter and state: measured, counter and code.
fn channels() -> [(String, ChannelId); 3] {
    let plant = site().plant;
    let inverter = plant.inverters[0].id.to_string();
    ["ac_power_w", "energy_total_wh", "state"].map(|quantity| {
        let address = format!("{inverter}/{quantity}");
        let channel: Channel = address.parse().expect("an address");
        let id = plant.channels.id(&channel).expect("of this plant");
        (address, id)
    })
}

/// In tenths, hundreds and states; one in twenty is missing, impossible or faulty.
fn value(channel: usize, n: i64) -> Value {
    match (channel, n % 20) {
        (0, 3) => Value::Missing,
        (0, 7) => Value::OutOfRange(2e9),
        (0, 11) => Value::Faulty(Some(-0.5)),
        (0, 13) => Value::Faulty(None),
        (0, _) => Value::Good((n * 37 % 1000) as f64 / 10.0),
        (1, _) => Value::Good((70_000 + 100 * n) as f64),
        _ => Value::Good((2 + n % 3) as f64),
    }
}

fn midnight(days_back: i64) -> Time {
    TODAY - Span::from_h(24 * days_back)
}

/// A daemon's folder with a store of weeks, thinned to now.
fn daemon_folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let plant = site().plant;
    let opened = Store::open(&folder.path().join("noonmark.sqlite"), &Layout::of(&plant));
    let mut store = opened.expect("a new store").store;
    let engine_state = EngineState {
        version: 0,
        bytes: Vec::new(),
    };
    for (days_back, _) in DAYS_BACK {
        let of_channel = |(i, (_, id)): (usize, (String, ChannelId))| {
            (0..READINGS).map(move |n| Reading {
                channel: id,
                at: midnight(days_back) + Span::from_s(30 * n),
                value: value(i, n),
            })
        };
        let readings: Vec<Reading> = channels()
            .into_iter()
            .enumerate()
            .flat_map(of_channel)
            .collect();
        let step = Step {
            readings: &readings,
            ..Step::nothing(&engine_state)
        };
        store.commit(&step).expect("room on the disk");
    }
    while !store
        .thin(TODAY, KEEP, 1000)
        .expect("room on the disk")
        .is_nothing()
    {}
    folder
}
