//! Limits of an inverter: each is named for what it is, costs what the same day without it would have
//! given, is booked under its name, and is never a fault.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::polls;
use analysis::array::Limit;
use analysis::detect::{InverterSlot, Kind};
use analysis::ledger::{Entry, hourly};
use analysis::plant::{Derating, Plant, VoltWattPoint};
use analysis::reading::{ApparentPower, Current, Power, Span, Temperature, Time, Voltage};
use std::sync::Arc;
use tests::assert_close;
use tests::plant::{Period, START, Shape, What, World, plant, two_inverters};

/// The first day is for calibration, the second for the limit.
const DAYS: i64 = 2;
const DAY: i64 = 1;
/// Rated power that the array never reaches [W].
const AMPLE_W: f64 = 40_000.0;
/// What a clear day's expected energy may be wrong by, over the energy of the day: the calibration
/// of one day, the meters, and the strings' differences (engineering judgement) [-].
const DAY_RATIO: f64 = 0.02;
/// The same where the limit acts on the first day too: what is left to calibrate by is morning and
/// evening, in whose light the synthetic glass, the same at any angle, lets through more than the
/// model's.
const GRAZING_RATIO: f64 = 0.05;

/// One inverter with three inputs that nothing limits.
fn ample() -> Plant {
    let mut inverter = two_inverters().inverters.swap_remove(0);
    inverter.0 = AMPLE_W;
    plant(&Shape {
        inverters: vec![inverter],
        every: Span::from_min(2),
        ..two_inverters()
    })
}

fn clear() -> World {
    World {
        cloudiness: vec![0.0],
        ..World::fair()
    }
}

fn hours(from: f64, to: f64) -> Period {
    Period::new((DAY, from), (DAY, to))
}

