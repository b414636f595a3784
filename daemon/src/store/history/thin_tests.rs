//! What thinning leaves: every reading counts once, wherever it is kept.
//! Kind of truth: property.

use super::day::DAY_MS;
use super::{Cell, Held, Keep, Thinned};
use crate::store::{EngineState, Event, Layout, Step, Store};
use analysis::reading::{Channel, ChannelId, ChannelTable, Reading, Span, Time, Value};
use std::path::Path;

pub(super) const KEEP: Keep = Keep {
    readings: Span::from_h(24 * 5),
    minutes: Span::from_h(24 * 20),
};
pub(super) const BEGINNING: Time = Time::from_unix_ms(0);
pub(super) const END: Time = Time::from_unix_ms(i64::MAX);
const BOTH: [ChannelId; 2] = [ChannelId(0), ChannelId(1)];

pub(super) fn layout() -> Layout {
    let address = |text: &str| text.parse::<Channel>().expect("valid address");
    Layout {
        planes: Vec::new(),
        inverters: Vec::new(),
        channels: ChannelTable::new([
            address("inv-1/ac_power_w"),
            address("inv-1/energy_total_wh"),
        ]),
    }
}

pub(super) fn at(day: i64, s: i64) -> Time {
    Time::from_unix_ms(day * DAY_MS + 1000 * s)
}

pub(super) fn reading(channel: u16, at: Time, value: Value) -> Reading {
    Reading {
        channel: ChannelId(channel),
        at,
        value,
    }
}

/// Some readings of both channels on a day, with bad ones among them.
pub(super) fn readings_of(day: i64) -> Vec<Reading> {
    let both = |k: i64| {
        let value = match k % 7 {
            5 => Value::Missing,
            6 => Value::OutOfRange(1e9),
            _ => Value::Good((31 * k % 977) as f64 / 10.0),
        };
        let counter = Value::Good((1000 * day + k) as f64);
        [
            reading(0, at(day, 25 * k), value),
            reading(1, at(day, 25 * k), counter),
        ]
    };
    (0..200).flat_map(both).collect()
}

pub(super) fn commit(store: &mut Store, readings: &[Reading]) {
    let engine_state = EngineState {
        version: 1,
        bytes: vec![1],
    };
    let step = Step {
        readings,
        ..Step::nothing(&engine_state)
    };
    store.commit(&step).expect("nothing is in the way");
}

pub(super) fn filled(days: std::ops::Range<i64>) -> Store {
    let mut store = Store::in_memory(&layout()).expect("memory needs no file");
    days.for_each(|day| commit(&mut store, &readings_of(day)));
    store
}

pub(super) fn open(path: &Path) -> Store {
    let opened = Store::open(path, &layout()).expect("the store opens");
    assert_eq!(opened.set_aside, None);
    opened.store
}

pub(super) fn thin_all(store: &mut Store, now: Time) -> Vec<Thinned> {
    let mut steps = Vec::new();
    loop {
        let done = store.thin(now, KEEP, 1).expect("nothing is in the way");
        if done.is_nothing() {
            return steps;
        }
        steps.push(done);
    }
}

/// What a reader sees: single readings, minutes, hours of both channels.
pub(super) type Seen = Vec<(Vec<Reading>, Vec<Cell>, Vec<Cell>)>;

pub(super) fn seen(store: &Store) -> Seen {
    let of = |channel| {
        (
            store.readings(channel, BEGINNING, END).expect("reads"),
            store.minutes(channel, BEGINNING, END).expect("reads"),
            store.hours(channel, BEGINNING, END).expect("reads"),
        )
    };
    BOTH.map(of).to_vec()
}

pub(super) fn rows(store: &Store) -> i64 {
    let sql = "SELECT count(*) FROM reading";
    store
        .db
        .query_row(sql, [], |row| row.get(0))
        .expect("reads")
}

