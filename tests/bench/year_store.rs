//! A store of a year of twenty inverters with two inputs each. The values are not those of a plant: they
//! only have its shape, its nights and its clouds, a string that opens in August, and trips.

use analysis::detect::{Gate, InputSlot, InverterSlot, Kind, Morning, PlaneSlot, Slot};
use analysis::diagnose::{Cause, Finding, FindingId, Subject};
use analysis::expected::{InputExpected, WeatherRung};
use analysis::plant::Plant;
use analysis::reading::{
    Channel, ChannelId, Current, Energy, Irradiance, Place, Power, Quantity, Reading, Span, Speed,
    Temperature, Time, Value, Voltage,
};
use daemon::store::{EngineState, Keep, Layout, Step, Store};
use std::path::Path;
use tests::plant::START;

pub const INVERTERS: usize = 20;
pub const DAYS: i64 = 365;
pub const SLOT: Span = Span::from_min(5);
pub const SLOTS_PER_DAY: i64 = 288;
const OPEN_FROM_DAY: i64 = 270;
/// Everything older than this is hours when the report is made.
const KEEP: Keep = Keep {
    readings: Span::from_h(24 * 5),
    minutes: Span::from_h(24 * 40),
};

/// Fills a new store of such a plant: the year, and so many slots of the day after it.
pub fn fill(plant: &Plant, file: &Path, slots_after: i64) {
    let opened = Store::open(file, &Layout::of(plant)).expect("a store");
    let mut store = opened.store;
    let engine_state = EngineState {
        version: 1,
        bytes: vec![7; 20_000],
    };
    let findings = findings(plant);
    for day in 0..=DAYS {
        let at = |n: i64| START + SLOT * (day * SLOTS_PER_DAY + n);
        let count = if day < DAYS {
            SLOTS_PER_DAY
        } else {
            slots_after
        };
        if count == 0 {
            continue;
        }
        let slots: Vec<Slot> = (0..count).map(|n| slot(plant, day, n, at(n))).collect();
        let mut readings = Vec::new();
        for slot in &slots {
            readings.extend(published(plant, slot));
        }
        let mornings: Vec<_> = (0..INVERTERS).map(|i| (i, morning(day, at(70)))).collect();
        let step = Step {
            readings: &readings,
            slots: &slots,
            findings: if day == 0 { &findings } else { &[] },
            mornings: &mornings,
            ..Step::nothing(&engine_state)
        };
        store.commit(&step).expect("room on the disk");
        let now = at(count);
        while !store
            .thin(now, KEEP, 100_000)
            .expect("it thins")
            .is_nothing()
        {}
    }
}

/// Half a sine by day; clouds by a hash of the day and the slot.
fn light(day: i64, n: i64) -> f64 {
    let season = 0.8 + 0.2 * (std::f64::consts::TAU * day as f64 / 365.0).cos();
    let of_day = n as f64 / SLOTS_PER_DAY as f64;
    let sun = (1050.0 * season * (std::f64::consts::TAU * (of_day - 0.25)).sin()).max(0.0);
    let hash = |n: i64| (n.wrapping_mul(2_654_435_761) >> 7).rem_euclid(1000) as f64 / 1000.0;
    let cloudy = hash(day) > 0.6;
    sun * if cloudy {
        0.3 + 0.7 * hash(day * 300 + n)
    } else {
        1.0
    }
}