/// What an engine tells of `plant` while `twin` is what stands there.
fn told_of(plant: Plant, twin: Plant, world: World) -> Told {
    let (plant, twin) = (Arc::new(plant), Arc::new(twin));
    let polls = polls(&twin, world, DAYS, Span::from_min(2));
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

/// A day under a limit, beside the same day without it.
struct Limited {
    told: Told,
    entries: Vec<Entry>,
    /// Energy that the limit took [Wh].
    true_wh: f64,
    /// Energy of the day without it [Wh].
    free_wh: f64,
    /// What it may be wrong by [-].
    day_ratio: f64,
}

fn limited(plant: Plant, world: World) -> Limited {
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
fn always_limited(plant: Plant) -> Limited {
    Limited {
        day_ratio: GRAZING_RATIO,
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

fn slots(told: &Told, period: Period) -> Vec<(Time, &InverterSlot)> {
    let inside = told.slots.iter().filter(|slot| period.holds(slot.start));
    let slots: Vec<_> = inside
        .map(|slot| (slot.start, &slot.inverters[0]))
        .collect();
    assert!(slots.len() >= 12, "an hour of slots at least");
    slots
}

fn booked_wh(entries: &[Entry], limit: Limit) -> f64 {
    let of = |entry: &Entry| entry.limited.get(&limit).map_or(0.0, |e| e.wh());
    entries.iter().map(of).sum()
}

impl Limited {
    /// Every slot of the period has the inverter under this limit, and no slot of the day has it or
    /// an input under any other.
    fn assert_named(&self, limit: Limit, period: Period) {
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
    fn assert_booked(&self, limit: Limit) {
        assert!(self.told.findings.is_empty(), "{}", self.told.list());
        for other in Limit::ALL.iter().filter(|other| **other != limit) {
            assert_eq!(booked_wh(&self.entries, *other), 0.0, "{other:?}");
        }
        let booked_wh = booked_wh(&self.entries, limit);
        // More than the error of the day could be.
        assert!(
            booked_wh > 2.0 * self.day_ratio * self.free_wh,
            "{booked_wh} Wh"
        );
        self.assert_close_to_truth(booked_wh);
    }

    fn assert_close_to_truth(&self, booked_wh: f64) {
        let (true_wh, free_wh) = (self.true_wh, self.free_wh);
        let message = format!("{booked_wh:.0} Wh booked, {true_wh:.0} Wh lost of {free_wh:.0} Wh");
        assert_close!(booked_wh, true_wh, self.day_ratio * free_wh, message);
    }
}

#[test]
fn clipping_is_rated_power() {
    let mut plant = ample();
    plant.inverters[0].rated_ac = Power::from_w(AMPLE_W / 2.0);
    plant.inverters[0].max_apparent = ApparentPower::from_va(AMPLE_W / 2.0);
    let day = always_limited(plant);
    day.assert_named(Limit::RatedPower, hours(10.5, 13.5));
    assert!(day.told.findings.is_empty(), "{}", day.told.list());
    // Expected power ends at rated power, so the loss stands beside the balance.
    let above_wh = day.entries.iter().map(|entry| entry.above_rated.wh()).sum();
    day.assert_close_to_truth(above_wh);
    let all: f64 = day
        .entries
        .iter()
        .map(|entry| entry.limited_total().wh())
        .sum();
    assert_eq!(all, booked_wh(&day.entries, Limit::RatedPower));
    assert!(all <= DAY_RATIO * day.free_wh, "{all} Wh");
}

#[test]
fn a_power_limit_from_outside_is_a_command() {
    let world = clear().with(hours(9.0, 15.0), What::Commanded(0, 0.3));
    let day = limited(ample(), world);
    day.assert_named(Limit::Command, hours(9.5, 14.5));
    day.assert_booked(Limit::Command);
}

#[test]
fn a_command_to_give_nothing_is_a_command() {
    let world = clear().with(hours(10.0, 14.0), What::Commanded(0, 0.0));
    let day = limited(ample(), world);
    day.assert_named(Limit::Command, hours(10.1, 13.9));
    day.assert_booked(Limit::Command);
}

/// The line of region A (config/grid/au-a.toml).
fn with_volt_watt(mut plant: Plant) -> Plant {
    let point = |v, power_ratio| VoltWattPoint {
        voltage: Voltage::from_v(v),
        power_ratio,
    };
    plant.site.grid_limits.volt_watt = vec![point(253.0, 1.0), point(260.0, 0.2)];
    plant
}

#[test]
fn a_high_supply_voltage_is_volt_watt() {
    // 241 V and 16.2 V: just under half of rated power.
    let world = clear().with(hours(9.5, 14.5), What::SupplyHigher(16.2));
    let day = limited(with_volt_watt(ample()), world);
    day.assert_named(Limit::VoltWatt, hours(10.0, 14.0));
    day.assert_booked(Limit::VoltWatt);
}

#[test]
fn a_volt_watt_line_that_the_inverter_does_not_follow_is_no_limit() {
    let world = clear().with(hours(9.5, 14.5), What::SupplyHigher(16.2));
    let told = told_of(with_volt_watt(ample()), ample(), world);
    for (at, slot) in slots(&told, hours(10.0, 14.0)) {
        assert_eq!(slot.limit, None, "{at:?}");
    }
    assert!(told.findings.is_empty(), "{}", told.list());
}

#[test]
fn reactive_power_leaves_less_of_the_apparent_power() {
    // P <= sqrt(1 - 0.9^2) = 0.436 of 40 kVA.
    let world = clear().with(hours(9.5, 14.5), What::Reactive(0, 0.9));
    let day = limited(ample(), world);
    day.assert_named(Limit::ApparentPower, hours(10.0, 14.0));
    day.assert_booked(Limit::ApparentPower);
}

#[test]
fn a_hot_inverter_is_limited_by_heat() {
    let mut plant = ample();
    plant.inverters[0].derating = Some(Derating {
        from: Temperature::from_degc(70.0),
        ratio_per_k: 0.025,
    });
    let world = clear().with(hours(9.5, 14.5), What::Hot(0, 94.0));
    let day = limited(plant, world);
    day.assert_named(Limit::Heat, hours(10.0, 14.0));
    day.assert_booked(Limit::Heat);
}

#[test]
fn a_hold_back_without_a_word_is_not_told() {
    let world = clear().with(hours(9.5, 14.5), What::HeldBack(0, 0.4));
    let day = limited(ample(), world);
    day.assert_named(Limit::NotTold, hours(10.0, 14.0));
    day.assert_booked(Limit::NotTold);
}

#[test]
fn an_input_that_takes_no_more_current_is_named_alone() {
    let mut plant = ample();
    plant.inverters[0].inputs[0].max_operating_current = Current::from_a(10.0);
    let day = always_limited(plant);
    for (at, slot) in slots(&day.told, hours(10.5, 13.5)) {
        let names: Vec<_> = slot.inputs.iter().map(|input| input.limit).collect();
        assert_eq!(names, [Some(Limit::InputCurrent), None, None], "{at:?}");
        assert_eq!(slot.limit, None, "{at:?}");
    }
    day.assert_booked(Limit::InputCurrent);
}

#[test]
fn a_peak_outside_the_tracking_window_is_named_on_every_input() {
    // Sixteen modules have their peak near 590 V in the middle of a clear day.
    let window = |low_v, high_v| {
        let mut plant = ample();
        plant.inverters[0].tracking_min = Voltage::from_v(low_v);
        plant.inverters[0].tracking_max = Voltage::from_v(high_v);
        plant
    };
    for (plant, limit) in [
        (window(160.0, 520.0), Limit::TrackingHigh),
        (window(660.0, 1000.0), Limit::TrackingLow),
    ] {
        let day = always_limited(plant);
        for (at, slot) in slots(&day.told, hours(11.0, 13.0)) {
            let all = slot.inputs.iter().all(|input| input.limit == Some(limit));
            assert!(all && slot.limit.is_none(), "{limit:?} {at:?} {slot:?}");
        }
        assert!(day.told.findings.is_empty(), "{}", day.told.list());
        day.assert_close_to_truth(booked_wh(&day.entries, limit));
    }
}

#[test]
fn too_little_voltage_to_start_is_asleep_and_takes_nothing_from_a_finding() {
    let mut plant = ample();
    // Sixteen modules in series have 790 V at most.
    plant.inverters[0].start_voltage = Voltage::from_v(900.0);
    let world = clear().with(hours(0.0, 24.0), What::Stopped(0));
    let told = told_of(plant, ample(), world);
    for (at, slot) in slots(&told, hours(8.0, 16.0)) {
        assert_eq!(slot.limit, Some(Limit::Asleep), "{at:?}");
    }
    let off = told.of(Kind::InverterOff);
    assert_eq!(off.len(), 1, "{}", told.list());
    assert!(off[0].lost.wh() > 0.0);
}
