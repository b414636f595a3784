//! What is left in the store when a step is stopped anywhere: exactly the earlier steps.
//! Kind of truth: property. Faults: an interrupt at every instruction, a power cut at every length
//! of the log, a disk that is full at every page.

use super::{EngineState, Layout, Step, Store, StoreError};
use analysis::detect::{Gate, InputSlot, InverterSlot, Kind, PlaneSlot, Slot};
use analysis::diagnose::{Cause, Evidence, Finding, FindingId, Subject};
use analysis::expected::{InputExpected, Known, Learned, LearnedOf, WeatherRung};
use analysis::reading::{
    Channel, ChannelId, ChannelTable, Current, DeviceId, Energy, Irradiance, Power, Reading,
    SolarDay, Span, Temperature, Time, Value, Voltage,
};
use std::fs;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

pub(super) const READINGS_PER_STEP: i64 = 20;
const STEP: Span = Span::from_min(5);

pub(super) fn layout() -> Layout {
    let address = |text: &str| text.parse::<Channel>().expect("valid address");
    Layout {
        planes: vec!["roof".to_owned()],
        inverters: vec![(DeviceId::new("inv-1"), vec![1, 2])],
        channels: ChannelTable::new([
            address("inv-1/input-1/dc_voltage_v"),
            address("inv-1/input-2/dc_voltage_v"),
        ]),
    }
}

/// Everything that step `n` hands over, different for every `n`.
struct Made {
    readings: Vec<Reading>,
    slots: Vec<Slot>,
    findings: Vec<Finding>,
    learned: Vec<Learned>,
    engine_state: EngineState,
}

impl Made {
    fn by_step(n: i64, readings: i64) -> Self {
        let start = Time::from_unix_ms(0) + STEP * n;
        let reading = |k| Reading {
            channel: ChannelId((k % 2) as u16),
            at: start + Span::from_s(k),
            value: Value::Good((1000 * n + k) as f64),
        };
        Self {
            readings: (0..readings).map(reading).collect(),
            slots: vec![slot(n, start)],
            findings: vec![finding(n, start)],
            learned: vec![learned(n)],
            engine_state: EngineState {
                version: 1,
                bytes: vec![n as u8; 500],
            },
        }
    }

    fn step(&self) -> Step<'_> {
        Step {
            at: Time::from_unix_ms(0),
            readings: &self.readings,
            slots: &self.slots,
            findings: &self.findings,
            unwatched: &[],
            forgotten: &[],
            learned: &self.learned,
            mornings: &[],
            engine_state: &self.engine_state,
        }
    }
}

fn learned(n: i64) -> Learned {
    let day = SolarDay::from_number(n);
    let known = Known {
        value: 0.97,
        sigma: 0.01,
        from: day,
        to: day,
        days: 1,
    };
    Learned {
        of: LearnedOf::Current(0, 1),
        now: known,
        baseline: known,
    }
}

fn slot(n: i64, start: Time) -> Slot {
    let input = InputSlot {
        voltage: Some(Voltage::from_v(600.0 + n as f64)),
        current: Some(Current::from_a(8.0)),
        expected: Some(InputExpected {
            voltage: Voltage::from_v(610.0),
            current: Current::from_a(8.5),
            sigma_voltage: Voltage::from_v(6.0),
            sigma_current: Current::from_a(0.2),
            sigma_power: Power::from_w(150.0),
        }),
        gate: Gate::Valid,
        limit: None,
    };
    Slot {
        start,
        span: STEP,
        air: Some(Temperature::from_degc(24.0)),
        wind: None,
        planes: vec![PlaneSlot {
            poa: Some((Irradiance::from_w_m2(800.0), WeatherRung::PlaneSensor)),
            cell: Some(Temperature::from_degc(45.0)),
        }],
        inverters: vec![InverterSlot {
            ac_power: Some(Power::from_w(9500.0)),
            expected_ac_power: None,
            shade_ac_power: None,
            limit: None,
            producing: Some(true),
            inputs: vec![input; 2],
        }],
    }
}

