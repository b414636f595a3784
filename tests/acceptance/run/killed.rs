//! The program killed again and again while it stores, packs and lets go: a store of weeks that
//! nobody thinned is put before it, so that it is always in the middle of something.
//!
//! Kind of truth: property. What was there before counts once and only once, in whatever form it is
//! kept by then, and the store is sound after every kill. `NOONMARK_KILLS=300` makes it many.

use crate::output::open_store;
use crate::site::{Site, instant};
use analysis::reading::{ChannelId, Reading, Span, Time, Value};
use daemon::store::{EngineState, Layout, Step, Store, verify};
use std::path::Path;
use std::time::Duration;
use tests::{Program, SunspecServer};

const KILLS: u32 = 24;
/// At most so many more until it has been killed at work, with so many days packed.
const MORE_KILLS: u32 = 200;
const LEAST_PACKED_DAYS: usize = 4;
/// Site seconds per second: a day of the site takes a minute, so that its own readings come fast.
const RATE: &str = "1440";
const EVERY_S: u32 = 60;
const BEGINS: &str = "2026-03-20T10:00:00Z";
/// Days before that are in the store, as rows: half of them are too old to stay single.
const DAYS: i64 = 60;
const READINGS_A_DAY: i64 = 480;
/// So many of the device's channels.
const CHANNELS: usize = 12;

#[test]
fn whatever_it_is_killed_in_nothing_is_lost_and_nothing_counts_twice() {
    let kills = std::env::var("NOONMARK_KILLS").ok();
    let kills = kills.map_or(KILLS, |kills| kills.parse().expect("a number of kills"));
    let clock = ["--clock-from", BEGINS, "--clock-rate", RATE];
    let mut server = SunspecServer::start(0, &clock);
    let site = Site::new(&[("hut", server.port())], None, EVERY_S);
    std::fs::create_dir_all(site.out()).expect("a folder");
    let channels = fill(&site);
    let (mut live, mut packed_days) = (0, 0);
    // On a slow machine it gets to work later: killed on until it has been.
    for kill in 0.. {
        if kill >= kills && live > 0 && packed_days >= LEAST_PACKED_DAYS {
            break;
        }
        assert!(
            kill < kills + MORE_KILLS,
            "killed {kill} times, with {live} readings and {packed_days} days packed"
        );
        let program = site.start(&mut server, RATE);
        // Spread over the start, the first commit and many steps of thinning.
        std::thread::sleep(Duration::from_millis(150 + u64::from(kill * 379 % 1700)));
        program.kill();
        let verified = verify(&site.store(), &mut |_| ()).expect("it can be read");
        assert_eq!(verified.problems, [""; 0], "after kill {kill}");
        let store = open_store(&site);
        assert_eq!(
            before(&store, &channels),
            DAYS * READINGS_A_DAY * CHANNELS as i64
        );
        let now = live_readings(&store, &channels);
        assert!(now >= live, "{now} after {live} at kill {kill}");
        live = now;
        let audit = store.audit().expect("reads");
        packed_days = audit.iter().filter(|a| a.event == "packed").count();
    }
}

#[test]
fn a_copy_is_made_beside_the_running_program_which_does_not_mind() {
    let clock = ["--clock-from", BEGINS, "--clock-rate", RATE];
    let mut server = SunspecServer::start(0, &clock);
    let site = Site::new(&[("hut", server.port())], None, EVERY_S);
    std::fs::create_dir_all(site.out()).expect("a folder");
    let channels = fill(&site);
    let program = site.start(&mut server, RATE);
    let (out, copy) = (site.out(), site.out().join("copy.sqlite"));
    let arguments = ["backup", text(&out), "--to", text(&copy)];
    for _ in 0..3 {
        let made = Program::start(arguments).end();
        assert_eq!(
            (made.code, made.err.as_str()),
            (Some(0), ""),
            "{}",
            made.out
        );
        let layout = Layout::of(&site.checked().plant);
        let copied = Store::open_to_read(&copy, &layout).expect("it is a store");
        let all = DAYS * READINGS_A_DAY * CHANNELS as i64;
        assert_eq!(before(&copied, &channels), all);
    }
    let ended = program.terminate();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    assert!(!ended.err.contains("ERROR"), "{}", ended.err);
    let audit = open_store(&site).audit().expect("reads");
    let copies = audit.iter().filter(|a| a.event == "backed_up");
    assert_eq!(copies.count(), 3);
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a plain path")
}

/// Weeks of readings as an earlier version left them.
fn fill(site: &Site) -> Vec<ChannelId> {
    let plant = site.checked().plant;
    let mut store = Store::open(&site.store(), &Layout::of(&plant))
        .expect("a new store")
        .store;
    let channels: Vec<ChannelId> = plant
        .channels
        .iter()
        .map(|(id, _)| id)
        .take(CHANNELS)
        .collect();
    assert_eq!(channels.len(), CHANNELS);
    for day in 0..DAYS {
        let reading = |n: i64, channel: ChannelId| Reading {
            channel,
            at: first() + Span::from_h(24 * day) + Span::from_s(n * 86_400 / READINGS_A_DAY),
            value: match n % 11 {
                0 => Value::Missing,
                k => Value::Good((k * 37 + n + i64::from(channel.0)) as f64 / 10.0),
            },
        };
        let readings: Vec<Reading> = (0..READINGS_A_DAY)
            .flat_map(|n| channels.iter().map(move |channel| reading(n, *channel)))
            .collect();
        // A version that no engine has: it starts afresh, as after an update.
        let engine_state = EngineState {
            version: 0,
            bytes: Vec::new(),
        };
        let step = Step {
            readings: &readings,
            ..Step::nothing(&engine_state)
        };
        store.commit(&step).expect("room on the disk");
    }
    channels
}

fn first() -> Time {
    let midnight = instant("2026-03-20T00:00:00Z");
    midnight - Span::from_h(24 * DAYS)
}

/// Readings from before the program was ever started, counted by their hours.
fn before(store: &Store, channels: &[ChannelId]) -> i64 {
    counted(store, channels, first(), instant("2026-03-20T00:00:00Z"))
}

fn live_readings(store: &Store, channels: &[ChannelId]) -> i64 {
    let end = instant("2026-12-31T00:00:00Z");
    counted(store, channels, instant("2026-03-20T00:00:00Z"), end)
}

fn counted(store: &Store, channels: &[ChannelId], from: Time, to: Time) -> i64 {
    let of = |channel: &ChannelId| {
        let hours = store.hours(*channel, from, to).expect("reads");
        let all = hours.iter().map(|hour| i64::from(hour.readings()));
        all.sum::<i64>()
    };
    channels.iter().map(of).sum()
}