pub(super) fn counted(store: &Store, event: Event) -> i64 {
    let audit = store.audit().expect("reads");
    let of = audit.iter().filter(|a| a.event == event.name());
    of.filter_map(|a| a.count).sum()
}

#[test]
fn packing_changes_nothing_that_a_reader_sees() {
    let mut store = filled(10..14);
    let before = seen(&store);
    assert_eq!(before[0].0.len(), 4 * 200);
    let steps = thin_all(&mut store, at(14, 60));
    // The day before is still rows; the three days before that are not.
    assert_eq!(
        steps.len(),
        3 * 2,
        "one channel and day at a time: {steps:?}"
    );
    assert_eq!(rows(&store), 2 * 200);
    assert_eq!(seen(&store), before);
    assert_eq!(counted(&store, Event::Packed), 3 * 2 * 200);
}

#[test]
fn the_first_and_the_last_instant_of_a_day_belong_to_it() {
    let mut store = Store::in_memory(&layout()).expect("memory needs no file");
    let last = at(11, 0) - Span::from_ms(1);
    let ends = [
        reading(0, at(10, 0), Value::Good(1.0)),
        reading(0, last, Value::Good(2.0)),
        reading(0, at(11, 0), Value::Good(4.0)),
    ];
    commit(&mut store, &ends);
    let sums = |store: &Store| {
        let hours = store
            .hours(ChannelId(0), at(10, 0), at(11, 0))
            .expect("reads");
        let sum = |cell: &Cell| cell.mean().map(|mean| mean * f64::from(cell.good));
        let readings = store
            .readings(ChannelId(0), at(10, 0), at(11, 0))
            .expect("reads");
        (hours.iter().filter_map(sum).sum::<f64>(), readings.len())
    };
    assert_eq!(sums(&store), (3.0, 2));
    thin_all(&mut store, at(12, 60));
    assert_eq!((sums(&store), rows(&store)), ((3.0, 2), 1));
    thin_all(&mut store, at(30, 0));
    assert_eq!(sums(&store), (3.0, 0));
}

#[test]
fn single_readings_go_after_their_time_then_minutes_and_hours_stay() {
    let mut store = filled(10..12);
    let before = seen(&store);
    thin_all(&mut store, at(14, 60));
    assert_eq!(seen(&store), before);
    thin_all(&mut store, at(16, 60));
    let later = seen(&store);
    for (was, is) in before.iter().zip(&later) {
        let kept: Vec<Reading> = was
            .0
            .iter()
            .filter(|r| r.at >= at(11, 0))
            .copied()
            .collect();
        assert_eq!(is.0, kept, "five days back begins on day 11");
        assert_eq!((&is.1, &is.2), (&was.1, &was.2));
    }
    assert_eq!(counted(&store, Event::ReadingsDropped), 2);
    thin_all(&mut store, at(100, 0));
    for (was, is) in before.iter().zip(&seen(&store)) {
        assert_eq!((is.0.len(), is.1.len()), (0, 0));
        assert_eq!(is.2, was.2);
    }
    assert_eq!(counted(&store, Event::MinutesDropped), 4);
}

#[test]
fn a_year_that_nobody_thinned_is_thinned_without_single_readings() {
    let mut store = filled(10..13);
    let before = seen(&store);
    thin_all(&mut store, at(30, 0));
    for (was, is) in before.iter().zip(&seen(&store)) {
        assert_eq!(is.0, []);
        assert_eq!((&is.1, &is.2), (&was.1, &was.2));
    }
    assert_eq!(
        (rows(&store), counted(&store, Event::ReadingsDropped)),
        (0, 0)
    );
}

