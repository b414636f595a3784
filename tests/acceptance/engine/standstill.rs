//! Inverters without output in good light: off, or covered when it has frozen.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::play;
use analysis::detect::Kind;
use analysis::diagnose::Finding;
use analysis::reading::{DeviceId, Quantity, Reading, Span, Value};
use tests::plant::{Period, START, What, World, two_inverters};

fn told(world: World) -> Told {
    let (plant, polls) = play(&two_inverters(), world, 2);
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

fn frosty() -> World {
    World {
        air_degc: -3.0,
        ..World::fair()
    }
}

#[test]
fn an_inverter_that_is_stopped_all_day_is_off() {
    let told = told(World::fair().with(Period::new((1, 0.0), (1, 15.0)), What::Stopped(1)));
    let [off] = told.of(Kind::InverterOff)[..] else {
        panic!("{}", told.list());
    };
    assert_eq!(told.but_limits().len(), 1, "{}", told.list());
    assert_eq!(off.subject.device, DeviceId::new("inv-2"));
    assert!(
        off.found - off.began <= Span::from_h(2),
        "two hours of light"
    );
    let restart = START + Span::from_h(24 + 15);
    let ended = off.ended.expect("it was started again");
    assert!(
        ended >= restart && ended - restart <= Span::from_min(10),
        "{ended:?}"
    );
    // Its array gives some 40 kWh on such a day (17.4 kW, fair), about half of it until three.
    assert!(
        off.lost.wh() > 15_000.0 && off.lost.wh() < 80_000.0,
        "{:?}",
        off.lost
    );
}

/// With voltage at its inputs it is the inverter or its supply, without it is the array's side.
#[test]
fn the_voltage_at_its_inputs_says_on_which_side_to_look() {
    let hours = Period::new((1, 0.0), (1, 15.0));
    let world = World::fair().with(hours, What::Stopped(1));
    let (plant, mut polls) = play(&two_inverters(), world, 2);
    let leading = |polls: &[_]| {
        let told = account(&plant, one_by_one(polls), end_of(&plant, polls));
        let [off] = told.of(Kind::InverterOff)[..] else {
            panic!("{}", told.list());
        };
        off.causes[0].cause.clone()
    };
    let off = "switched off or stopped by a fault of its own";
    assert_eq!(leading(&polls), off);
    let is_dc_voltage = |r: &Reading| {
        let channel = plant.channels.channel(r.channel);
        channel.device.as_str() == "inv-2" && channel.quantity == Quantity::DcVoltage
    };
    for (_, readings) in polls.iter_mut().filter(|p| hours.holds(p.0)) {
        for reading in readings.iter_mut().filter(|r| is_dc_voltage(r)) {
            reading.value = Value::Good(0.0);
        }
    }
    assert_eq!(leading(&polls), "all DC inputs disconnected");
}

#[test]
fn stopped_by_midday_it_is_off_and_not_tripped() {
    let told = told(World::fair().with(Period::new((1, 11.0), (1, 15.0)), What::Stopped(1)));
    assert_eq!(told.of(Kind::InverterOff).len(), 1, "{}", told.list());
    assert_eq!(told.but_limits().len(), 1, "{}", told.list());
}

/// All modules lie under snow after a frosty night; the sensor was swept.
#[test]
fn covered_modules_on_a_frosty_day_are_snow() {
    let world = frosty();
    let morning = Period::new((1, 0.0), (1, 15.0));
    let world = world.with(morning, What::Covered(0, 0.0));
    let told = told(world.with(morning, What::Covered(1, 0.0)));
    let snow = told.of(Kind::Snow);
    assert!(!snow.is_empty(), "{}", told.list());
    assert_eq!(
        snow.len(),
        told.but_limits().len(),
        "snow and nothing else:\n{}",
        told.list()
    );
    let last = snow.iter().map(|f| f.ended.expect("it melts")).max();
    let melted = START + Span::from_h(24 + 15);
    assert!(
        last.is_some_and(|end| end <= melted + Span::from_h(1)),
        "{last:?}"
    );
}

/// Some light comes through: the inverter works, with less current on all inputs. (At a share of
/// 0.45 the input with two strings reads as one with an open string: that the other inputs show the
/// same at the same time is not taken into account yet.)
#[test]
fn a_thin_cover_on_a_frosty_day_is_snow() {
    let told = told(frosty().with(Period::new((1, 0.0), (1, 15.0)), What::Covered(1, 0.3)));
    let snow = told.of(Kind::Snow);
    assert!(!snow.is_empty(), "{}", told.list());
    assert_eq!(
        snow.len(),
        told.but_limits().len(),
        "snow and nothing else:\n{}",
        told.list()
    );
}

/// What was missing the evening before as it is in the morning has not come with the night's frost.
#[test]
fn a_loss_that_was_there_the_evening_before_is_no_snow() {
    let told = told(frosty().with(Period::new((0, 12.0), (2, 0.0)), What::Covered(1, 0.7)));
    assert_eq!(told.of(Kind::Snow).len(), 0, "{}", told.list());
}

/// Nor has what was snow yesterday: it lies there still.
#[test]
fn a_cover_that_lies_for_two_days_is_snow_on_both() {
    let world = frosty().with(Period::new((1, 0.0), (2, 13.0)), What::Covered(1, 0.3));
    let (plant, polls) = play(&two_inverters(), world, 3);
    let told = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
    let snow = told.of(Kind::Snow);
    let noon = START + Span::from_h(2 * 24 + 12);
    let lies = |snow: &&&Finding| snow.ended.is_some_and(|ended| ended > noon);
    assert!(snow.iter().filter(lies).count() > 0, "{}", told.list());
    assert_eq!(snow.len(), told.but_limits().len(), "{}", told.list());
}

/// Snow would lie on both: a neighbour on the same plane works, so the other one is off.
#[test]
fn an_inverter_that_is_off_beside_a_working_one_is_off_also_in_frost() {
    let told = told(frosty().with(Period::new((1, 11.0), (1, 15.0)), What::Stopped(1)));
    assert_eq!(told.of(Kind::InverterOff).len(), 1, "{}", told.list());
    assert_eq!(told.of(Kind::Snow).len(), 0, "{}", told.list());
}

/// What a finding says it cost is what the ledger books for it.
#[test]
fn a_standstill_costs_what_the_ledger_says() {
    /// The ledger works slot by slot and so does the finding: only rounding may part them.
    const TOLERANCE: f64 = 1e-6;
    let world = World::fair().with(Period::new((1, 0.0), (1, 15.0)), What::Stopped(1));
    let (plant, polls) = play(&two_inverters(), world, 2);
    let told = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
    let findings: Vec<Finding> = told.but_limits().into_iter().cloned().collect();
    let [off] = findings.as_slice() else {
        panic!("{}", told.list());
    };
    let booked: f64 = analysis::ledger::hourly(&plant, &told.slots, &findings)
        .iter()
        .filter_map(|entry| entry.findings.get(&Kind::InverterOff))
        .map(|energy| energy.wh())
        .sum();
    tests::assert_close!(
        off.lost.wh() / booked,
        1.0,
        TOLERANCE,
        "finding over ledger"
    );
}