fn slot(plant: &Plant, day: i64, n: i64, start: Time) -> Slot {
    let light = light(day, n);
    let steady = (light - self::light(day, n - 1)).abs() < 0.06 * light.max(1.0) + 12.0;
    let gate = match light {
        ..100.0 => Gate::Dark,
        _ if steady => Gate::Valid,
        _ => Gate::Unsteady,
    };
    let amps = 2.0 * 13.0 * light / 1000.0;
    let volts = 610.0 - 0.06 * light;
    let input = |i: usize, k: usize| {
        let is_open = (i, k) == (6, 1) && day >= OPEN_FROM_DAY;
        // A few thousandths that differ by input, day and slot.
        let noise = ((n * 37 + day * 11 + 7 * i as i64 + 3 * k as i64) % 21 - 10) as f64 / 1000.0;
        let share = (if is_open { 0.5 } else { 1.0 }) * (1.0 + noise);
        InputSlot {
            voltage: Some(Voltage::from_v(if light > 5.0 {
                volts * (1.0 - noise / 4.0)
            } else {
                0.0
            })),
            current: Some(Current::from_a(amps * share)),
            expected: (light > 5.0).then(|| InputExpected {
                voltage: Voltage::from_v(volts),
                current: Current::from_a(amps),
                sigma_voltage: Voltage::from_v(6.0),
                sigma_current: Current::from_a(0.03 * amps),
                sigma_power: Power::from_w(0.03 * amps * volts),
            }),
            gate,
            limit: None,
        }
    };
    let inverter = |i: usize| {
        let inputs: Vec<InputSlot> = (0..2).map(|k| input(i, k)).collect();
        let sum = |of: fn(&InputSlot) -> Option<f64>| inputs.iter().filter_map(of).sum::<f64>();
        let dc = sum(|input| Some((input.voltage? * input.current?).w()));
        let expected = sum(|input| input.expected.map(|e| (e.voltage * e.current).w()));
        InverterSlot {
            ac_power: Some(Power::from_w(0.97 * dc)),
            expected_ac_power: Some(Power::from_w((0.97 * expected).min(25_000.0))),
            shade_ac_power: None,
            limit: None,
            producing: Some(light > 20.0),
            inputs,
        }
    };
    let plane = PlaneSlot {
        poa: Some((Irradiance::from_w_m2(light), WeatherRung::PlaneSensor)),
        cell: Some(Temperature::from_degc(20.0 + light / 40.0)),
    };
    Slot {
        start,
        span: SLOT,
        air: Some(Temperature::from_degc(20.0)),
        wind: Some(Speed::from_m_s(2.0)),
        planes: vec![plane; plant.planes.len()],
        inverters: (0..INVERTERS).map(inverter).collect(),
    }
}

/// AC power and the voltages of the phases, once in a slot.
fn published(plant: &Plant, slot: &Slot) -> Vec<Reading> {
    let mut readings = Vec::new();
    for (inverter, now) in plant.inverters.iter().zip(&slot.inverters) {
        let watts = now.ac_power.map_or(0.0, |p| p.w()).round();
        let volts = |phase: f64| ((236.0 + phase + watts / 4000.0) * 10.0).round() / 10.0;
        let values = [
            (Quantity::AcPower, watts),
            (Quantity::AcVoltageL1, volts(0.0)),
            (Quantity::AcVoltageL2, volts(0.4)),
            (Quantity::AcVoltageL3, volts(-0.6)),
        ];
        for (quantity, value) in values {
            let channel = Channel {
                device: inverter.id.clone(),
                place: Place::Device,
                quantity,
            };
            let channel: ChannelId = plant.channels.id(&channel).expect("the plant has it");
            readings.push(Reading {
                channel,
                at: slot.start + Span::from_s(7),
                value: Value::Good(value),
            });
        }
    }
    readings
}

fn morning(day: i64, at: Time) -> Morning {
    let is_wet = day % 9 == 0;
    Morning {
        at,
        log10_ohm: Some(if is_wet { 5.4 } else { 6.3 } - (day % 5) as f32 / 20.0),
        is_wet: Some(is_wet),
        temperature_degc: Some(12.0),
        is_low: false,
        lost_min: 0,
    }
}

fn findings(plant: &Plant) -> Vec<Finding> {
    let finding = |subject: Subject, kind: Kind, began: Time, ended: Option<Time>| Finding {
        id: FindingId::new(&subject, kind, began),
        subject,
        kind,
        severity: kind.severity(),
        began,
        found: began + Span::from_min(30),
        ended,
        confidence: 0.99,
        causes: vec![Cause {
            cause: "as made for the measurement".to_owned(),
            probability: 1.0,
        }],
        evidence: [("current_ratio".to_owned(), 0.5)].into(),
        lost: Energy::from_wh(0.0),
        summary: "Made for the measurement.".to_owned(),
        advice: vec!["Nothing.".to_owned()],
        caution: vec!["None.".to_owned()],
    };
    let day = |day: i64| START + Span::from_h(24 * day);
    let open = Subject::input(&plant.inverters[6].id, 2);
    let mut all = vec![finding(open, Kind::StringOpen, day(OPEN_FROM_DAY), None)];
    for n in 0..60 {
        let began = day(6 * n) + Span::from_h(11 + n % 4);
        let subject = Subject::device(&plant.inverters[(n % 20) as usize].id);
        let ended = Some(began + Span::from_min(9));
        all.push(finding(subject, Kind::GridTrip, began, ended));
    }
    all
}
