//! The store through its front door: what goes in comes out, also after a restart, a changed site
//! file, damage, and with a file of a newer version.
//! Kind of truth: property.

use analysis::array::Limit;
use analysis::detect::{Gate, InputSlot, InverterSlot, Kind, PlaneSlot, Slot};
use analysis::diagnose::{Cause, Evidence, Finding, FindingId, Subject};
use analysis::expected::{InputExpected, Known, Learned, LearnedOf, WeatherRung};
use analysis::reading::{
    Channel, ChannelId, ChannelTable, Current, DeviceId, Energy, Irradiance, Power, Reading,
    SolarDay, Span, Temperature, Time, Value, Voltage,
};
use daemon::store::{EngineState, Layout, Step, Store, StoreError};
use proptest::collection::{btree_map, vec};
use proptest::prelude::*;
use std::fs;
use std::path::{Path, PathBuf};

const BEGINNING: Time = Time::from_unix_ms(i64::MIN);
const END: Time = Time::from_unix_ms(i64::MAX);
const SLOT: Span = Span::from_min(5);

fn channels(addresses: &[&str]) -> ChannelTable {
    let parsed = addresses.iter().map(|a| a.parse::<Channel>());
    ChannelTable::new(parsed.map(|channel| channel.expect("valid address")))
}

/// Two planes, an inverter with two inputs and one with one.
fn layout() -> Layout {
    Layout {
        planes: vec!["east".to_owned(), "west".to_owned()],
        inverters: vec![
            (DeviceId::new("inv-1"), vec![1, 2]),
            (DeviceId::new("inv-2"), vec![1]),
        ],
        channels: channels(&["inv-1/ac_power_w", "inv-2/ac_power_w", "roof/poa_w_m2"]),
    }
}

fn state(bytes: &[u8]) -> EngineState {
    EngineState {
        version: 1,
        bytes: bytes.to_vec(),
    }
}

fn commit(store: &mut Store, readings: &[Reading], slots: &[Slot], findings: &[Finding]) {
    let step = Step {
        readings,
        slots,
        findings,
        learned: &[],
        engine_state: &state(b"state"),
    };
    store.commit(&step).expect("the step fits the plant");
}

fn reading(channel: u16, at_ms: i64, value: Value) -> Reading {
    Reading {
        channel: ChannelId(channel),
        at: Time::from_unix_ms(at_ms),
        value,
    }
}

fn readings(store: &Store, channel: u16) -> Vec<Reading> {
    let readings = store.readings(ChannelId(channel), BEGINNING, END);
    readings.expect("readings read")
}

/// A slot of `layout()` whose every measured value tells where it belongs.
fn slot(start: Time) -> Slot {
    let plane = |poa| PlaneSlot {
        poa: Some((Irradiance::from_w_m2(poa), WeatherRung::HorizontalOnly)),
        cell: None,
    };
    let input = |v| InputSlot {
        voltage: Some(Voltage::from_v(v)),
        current: None,
        expected: None,
        gate: Gate::Limited,
        limit: Some(Limit::InputCurrent),
    };
    let inverter = |w, inputs: &[f64]| InverterSlot {
        ac_power: Some(Power::from_w(w)),
        expected_ac_power: None,
        shade_ac_power: None,
        limit: Some(Limit::Command),
        inputs: inputs.iter().copied().map(input).collect(),
    };
    Slot {
        start,
        span: SLOT,
        planes: vec![plane(100.0), plane(200.0)],
        inverters: vec![inverter(10.0, &[11.0, 12.0]), inverter(20.0, &[21.0])],
    }
}

fn finding(began: Time) -> Finding {
    let subject = Subject {
        device: DeviceId::new("inv-1"),
        input: Some(1),
        string: None,
    };
    Finding {
        id: FindingId::new(&subject, Kind::InputDead, began),
        subject,
        kind: Kind::InputDead,
        severity: Kind::InputDead.severity(),
        began,
        found: began + SLOT,
        ended: None,
        confidence: 0.9,
        causes: Vec::new(),
        evidence: Evidence::new(),
        lost: Energy::from_wh(10.0),
        summary: "no current".to_owned(),
        advice: Vec::new(),
        caution: Vec::new(),
    }
}

fn path(dir: &tempfile::TempDir) -> PathBuf {
    dir.path().join("site.sqlite")
}

fn open(path: &Path, layout: &Layout) -> Store {
    let opened = Store::open(path, layout).expect("the store opens");
    assert_eq!(opened.set_aside, None);
    opened.store
}

