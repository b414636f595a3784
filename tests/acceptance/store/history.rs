//! Readings, slots and findings: what was committed, after a restart and in another order.

use super::{
    BEGINNING, END, SLOT, channels, commit, finding, layout, open, path, reading, readings, slot,
    state,
};
use analysis::detect::Gate;
use analysis::reading::{ChannelId, DeviceId, Time, Value};
use daemon::store::{Layout, Store};

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
