//! Limits of an inverter: each is named for what it is, costs what the same day without it would
//! have given, is booked under its name, and is never a fault.

use crate::limited_day::{
    AMPLE_W, DAY_RATIO, always_limited, ample, booked_wh, clear, hours, limited, slots, told_of,
};
use analysis::array::Limit;
use analysis::detect::Kind;
use analysis::plant::{Derating, Plant, VoltWattPoint};
use analysis::reading::{ApparentPower, Current, Power, Span, Temperature, Value, Voltage};
use tests::plant::{What, World};

#[test]
fn clipping_is_rated_power() {
    let mut plant = ample();
    plant.inverters[0].rated_ac = Power::from_w(AMPLE_W / 2.0);
    plant.inverters[0].max_apparent = ApparentPower::from_va(AMPLE_W / 2.0);
    let day = always_limited(plant);
    day.assert_named(Limit::RatedPower, hours(10.5, 13.5));
    assert!(day.told.alarms().is_empty(), "{}", day.told.list());
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
fn clipping_between_clouds_is_rated_power() {
    let mut plant = ample();
    plant.inverters[0].rated_ac = Power::from_w(AMPLE_W / 2.0);
    plant.inverters[0].max_apparent = ApparentPower::from_va(AMPLE_W / 2.0);
    let world = World {
        cloudiness: vec![0.5],
        ..World::fair()
    };
    let day = limited(plant, world);
    assert!(day.told.alarms().is_empty(), "{}", day.told.list());
    let clipped = slots(&day.told, hours(9.0, 15.0));
    let clipped = clipped
        .iter()
        .filter(|(_, slot)| slot.limit.is_some())
        .count();
    assert!(clipped >= 20, "{clipped} slots");
    day.assert_nothing_but(Limit::RatedPower);
}

#[test]
fn without_a_sensor_the_inputs_say_how_much_there_is() {
    let no_sensor = |mut plant: Plant| {
        plant.weather[0].plane = None;
        plant
    };
    let mut clips = no_sensor(ample());
    clips.inverters[0].rated_ac = Power::from_w(AMPLE_W / 2.0);
    let at_noon = hours(10.5, 13.5);
    let cases = [
        (Limit::RatedPower, clips, clear()),
        (
            Limit::Command,
            no_sensor(ample()),
            clear().with(at_noon, What::Commanded(0, 0.3)),
        ),
        (
            Limit::VoltWatt,
            with_volt_watt(no_sensor(ample())),
            clear().with(at_noon, What::SupplyHigher(16.2)),
        ),
        (
            Limit::ApparentPower,
            no_sensor(ample()),
            clear().with(at_noon, What::Reactive(0, 0.9)),
        ),
    ];
    for (limit, plant, world) in cases {
        let day = limited(plant, world);
        day.assert_named(limit, hours(11.0, 13.0));
        day.assert_nothing_but(limit);
        assert!(day.told.alarms().is_empty(), "{}", day.told.list());
    }
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
    // All day: morning and evening go through the power that the line would leave.
    let world = clear().with(hours(0.0, 24.0), What::SupplyHigher(16.2));
    let told = told_of(with_volt_watt(ample()), ample(), world);
    for (at, slot) in slots(&told, hours(0.0, 24.0)) {
        assert_eq!(slot.limit, None, "{at:?}");
    }
    assert!(told.alarms().is_empty(), "{}", told.list());
}

#[test]
fn reactive_power_leaves_less_of_the_apparent_power() {
    // P <= sqrt(1 - 0.9^2) = 0.436 of 40 kVA.
    let world = clear().with(hours(9.5, 14.5), What::Reactive(0, 0.9));
    let day = limited(ample(), world);
    day.assert_named(Limit::ApparentPower, hours(10.0, 14.0));
    day.assert_booked(Limit::ApparentPower);
}

/// A meter that shows 105 % of the apparent power as reactive leaves that limit undecided alone.
#[test]
fn an_impossible_reactive_power_does_not_silence_the_other_limits() {
    let plant = std::sync::Arc::new(ample());
    let world = clear().with(hours(9.0, 15.0), What::Commanded(0, 0.3));
    let mut polls = crate::scenario::polls(&plant, world, 2, Span::from_min(2));
    let channel = "inv-1/ac_reactive_power_var".parse().expect("a channel");
    let reactive = plant.channels.id(&channel).expect("it is published");
    for reading in polls.iter_mut().flat_map(|(_, readings)| readings) {
        if reading.channel == reactive {
            reading.value = Value::Good(1.05 * plant.inverters[0].max_apparent.va());
        }
    }
    let end = crate::drive::end_of(&plant, &polls);
    let told = crate::drive::account(&plant, crate::drive::one_by_one(&polls), end);
    for (at, slot) in slots(&told, hours(9.5, 14.5)) {
        assert_eq!(slot.limit, Some(Limit::Command), "{at:?}");
    }
    assert!(told.alarms().is_empty(), "{}", told.list());
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
        assert!(day.told.alarms().is_empty(), "{}", day.told.list());
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