#[test]
fn a_new_store_is_empty() {
    let store = Store::in_memory(&layout()).expect("memory needs no file");
    assert_eq!(store.load_engine_state().expect("reads"), None);
    assert_eq!(store.span().expect("reads"), None);
    assert!(store.slots(BEGINNING, END).expect("reads").is_empty());
    assert!(store.findings().expect("reads").is_empty());
    assert!(readings(&store, 0).is_empty());
}

#[test]
fn what_was_committed_is_there_after_a_restart() {
    let dir = tempfile::tempdir().expect("a directory");
    let starts = [0, 1, 2].map(|n| Time::from_unix_ms(0) + SLOT * n);
    let mut store = open(&path(&dir), &layout());
    for start in starts {
        let poa = reading(2, start.unix_ms(), Value::Good(500.0));
        commit(&mut store, &[poa], &[slot(start)], &[]);
    }
    drop(store);
    let store = open(&path(&dir), &layout());
    assert_eq!(readings(&store, 2).len(), 3);
    assert_eq!(
        store.load_engine_state().expect("reads"),
        Some(state(b"state"))
    );
    // The beginning of a range belongs to it, its end does not.
    let some = store.slots(starts[1], starts[2]).expect("reads");
    assert_eq!(some, [slot(starts[1])]);
    let one = store.readings(ChannelId(2), starts[1], starts[2]);
    assert_eq!(one.expect("reads").len(), 1);
    let span = store.span().expect("reads");
    assert_eq!(span, Some((starts[0], starts[2] + SLOT)));
}

#[test]
fn of_two_readings_of_a_time_the_better_one_stays_then_the_larger() {
    let (good, odd, none) = (Value::Good(1.0), Value::OutOfRange(1e9), Value::Missing);
    let other = Value::Good(2.0);
    let cases = [
        (good, other, other),
        (other, good, other),
        (good, odd, good),
        (good, none, good),
        (odd, other, other),
        (odd, none, odd),
        (none, good, good),
        (none, odd, odd),
        (none, none, none),
    ];
    for (first, second, kept) in cases {
        let mut store = Store::in_memory(&layout()).expect("memory needs no file");
        commit(&mut store, &[reading(0, 5, first)], &[], &[]);
        commit(&mut store, &[reading(0, 5, second)], &[], &[]);
        assert_eq!(readings(&store, 0), [reading(0, 5, kept)]);
    }
}

#[test]
fn a_slot_and_a_finding_are_replaced_by_later_ones_of_the_same_name() {
    let mut store = Store::in_memory(&layout()).expect("memory needs no file");
    let start = Time::from_unix_ms(0);
    let mut later = slot(start);
    later.planes[0].poa = None;
    commit(&mut store, &[], &[slot(start)], &[]);
    commit(&mut store, &[], &[later.clone()], &[]);
    assert_eq!(store.slots(BEGINNING, END).expect("reads"), [later]);

    let stands = finding(start);
    let mut ended = stands.clone();
    ended.ended = Some(start + SLOT);
    let mut next = finding(start + SLOT);
    next.summary = "began later, was found first".to_owned();
    commit(&mut store, &[], &[], &[next.clone(), stands]);
    commit(&mut store, &[], &[], std::slice::from_ref(&ended));
    assert_eq!(store.findings().expect("reads"), [ended, next]);
}

#[test]
fn another_order_in_the_site_file_moves_no_history() {
    let dir = tempfile::tempdir().expect("a directory");
    let start = Time::from_unix_ms(0);
    let mut store = open(&path(&dir), &layout());
    let before = [
        reading(0, 0, Value::Good(10.0)),
        reading(1, 0, Value::Good(20.0)),
    ];
    commit(&mut store, &before, &[slot(start)], &[]);
    drop(store);

    let edited = Layout {
        planes: vec!["west".to_owned(), "flat".to_owned(), "east".to_owned()],
        inverters: vec![
            (DeviceId::new("inv-2"), vec![1, 2]),
            (DeviceId::new("inv-1"), vec![2]),
        ],
        channels: channels(&["roof/poa_w_m2", "inv-2/ac_power_w", "inv-1/ac_power_w"]),
    };
    let mut store = open(&path(&dir), &edited);
    assert_eq!(readings(&store, 1), [reading(1, 0, Value::Good(20.0))]);
    assert_eq!(readings(&store, 2), [reading(2, 0, Value::Good(10.0))]);
    let found = store.slots(BEGINNING, END).expect("reads").remove(0);
    let poa = |i: usize| found.planes[i].poa.map(|(poa, _)| poa.w_m2());
    assert_eq!([poa(0), poa(1), poa(2)], [Some(200.0), None, Some(100.0)]);
    let voltage = |i: usize, k: usize| found.inverters[i].inputs[k].voltage.map(|v| v.v());
    let voltages = [voltage(0, 0), voltage(0, 1), voltage(1, 0)];
    assert_eq!(voltages, [Some(21.0), None, Some(12.0)]);
    assert_eq!(found.inverters[0].inputs[1].gate, Gate::NotMeasured);

    // What the new site file lacks is still there when the old one comes back.
    commit(&mut store, &[reading(0, 0, Value::Good(5.0))], &[], &[]);
    drop(store);
    let store = open(&path(&dir), &layout());
    assert_eq!(store.slots(BEGINNING, END).expect("reads"), [slot(start)]);
    assert_eq!(readings(&store, 2), [reading(2, 0, Value::Good(5.0))]);
}

