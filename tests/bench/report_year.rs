//! Times the report of a year of twenty inverters with two inputs each, and says how much memory the
//! process that writes it takes at most. The store is made first, by another process.
//!
//!     cargo run --release -p noonmark-tests --example report_year [FOLDER]
//!
//! In FOLDER (a temporary one unless told) stay the store and the report; a store that is there is
//! used again. The values are not those of a plant: they only have its shape, its nights and its
//! clouds, a string that opens in August, and trips.

use analysis::detect::{Gate, InputSlot, InverterSlot, Kind, Morning, PlaneSlot, Slot};
use analysis::diagnose::{Cause, Finding, FindingId, Subject};
use analysis::expected::{InputExpected, WeatherRung};
use analysis::plant::Plant;
use analysis::reading::{
    Channel, ChannelId, Current, Energy, Irradiance, Place, Power, Quantity, Reading, Span, Speed,
    Temperature, Time, Value, Voltage,
};
use chrono::NaiveDate;
use daemon::report::{About, Days, write_period};
use daemon::store::{EngineState, Keep, Layout, Step, Store};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;
use tests::plant::{NORTH, START, Shape, Strings, plant};

const INVERTERS: usize = 20;
const DAYS: i64 = 365;
const SLOT: Span = Span::from_min(5);
const SLOTS_PER_DAY: i64 = 288;
const OPEN_FROM_DAY: i64 = 270;
/// Everything older than this is hours when the report is made.
const KEEP: Keep = Keep {
    readings: Span::from_h(24 * 5),
    minutes: Span::from_h(24 * 40),
};

fn main() {
    let mut arguments = std::env::args().skip(1);
    let first = arguments.next();
    if first.as_deref() == Some("--only-report") {
        report(&PathBuf::from(arguments.next().expect("a folder")));
        return;
    }
    let temporary = tempfile::tempdir().expect("a folder");
    let folder = first.map_or(temporary.path().to_owned(), PathBuf::from);
    std::fs::create_dir_all(&folder).expect("a folder");
    if !store_file(&folder).exists() {
        let begun = Instant::now();
        fill(&folder);
        println!("the store: {:.0} s", begun.elapsed().as_secs_f64());
    }
    let size = std::fs::metadata(store_file(&folder)).expect("it is there");
    println!("the store: {:.0} MB", size.len() as f64 / 1e6);
    let program = std::env::current_exe().expect("a program knows its own file");
    let mut command = Command::new(program);
    let status = command.arg("--only-report").arg(&folder).status();
    assert!(status.expect("it starts").success());
}

fn store_file(folder: &Path) -> PathBuf {
    folder.join("noonmark.sqlite")
}

fn shape() -> Shape {
    let strings = Strings {
        parallel: 2,
        modules: 16,
        plane: NORTH,
    };
    Shape {
        inverters: vec![(25_000.0, vec![strings; 2]); INVERTERS],
        sensor: Some(NORTH),
        every: SLOT,
    }
}

fn report(folder: &Path) {
    let plant = plant(&shape());
    let begun = Instant::now();
    let store = Store::open_to_read(&store_file(folder), &Layout::of(&plant)).expect("a store");
    let date = |y, m, d| NaiveDate::from_ymd_opt(y, m, d).expect("a date");
    let days = Days {
        from: date(2026, 11, 10),
        to: date(2027, 11, 9),
    };
    let about = About {
        plant: &plant,
        timezone: chrono_tz::Australia::Brisbane,
    };
    let out = folder.join("report");
    let files = write_period(&out, about, &store, days, &mut |_, _| {}).expect("a report");
    let (seconds, of_a_core) = (begun.elapsed().as_secs_f64(), cpu_seconds());
    println!("the report: {seconds:.2} s, {of_a_core:.2} s of a core");
    for file in files {
        let size = std::fs::metadata(&file).expect("it is there").len();
        println!("  {} {:.1} MB", file.display(), size as f64 / 1e6);
    }
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find(|line| line.starts_with("VmHWM"));
    println!("{}", peak.unwrap_or("memory is not told here"));
}

/// What all threads have had of a core, in the hundredths that the system counts; other work on the
/// machine does not count.
fn cpu_seconds() -> f64 {
    const TICKS_PER_S: f64 = 100.0;
    let text = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    // After the name in brackets: state is field 3, user and system time are 14 and 15.
    let fields = text
        .rsplit(')')
        .next()
        .unwrap_or_default()
        .split_whitespace();
    let ticks = fields
        .skip(11)
        .take(2)
        .filter_map(|n| n.parse::<f64>().ok());
    ticks.sum::<f64>() / TICKS_PER_S
}

fn fill(folder: &Path) {
    let plant = plant(&shape());
    let opened = Store::open(&store_file(folder), &Layout::of(&plant)).expect("a store");
    let mut store = opened.store;
    let engine_state = EngineState {
        version: 1,
        bytes: vec![7; 20_000],
    };
    let findings = findings(&plant);
    for day in 0..DAYS {
        let at = |n: i64| START + SLOT * (day * SLOTS_PER_DAY + n);
        let slots: Vec<Slot> = (0..SLOTS_PER_DAY).map(|n| slot(day, n, at(n))).collect();
        let mut readings = Vec::new();
        for slot in &slots {
            readings.extend(published(&plant, slot));
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
        let now = at(SLOTS_PER_DAY);
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

fn slot(day: i64, n: i64, start: Time) -> Slot {
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
        planes: vec![plane; 2],
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