#[test]
fn a_late_reading_counts_while_the_single_ones_are_there() {
    let mut store = filled(10..11);
    thin_all(&mut store, at(12, 60));
    // New, repeated, and better than the one that was missing at that time.
    let late = [
        reading(0, at(10, 7), Value::Good(3.5)),
        reading(0, at(10, 25), Value::Good(3.1)),
        reading(0, at(10, 125), Value::Good(8.5)),
    ];
    commit(&mut store, &late);
    let mut wanted = readings_of(10);
    wanted.retain(|r| r.channel == ChannelId(0) && r.at != at(10, 125));
    wanted.extend([late[0], late[2]]);
    wanted.sort_by_key(|r| r.at);
    let shown = |store: &Store| store.readings(ChannelId(0), BEGINNING, END).expect("reads");
    assert_eq!(shown(&store), wanted);
    thin_all(&mut store, at(12, 120));
    assert_eq!((rows(&store), shown(&store)), (0, wanted.clone()));
    let mut fresh = Store::in_memory(&layout()).expect("memory needs no file");
    commit(&mut fresh, &wanted);
    assert_eq!(seen(&store)[0], seen(&fresh)[0]);
}

#[test]
fn after_that_it_counts_where_there_was_none_and_is_noted_elsewhere() {
    let mut store = filled(10..11);
    thin_all(&mut store, at(20, 0));
    let before = seen(&store);
    // The last reading of the day is at 4975 s; the second one's minute is filled.
    let late = [
        reading(0, at(10, 6001), Value::Good(3.5)),
        reading(0, at(10, 30), Value::Good(900.0)),
    ];
    commit(&mut store, &late);
    thin_all(&mut store, at(20, 60));
    let after = seen(&store);
    assert_eq!(after[0].1.len(), before[0].1.len() + 1);
    assert_eq!(after[0].1[..before[0].1.len()], before[0].1);
    let last = after[0].1.last().expect("it was added");
    let held = Some(Held::Measured {
        sum: 3.5,
        min: 3.5,
        max: 3.5,
    });
    assert_eq!((last.start, last.good, last.held), (at(10, 6000), 1, held));
    let good = |cells: &[Cell]| cells.iter().map(|c| c.good).sum::<u32>();
    assert_eq!(
        good(&after[0].2),
        good(&after[0].1),
        "hours follow their minutes"
    );
    assert_eq!(counted(&store, Event::LateNotCounted), 1);
    // Again the same: now both are late.
    commit(&mut store, &late);
    thin_all(&mut store, at(20, 120));
    assert_eq!(seen(&store), after);
    assert_eq!(counted(&store, Event::LateNotCounted), 3);
}

#[test]
fn when_only_hours_are_left_a_late_reading_counts_in_an_hour_without_any() {
    let mut store = filled(10..11);
    thin_all(&mut store, at(100, 0));
    let before = seen(&store);
    let late = [
        reading(0, at(10, 30), Value::Good(900.0)),
        reading(0, at(10, 80_000), Value::Good(2.5)),
    ];
    commit(&mut store, &late);
    thin_all(&mut store, at(100, 60));
    let after = seen(&store);
    assert_eq!(after[0].2.len(), before[0].2.len() + 1);
    assert_eq!(after[0].2[..before[0].2.len()], before[0].2);
    assert_eq!(counted(&store, Event::LateNotCounted), 1);
}

#[test]
fn room_that_thinning_leaves_goes_back_to_the_disk_in_a_new_file() {
    let dir = tempfile::tempdir().expect("a directory");
    let path = dir.path().join("site.sqlite");
    let mut store = open(&path);
    let many = |day: i64| (0..80_000).map(move |k| reading(0, at(day, k), Value::Good(k as f64)));
    for day in 10..34 {
        commit(&mut store, &many(day).collect::<Vec<_>>());
    }
    let pages = |store: &Store| -> i64 {
        store
            .db
            .query_row("PRAGMA page_count", [], |row| row.get(0))
            .expect("a number")
    };
    let before = pages(&store);
    let steps = thin_all(&mut store, at(70, 0));
    let freed: usize = steps.iter().map(|s| s.pages_freed).sum();
    assert!(freed > 0, "{before} pages");
    assert!(pages(&store) < before);
}