fn learned(of: LearnedOf, day: i64, value: f64) -> Learned {
    let known = |from: i64, to: i64, value: f64| Known {
        value,
        sigma: 0.01,
        from: SolarDay::from_number(from),
        to: SolarDay::from_number(to),
        days: (to - from + 1) as usize,
    };
    Learned {
        of,
        now: known(day - 3, day, value),
        baseline: known(1, 14, 1.0),
    }
}

#[test]
fn what_was_learned_is_read_back_at_its_latest_and_by_name() {
    let dir = tempfile::tempdir().expect("a folder");
    let rung = WeatherRung::PlaneSensor;
    let early = [
        learned(LearnedOf::Light(0, rung), 20, 0.97),
        learned(LearnedOf::Current(0, 1), 20, 0.99),
    ];
    let late = [learned(LearnedOf::Light(0, rung), 21, 0.96)];
    let mut store = open(&path(&dir), &layout());
    for learned in [&early[..], &late[..]] {
        let step = Step {
            readings: &[],
            slots: &[],
            findings: &[],
            learned,
            engine_state: &state(b"state"),
        };
        store.commit(&step).expect("the step fits the plant");
    }
    drop(store);
    let mut turned = layout();
    turned.planes.reverse();
    turned.inverters[0].1.reverse();
    let read = open(&path(&dir), &turned).learned().expect("it reads");
    let moved = [
        learned(LearnedOf::Light(1, rung), 21, 0.96),
        learned(LearnedOf::Current(0, 0), 20, 0.99),
    ];
    assert_eq!(read.len(), 2, "{read:?}");
    assert!(moved.iter().all(|wanted| read.contains(wanted)), "{read:?}");
}

#[test]
fn only_one_process_writes() {
    let dir = tempfile::tempdir().expect("a directory");
    let first = open(&path(&dir), &layout());
    let refused = Store::open(&path(&dir), &layout()).expect_err("the first one writes");
    assert!(matches!(refused, StoreError::InUse { .. }));
    Store::open_to_read(&path(&dir), &layout()).expect("reading is free");
    drop(first);
    open(&path(&dir), &layout());
}

#[test]
fn a_file_of_a_newer_version_is_refused_and_left_alone() {
    // "The user version" of the SQLite file format: offset 60, four bytes, big-endian
    // (sqlite.org/fileformat2.html, section 1.3).
    const USER_VERSION: std::ops::Range<usize> = 60..64;
    let dir = tempfile::tempdir().expect("a directory");
    drop(open(&path(&dir), &layout()));
    let mut bytes = fs::read(path(&dir)).expect("it is there");
    bytes[USER_VERSION].copy_from_slice(&1000_u32.to_be_bytes());
    fs::write(path(&dir), &bytes).expect("room for it");
    let for_writing = Store::open(&path(&dir), &layout()).expect_err("it is newer");
    let for_reading = Store::open_to_read(&path(&dir), &layout()).expect_err("it is newer");
    for refused in [for_writing, for_reading] {
        assert!(matches!(refused, StoreError::Newer { found: 1000, .. }));
    }
    assert_eq!(fs::read(path(&dir)).expect("still there"), bytes);
}