fn finding(n: i64, began: Time) -> Finding {
    let subject = Subject {
        device: DeviceId::new("inv-1"),
        input: Some(1),
        string: None,
    };
    Finding {
        id: FindingId::new(&subject, Kind::StringOpen, began),
        subject,
        kind: Kind::StringOpen,
        severity: Kind::StringOpen.severity(),
        began,
        found: began + STEP,
        ended: None,
        confidence: 0.97,
        causes: vec![Cause {
            cause: "open connector".to_owned(),
            probability: 0.8,
        }],
        evidence: Evidence::from([("residual_dc_current_a".to_owned(), -(n as f64))]),
        lost: Energy::from_wh(120.0 * n as f64),
        summary: "one of two strings carries nothing".to_owned(),
        advice: vec!["measure the string currents".to_owned()],
        caution: vec!["live whenever there is light".to_owned()],
    }
}

pub(super) fn open(path: &Path) -> Store {
    let opened = Store::open(path, &layout()).expect("the store opens");
    assert_eq!(opened.set_aside, None, "a stopped step damages nothing");
    opened.store
}

/// How many steps the store holds; fails unless it holds each of them whole and nothing else.
pub(super) fn whole_steps(store: &Store) -> i64 {
    let (first, last) = (Time::from_unix_ms(i64::MIN), Time::from_unix_ms(i64::MAX));
    let slots = store.slots(first, last).expect("slots read");
    let steps = slots.len() as i64;
    let made: Vec<Made> = (0..steps)
        .map(|n| Made::by_step(n, READINGS_PER_STEP))
        .collect();
    for channel in [ChannelId(0), ChannelId(1)] {
        let of_channel = made.iter().flat_map(|m| &m.readings);
        let wanted: Vec<Reading> = of_channel
            .filter(|r| r.channel == channel)
            .copied()
            .collect();
        let found = store.readings(channel, first, last).expect("readings read");
        assert_eq!(found, wanted);
    }
    let wanted: Vec<Slot> = made.iter().flat_map(|m| m.slots.clone()).collect();
    assert_eq!(slots, wanted);
    let wanted: Vec<Finding> = made.iter().flat_map(|m| m.findings.clone()).collect();
    assert_eq!(store.findings().expect("findings read"), wanted);
    let wanted = made.last().map(|m| m.engine_state.clone());
    assert_eq!(store.load_engine_state().expect("state reads"), wanted);
    steps
}

pub(super) fn commit_steps(store: &mut Store, steps: std::ops::Range<i64>) {
    for n in steps {
        let made = Made::by_step(n, READINGS_PER_STEP);
        store.commit(&made.step()).expect("nothing is in the way");
    }
}

#[test]
fn a_step_that_is_stopped_at_any_instruction_leaves_nothing() {
    let dir = tempfile::tempdir().expect("a directory");
    let path = dir.path().join("site.sqlite");
    let mut store = open(&path);
    commit_steps(&mut store, 0..2);
    let made = Made::by_step(2, READINGS_PER_STEP);
    let mut stopped = 0;
    for nth in 1.. {
        let seen = Arc::new(AtomicU64::new(0));
        // Whatever stopped the step also stops its undoing.
        let stop = move || seen.fetch_add(1, Ordering::Relaxed) + 1 >= nth;
        store
            .db
            .progress_handler(1, Some(stop))
            .expect("a handler is taken");
        let outcome = store.commit(&made.step());
        store
            .db
            .progress_handler(1, None::<fn() -> bool>)
            .expect("a handler is given back");
        match outcome {
            Ok(()) => break,
            Err(StoreError::Sql { .. }) => stopped += 1,
            Err(other) => panic!("an interrupt came back as {other:?}"),
        }
        // Stopped behind the last instruction of COMMIT, SQLite has done it and still says no.
        // Only a handler like this one can cause that; what counts is that the step is whole.
        if whole_steps(&store) == 3 {
            break;
        }
        assert_eq!(whole_steps(&store), 2, "stopped at instruction {nth}");
    }
    assert!(stopped > READINGS_PER_STEP, "every reading was a chance");
    assert_eq!(whole_steps(&store), 3);
    drop(store);
    assert_eq!(whole_steps(&open(&path)), 3);
}

