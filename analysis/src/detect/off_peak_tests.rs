//! Days of one input on and off its peak, as its watcher takes them.

use super::Budget;
use super::off_peak::*;
use crate::reading::{Span, Time};

const SLOT: Span = Span::from_min(5);
const GUARD: f64 = 4.8;

/// Right of the peak by the locus: 0.95 of the power at 1.065 of the voltage and 0.892 of the
/// current.
fn away(n: i64) -> OffPeakSlot {
    OffPeakSlot {
        start: Time::from_unix_ms(0) + SLOT * n,
        voltage_ratio: 1.065,
        voltage_sigma: 0.01,
        beside_sigmas: None,
        lost_ratio: 0.05,
        current_ratio: 1.0,
        current_sigma: 0.03,
        moved_ratio: 1.0 / 0.892,
        missing_ratio: 0.05,
        missing_wh: 10.0,
    }
}

fn at_peak(n: i64) -> OffPeakSlot {
    OffPeakSlot {
        voltage_ratio: 1.0,
        lost_ratio: 0.0,
        moved_ratio: 1.0,
        missing_ratio: 0.0,
        missing_wh: 0.0,
        ..away(n)
    }
}

fn told(slots: impl IntoIterator<Item = OffPeakSlot>) -> Option<OffPeakDay> {
    let mut watch = OffPeakWatch::new();
    slots.into_iter().for_each(|slot| watch.add(slot));
    watch.close(SLOT, GUARD)
}

#[test]
fn three_hours_off_that_stay_are_told_from_their_first_slot_with_what_they_cost() {
    let day = (0..40).map(at_peak).chain((40..80).map(away));
    let Some(OffPeakDay::Off(off)) = told(day) else {
        panic!("it stays");
    };
    assert_eq!(off.began, Time::from_unix_ms(0) + SLOT * 40);
    assert_eq!(off.slots, (40, 80));
    assert!((off.lost_wh - 400.0).abs() < 1e-9);
}

#[test]
fn what_passes_is_none() {
    let day = (0..40).map(away).chain((40..80).map(at_peak));
    assert_eq!(told(day), None);
    assert_eq!(told((0..10).map(away)), None, "50 minutes");
}

#[test]
fn a_peak_that_may_have_moved_there_is_none() {
    let within_error = |n| OffPeakSlot {
        voltage_sigma: 0.016,
        ..away(n)
    };
    assert_eq!(told((0..80).map(within_error)), None);
    // Heat that is not known, and light that errs as well: all inputs show it.
    let with_others = |n| OffPeakSlot {
        beside_sigmas: Some(0.5),
        ..away(n)
    };
    assert_eq!(told((0..80).map(with_others)), None);
    // Heat that is not known: the current is the peak's, and nothing is missing.
    let heat = |n| OffPeakSlot {
        current_ratio: 1.0 / 0.892,
        missing_ratio: -0.06,
        ..away(n)
    };
    assert_eq!(told((0..80).map(heat)), None);
    // Modules missing: left of the peak, with the peak's current.
    let modules = |n| OffPeakSlot {
        voltage_ratio: 0.89,
        lost_ratio: 0.07,
        current_ratio: 0.957,
        current_sigma: 0.01,
        moved_ratio: 0.957,
        missing_ratio: 0.11,
        ..away(n)
    };
    assert_eq!(told((0..80).map(modules)), None);
}

#[test]
fn it_ends_when_it_was_put_right() {
    let mut watch = OffPeakWatch::new();
    (0..80).for_each(|n| watch.add(away(n)));
    assert!(watch.close(SLOT, GUARD).is_some());
    (300..320).for_each(|n| watch.add(away(n)));
    (320..380).for_each(|n| watch.add(at_peak(n)));
    let back = Time::from_unix_ms(0) + SLOT * 320;
    assert_eq!(watch.close(SLOT, GUARD), Some(OffPeakDay::Back(back)));
    (600..680).for_each(|n| watch.add(at_peak(n)));
    assert_eq!(watch.close(SLOT, GUARD), None);
}

#[test]
fn the_guard_is_the_quantile_of_the_budget() {
    // 0.1 of 0.05 a year on two inputs: one in 292 000, 4.50 sigmas in a table of the normal.
    let guard = off_peak_guard(Budget::new(0.05), 2);
    assert!((guard - 4.50).abs() < 0.03, "{guard}");
    assert!(off_peak_guard(Budget::new(1.0), 2) < guard);
}