#[test]
fn a_damaged_file_is_set_aside_and_kept() {
    let dir = tempfile::tempdir().expect("a directory");
    let mut store = open(&path(&dir), &layout());
    for n in 0..200 {
        commit(
            &mut store,
            &[],
            &[slot(Time::from_unix_ms(0) + SLOT * n)],
            &[],
        );
    }
    drop(store);
    let sound = fs::read(path(&dir)).expect("it is there");
    let pages = sound.len() / 4096;
    assert!(pages > 20, "damage can be done in many places");
    // The header, the schema, a page in the middle, and an end that is cut off.
    let scribbled = |at: usize| {
        let mut bytes = sound.clone();
        bytes[at..at + 64].fill(0xa5);
        bytes
    };
    let damages = [
        scribbled(0),
        scribbled(100),
        scribbled(pages / 2 * 4096),
        sound[..sound.len() / 2].to_vec(),
        b"no database at all".to_vec(),
    ];
    for (n, damaged) in damages.iter().enumerate() {
        fs::write(path(&dir), damaged).expect("room for it");
        let opened = Store::open(&path(&dir), &layout()).expect("a new one is started");
        let aside = opened.set_aside.expect("the caller is told");
        let name = format!("site.sqlite.damaged-{}", n + 1);
        assert_eq!(aside, dir.path().join(name));
        assert_eq!(&fs::read(&aside).expect("it is kept"), damaged);
        let mut store = opened.store;
        assert_eq!(store.span().expect("reads"), None);
        commit(&mut store, &[], &[slot(Time::from_unix_ms(0))], &[]);
    }
    open(&path(&dir), &layout());
}

#[test]
fn a_store_that_turns_out_damaged_at_work_can_be_given_up() {
    let dir = tempfile::tempdir().expect("a directory");
    let store = open(&path(&dir), &layout());
    let aside = store.set_aside(&path(&dir)).expect("it can be renamed");
    assert!(aside.exists() && !path(&dir).exists());
    open(&path(&dir), &layout());
}

#[test]
fn a_path_that_cannot_be_opened_is_an_error() {
    let dir = tempfile::tempdir().expect("a directory");
    let nowhere = dir.path().join("no/such/directory/site.sqlite");
    let refused = Store::open(&nowhere, &layout()).expect_err("there is no directory");
    assert!(matches!(refused, StoreError::CannotOpen { .. }));
    Store::open_to_read(&path(&dir), &layout()).expect_err("nothing to read");
    assert!(!path(&dir).exists(), "reading makes no file");
}

fn number() -> impl Strategy<Value = f64> {
    use proptest::num::f64::{NEGATIVE, NORMAL, POSITIVE, SUBNORMAL, ZERO};
    POSITIVE | NEGATIVE | NORMAL | SUBNORMAL | ZERO
}

fn any_value() -> impl Strategy<Value = Value> {
    prop_oneof![
        number().prop_map(Value::Good),
        number().prop_map(Value::OutOfRange),
        Just(Value::Missing),
    ]
}

fn any_readings() -> impl Strategy<Value = Vec<Reading>> {
    let by_key = btree_map((0..3_u16, any::<i64>()), any_value(), 0..20);
    by_key.prop_map(|by_key| {
        let reading = |((channel, at), value)| reading(channel, at, value);
        by_key.into_iter().map(reading).collect()
    })
}

fn any_plane() -> impl Strategy<Value = PlaneSlot> {
    let rung = prop::sample::select(vec![
        WeatherRung::PlaneSensor,
        WeatherRung::HorizontalWithDiffuse,
        WeatherRung::HorizontalOnly,
        WeatherRung::ScaledClearSky,
    ]);
    let poa = prop::option::of((number().prop_map(Irradiance::from_w_m2), rung));
    let cell = prop::option::of(number().prop_map(Temperature::from_degc));
    (poa, cell).prop_map(|(poa, cell)| PlaneSlot { poa, cell })
}

fn any_expected() -> impl Strategy<Value = InputExpected> {
    let numbers = [number(), number(), number(), number(), number()];
    numbers.prop_map(|[v, a, sigma_v, sigma_a, sigma_w]| InputExpected {
        voltage: Voltage::from_v(v),
        current: Current::from_a(a),
        sigma_voltage: Voltage::from_v(sigma_v),
        sigma_current: Current::from_a(sigma_a),
        sigma_power: Power::from_w(sigma_w),
    })
}

fn any_limit() -> impl Strategy<Value = Option<Limit>> {
    prop::option::of(prop::sample::select(Limit::ALL))
}

