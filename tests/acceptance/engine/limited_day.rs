//! A day of one inverter under a limit, beside the same day without it.
//! Never in here: which limit.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::polls;
use analysis::array::Limit;
use analysis::detect::InverterSlot;
use analysis::ledger::{Entry, hourly};
use analysis::plant::Plant;
use analysis::reading::{Span, Time};
use std::sync::Arc;
use tests::assert_close;
use tests::plant::{Period, START, Shape, World, plant, two_inverters};

/// The first day is for calibration, the second for the limit.
const DAYS: i64 = 2;
const DAY: i64 = 1;
/// Rated power that the array never reaches [W].
pub const AMPLE_W: f64 = 40_000.0;
/// What a clear day's expected energy may be wrong by, over the energy of the day: the calibration
/// of one day, the meters, and the strings' differences (engineering judgement) [-].
pub const DAY_RATIO: f64 = 0.02;
/// The same where the limit acts from the first day on: little or nothing is left to calibrate by.
const UNCALIBRATED_RATIO: f64 = 0.03;

/// One inverter with three inputs that nothing limits.
pub fn ample() -> Plant {
    let mut inverter = two_inverters().inverters.swap_remove(0);
    inverter.0 = AMPLE_W;
    plant(&Shape {
        inverters: vec![inverter],
        every: Span::from_min(2),
        ..two_inverters()
    })
}

pub fn clear() -> World {
    World {
        cloudiness: vec![0.0],
        ..World::fair()
    }
}

pub fn hours(from: f64, to: f64) -> Period {
    Period::new((DAY, from), (DAY, to))
}

/// What an engine tells of `plant` while `twin` is what stands there.
pub fn told_of(plant: Plant, twin: Plant, world: World) -> Told {
    let (plant, twin) = (Arc::new(plant), Arc::new(twin));
    let polls = polls(&twin, world, DAYS, Span::from_min(2));
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

/// A day under a limit, beside the same day without it.
pub struct Limited {
    pub told: Told,
    pub entries: Vec<Entry>,
    /// Energy that the limit took [Wh].
    true_wh: f64,
    /// Energy of the day without it [Wh].
    pub free_wh: f64,
    /// What it may be wrong by [-].
    day_ratio: f64,
}

pub fn limited(plant: Plant, world: World) -> Limited {
    let told = told_of(plant.clone(), plant.clone(), world);
    let free = told_of(ample(), ample(), clear());
    let free_wh = delivered_wh(&free);
    let findings: Vec<_> = told.findings.values().cloned().collect();
    let entries = hourly(&plant, &told.slots, &findings);
    Limited {
        entries: entries.into_iter().filter(|e| is_on_day(e.hour)).collect(),
        true_wh: free_wh - delivered_wh(&told),
        free_wh,
        day_ratio: DAY_RATIO,
        told,
    }
}

/// The same with a limit that is part of the plant.
pub fn always_limited(plant: Plant) -> Limited {
    Limited {
        day_ratio: UNCALIBRATED_RATIO,
        ..limited(plant, clear())
    }
}

fn is_on_day(at: Time) -> bool {
    at >= START + Span::from_h(24 * DAY)
}

fn delivered_wh(told: &Told) -> f64 {
    let day = told.slots.iter().filter(|slot| is_on_day(slot.start));
    let energy = day.filter_map(|slot| Some((slot.inverters[0].ac_power? * slot.span).wh()));
    energy.sum()
}

pub fn slots(told: &Told, period: Period) -> Vec<(Time, &InverterSlot)> {
    let inside = told.slots.iter().filter(|slot| period.holds(slot.start));
    let slots: Vec<_> = inside
        .map(|slot| (slot.start, &slot.inverters[0]))
        .collect();
    assert!(slots.len() >= 12, "an hour of slots at least");
    slots
}

pub fn booked_wh(entries: &[Entry], limit: Limit) -> f64 {
    let of = |entry: &Entry| entry.limited.get(&limit).map_or(0.0, |e| e.wh());
    entries.iter().map(of).sum()
}

impl Limited {
    /// Every slot of the period has the inverter under this limit, and no slot of the day has it or
    /// an input under any other.
    pub fn assert_named(&self, limit: Limit, period: Period) {
        for (at, slot) in slots(&self.told, period) {
            assert_eq!(slot.limit, Some(limit), "{at:?}");
        }
        for (at, slot) in slots(&self.told, hours(0.0, 24.0)) {
            assert!(
                slot.limit.is_none_or(|l| l == limit),
                "{at:?} {:?}",
                slot.limit
            );
            assert!(
                slot.inputs.iter().all(|i| i.limit.is_none()),
                "{at:?} {slot:?}"
            );
        }
    }

    /// Nothing is found, and what the limit took stands under its name alone.
    pub fn assert_booked(&self, limit: Limit) {
        assert!(self.told.alarms().is_empty(), "{}", self.told.list());
        self.assert_nothing_but(limit);
        let booked_wh = booked_wh(&self.entries, limit);
        // More than the error of the day could be.
        assert!(
            booked_wh > 2.0 * self.day_ratio * self.free_wh,
            "{booked_wh} Wh"
        );
        self.assert_close_to_truth(booked_wh);
    }

    pub fn assert_nothing_but(&self, limit: Limit) {
        for other in Limit::ALL.iter().filter(|other| **other != limit) {
            assert_eq!(booked_wh(&self.entries, *other), 0.0, "{other:?}");
        }
    }

    pub fn assert_close_to_truth(&self, booked_wh: f64) {
        let (true_wh, free_wh) = (self.true_wh, self.free_wh);
        let message = format!("{booked_wh:.0} Wh booked, {true_wh:.0} Wh lost of {free_wh:.0} Wh");
        assert_close!(booked_wh, true_wh, self.day_ratio * free_wh, message);
    }
}