#[test]
fn a_power_cut_at_any_length_of_the_log_leaves_whole_steps() {
    // Neither a divisor of a page nor of a log frame, so that cuts fall everywhere in them.
    const CUT_EVERY_BYTES: usize = 1499;
    const STEPS: i64 = 4;
    let dir = tempfile::tempdir().expect("a directory");
    let path = dir.path().join("site.sqlite");
    let mut store = open(&path);
    commit_steps(&mut store, 0..STEPS);
    let base = fs::read(&path).expect("the file is there");
    let log = fs::read(dir.path().join("site.sqlite-wal")).expect("the log is there");
    drop(store);

    let mut held = 0;
    for cut in (0..log.len()).step_by(CUT_EVERY_BYTES).chain([log.len()]) {
        let after = tempfile::tempdir().expect("a directory");
        let path = after.path().join("site.sqlite");
        fs::write(&path, &base).expect("room for a copy");
        fs::write(after.path().join("site.sqlite-wal"), &log[..cut]).expect("room for a copy");
        let steps = whole_steps(&open(&path));
        assert!(steps >= held, "a longer log holds no less: cut at {cut}");
        held = steps;
    }
    assert_eq!(held, STEPS);
}

#[test]
fn a_step_that_meets_a_full_disk_at_any_page_leaves_nothing() {
    // Enough that the step needs many pages of 4096 bytes.
    const MANY_READINGS: i64 = 2000;
    let dir = tempfile::tempdir().expect("a directory");
    let mut store = open(&dir.path().join("site.sqlite"));
    commit_steps(&mut store, 0..2);
    let made = Made::by_step(2, MANY_READINGS);
    let pages: i64 = store
        .db
        .query_row("PRAGMA page_count", [], |row| row.get(0))
        .expect("a count");
    let mut refused = 0;
    for room in 0.. {
        let limit = format!("PRAGMA max_page_count = {}", pages + room);
        store
            .db
            .query_row(&limit, [], |row| row.get::<_, i64>(0))
            .expect("a limit is taken");
        match store.commit(&made.step()) {
            Ok(()) => break,
            Err(StoreError::DiskFull { .. }) => refused += 1,
            Err(other) => panic!("a full disk came back as {other:?}"),
        }
        assert_eq!(whole_steps(&store), 2, "full after {room} more pages");
    }
    assert!(refused > 5, "the step needed more than a few pages");
    let state = store.load_engine_state().expect("state reads");
    assert_eq!(state, Some(made.engine_state));
}

#[test]
fn a_step_with_one_bad_part_is_refused_whole() {
    let mut store = Store::in_memory(&layout()).expect("memory needs no file");
    commit_steps(&mut store, 0..2);

    let mut made = Made::by_step(2, READINGS_PER_STEP);
    made.findings[0]
        .evidence
        .insert("scale_a".to_owned(), f64::NAN);
    let refused = store.commit(&made.step()).expect_err("NaN is no evidence");
    assert!(matches!(refused, StoreError::NotFinite { .. }));

    let mut made = Made::by_step(2, READINGS_PER_STEP);
    made.slots[0].inverters[0].inputs.pop();
    let refused = store.commit(&made.step()).expect_err("an input is missing");
    let shape = StoreError::SlotShape {
        what: "inputs",
        found: 1,
        wanted: 2,
    };
    assert_eq!(refused.to_string(), shape.to_string());

    let mut made = Made::by_step(2, READINGS_PER_STEP);
    made.readings[19].channel = ChannelId(2);
    let refused = store
        .commit(&made.step())
        .expect_err("there is no channel 2");
    assert!(matches!(
        refused,
        StoreError::UnknownChannel { known: 2, .. }
    ));

    assert_eq!(whole_steps(&store), 2);
}

#[test]
fn a_store_opened_for_reading_sees_whole_steps_and_refuses_to_write() {
    let dir = tempfile::tempdir().expect("a directory");
    let path = dir.path().join("site.sqlite");
    let mut writer = open(&path);
    commit_steps(&mut writer, 0..1);
    let mut reader = Store::open_to_read(&path, &layout()).expect("it is there");
    assert_eq!(whole_steps(&reader), 1);
    commit_steps(&mut writer, 1..2);
    assert_eq!(whole_steps(&reader), 2);
    let made = Made::by_step(2, READINGS_PER_STEP);
    let refused = reader.commit(&made.step()).expect_err("it only reads");
    assert!(matches!(refused, StoreError::ReadOnly { .. }));
    assert_eq!(whole_steps(&writer), 2);
}