fn any_input() -> impl Strategy<Value = InputSlot> {
    let gate = prop::sample::select(vec![
        Gate::Valid,
        Gate::Dark,
        Gate::Unsteady,
        Gate::Limited,
        Gate::NotProducing,
        Gate::NoWeather,
        Gate::NotMeasured,
    ]);
    let voltage = prop::option::of(number().prop_map(Voltage::from_v));
    let current = prop::option::of(number().prop_map(Current::from_a));
    let expected = prop::option::of(any_expected());
    (voltage, current, expected, gate, any_limit()).prop_map(
        |(voltage, current, expected, gate, limit)| InputSlot {
            voltage,
            current,
            expected,
            gate,
            limit,
        },
    )
}

fn any_inverter(inputs: usize) -> impl Strategy<Value = InverterSlot> {
    let power = || prop::option::of(number().prop_map(Power::from_w));
    let inputs = vec(any_input(), inputs);
    (power(), power(), any_limit(), inputs).prop_map(
        |(ac_power, expected_ac_power, limit, inputs)| InverterSlot {
            ac_power,
            expected_ac_power,
            shade_ac_power: None,
            limit,
            inputs,
        },
    )
}

fn any_slots() -> impl Strategy<Value = Vec<Slot>> {
    let parts = (
        any::<i64>(),
        vec(any_plane(), 2),
        (any_inverter(2), any_inverter(1)),
    );
    btree_map(any::<i64>(), parts, 0..4).prop_map(|by_start| {
        let slot = |(start, (span, planes, (first, second)))| Slot {
            start: Time::from_unix_ms(start),
            span: Span::from_ms(span),
            planes,
            inverters: vec![first, second],
        };
        by_start.into_iter().map(slot).collect()
    })
}

fn any_finding() -> impl Strategy<Value = Finding> {
    let kind = prop::sample::select(vec![
        Kind::InputDead,
        Kind::StringOpen,
        Kind::Snow,
        Kind::IsolationLow,
        Kind::GridTrip,
    ]);
    let subject = (any::<Option<u8>>(), any::<Option<String>>());
    let times = (any::<i32>(), any::<i64>(), any::<Option<i64>>());
    let causes = vec((any::<String>(), number()), 0..3);
    let numbers = (
        number(),
        btree_map(any::<String>(), number(), 0..4),
        number(),
    );
    let texts = (any::<String>(), any::<Vec<String>>(), any::<Vec<String>>());
    (kind, subject, times, causes, numbers, texts).prop_map(
        |(kind, (input, string), (began, found, ended), causes, numbers, texts)| {
            let subject = Subject {
                device: DeviceId::new("inv-1"),
                input,
                string,
            };
            let began = Time::from_unix_ms(i64::from(began) * 1000);
            let cause = |(cause, probability)| Cause { cause, probability };
            Finding {
                id: FindingId::new(&subject, kind, began),
                subject,
                kind,
                severity: kind.severity(),
                began,
                found: Time::from_unix_ms(found),
                ended: ended.map(Time::from_unix_ms),
                confidence: numbers.0,
                causes: causes.into_iter().map(cause).collect(),
                evidence: numbers.1,
                lost: Energy::from_wh(numbers.2),
                summary: texts.0,
                advice: texts.1,
                caution: texts.2,
            }
        },
    )
}

proptest! {
    #[test]
    fn whatever_is_committed_reads_back_the_same(
        made in any_readings(),
        slots in any_slots(),
        finding in any_finding(),
        bytes in any::<Vec<u8>>(),
        version in any::<u32>(),
    ) {
        let mut store = Store::in_memory(&layout()).expect("memory needs no file");
        let engine_state = EngineState { version, bytes };
        let step = Step {
            readings: &made,
            slots: &slots,
            findings: std::slice::from_ref(&finding),
            learned: &[],
            engine_state: &engine_state,
        };
        store.commit(&step).expect("the step fits the plant");
        // The last millisecond of time is outside a range that is open at its end.
        let end = |at: Time| at != END;
        let back: Vec<Reading> = (0..3).flat_map(|channel| readings(&store, channel)).collect();
        let wanted: Vec<Reading> = made.iter().copied().filter(|r| end(r.at)).collect();
        prop_assert_eq!(back, wanted);
        let wanted: Vec<Slot> = slots.iter().filter(|s| end(s.start)).cloned().collect();
        prop_assert_eq!(store.slots(BEGINNING, END).expect("reads"), wanted);
        prop_assert_eq!(store.findings().expect("reads"), vec![finding]);
        prop_assert_eq!(store.load_engine_state().expect("reads"), Some(engine_state));
    }
}
