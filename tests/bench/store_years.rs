//! How fast the store is and how much room it needs: one inverter with three inputs and a mast,
//! polled every ten seconds, thinned as the daemon does it. Run by hand: `cargo run --release -p
//! noonmark-tests --example store_years [days]` (365 unless told). The readings are those of the
//! simulated plant in the steps in which devices publish them; making them is not part of the time.

use analysis::detect::{Gate, InputSlot, InverterSlot, PlaneSlot, Slot};
use analysis::expected::{InputExpected, WeatherRung};
use analysis::plant::Plant;
use analysis::reading::{
    ChannelId, Current, Irradiance, Power, Quantity, Reading, Span, Speed, Temperature, Time,
    Value, Voltage,
};
use daemon::store::{EngineState, Keep, Layout, Step, Store};
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tests::plant::{START, Twin, World, normal, plant, three_inputs};

const EVERY_S: i64 = 10;
/// What a commit holds in a long catch-up: as many polls as one step of the daemon takes at most.
const POLLS_PER_STEP: i64 = 256;
const KEEP: Keep = Keep {
    readings: Span::from_h(24 * 30),
    minutes: Span::from_h(24 * 3650),
};
/// As the daemon does it.
const READINGS_PER_THINNING: usize = 10_000;
/// Of the noise.
const SEED: u64 = 7;
const SLOT: Span = Span::from_min(5);
const DAY_MS: i64 = 86_400_000;

fn main() {
    let argument = std::env::args().nth(1);
    let days: i64 = argument.map_or(365, |days| days.parse().expect("a number of days"));
    let plant = Arc::new(plant(&three_inputs(Span::from_s(EVERY_S))));
    // Not in memory: on the disk that the working folder is on.
    let folder = tempfile::tempdir_in(".").expect("a folder");
    let path = folder.path().join("site.sqlite");
    let opened = Store::open(&path, &Layout::of(&plant)).expect("the store opens");
    let mut bench = Bench::new(plant, opened.store);
    let midnight = Time::from_unix_ms(START.unix_ms().div_euclid(DAY_MS) * DAY_MS);
    for day in 0..days {
        bench.fill(midnight + Span::from_h(24 * day));
        bench.thin(midnight + Span::from_h(24 * (day + 1)));
    }
    bench.print(&path, days);
    if days > 40 {
        bench.read(midnight + Span::from_h(24), "the second");
    }
    bench.read(midnight + Span::from_h(24 * (days - 1)), "the last");
}

struct Bench {
    plant: Arc<Plant>,
    twin: Twin,
    store: Store,
    /// Random numbers so far.
    drawn: u64,
    readings: usize,
    inserting: Duration,
    inserting_cpu_s: f64,
    thinned: usize,
    thinning: Duration,
    longest_step: Duration,
}

impl Bench {
    fn new(plant: Arc<Plant>, store: Store) -> Self {
        Self {
            twin: Twin::new(plant.clone(), World::fair()),
            plant,
            store,
            drawn: 0,
            readings: 0,
            inserting: Duration::ZERO,
            inserting_cpu_s: 0.0,
            thinned: 0,
            thinning: Duration::ZERO,
            longest_step: Duration::ZERO,
        }
    }

    fn fill(&mut self, midnight: Time) {
        let engine_state = EngineState {
            version: 1,
            bytes: vec![7; 20_000],
        };
        let polls: Vec<i64> = (0..86_400 / EVERY_S).collect();
        let slots: Vec<Slot> = (0..288).map(|n| self.slot(midnight + SLOT * n)).collect();
        let mut slots = slots.as_slice();
        for polls in polls.chunks(POLLS_PER_STEP as usize) {
            // A poll falls some milliseconds after its second.
            let at = |n: i64| midnight + Span::from_ms(1000 * EVERY_S * n + n * 7919 % 23);
            let mut readings: Vec<Reading> = Vec::new();
            for n in polls {
                readings.extend(self.published(at(*n)));
            }
            let step = Step {
                readings: &readings,
                slots: std::mem::take(&mut slots),
                ..Step::nothing(&engine_state)
            };
            let (before, cpu_before) = (Instant::now(), cpu_seconds());
            self.store.commit(&step).expect("room on the disk");
            self.inserting += before.elapsed();
            self.inserting_cpu_s += cpu_seconds() - cpu_before;
            self.readings += readings.len();
        }
    }

    /// A slot by day, filled everywhere; the nights' are smaller.
    fn slot(&mut self, start: Time) -> Slot {
        let mut number = |size: f64| {
            self.drawn += 1;
            size * (1.0 + 0.1 * normal(SEED, self.drawn))
        };
        let mut input = || InputSlot {
            voltage: Some(Voltage::from_v(number(600.0))),
            current: Some(Current::from_a(number(8.0))),
            expected: Some(InputExpected {
                voltage: Voltage::from_v(number(600.0)),
                current: Current::from_a(number(8.0)),
                sigma_voltage: Voltage::from_v(number(6.0)),
                sigma_current: Current::from_a(number(0.2)),
                sigma_power: Power::from_w(number(150.0)),
            }),
            gate: Gate::Valid,
            limit: None,
        };
        let inputs = vec![input(), input(), input()];
        let mut plane = || PlaneSlot {
            poa: Some((
                Irradiance::from_w_m2(number(800.0)),
                WeatherRung::PlaneSensor,
            )),
            cell: Some(Temperature::from_degc(number(45.0))),
        };
        Slot {
            start,
            span: SLOT,
            planes: vec![plane(), plane()],
            air: Some(Temperature::from_degc(number(24.0))),
            wind: Some(Speed::from_m_s(number(3.0))),
            inverters: vec![InverterSlot {
                ac_power: Some(Power::from_w(number(9500.0))),
                expected_ac_power: Some(Power::from_w(number(9500.0))),
                shade_ac_power: None,
                limit: None,
                producing: Some(true),
                inputs,
            }],
        }
    }

    /// In the steps in which devices publish.
    fn published(&mut self, at: Time) -> Vec<Reading> {
        let mut readings = self.twin.poll(at);
        let drawn = &mut self.drawn;
        for reading in &mut readings {
            let quantity = self.plant.channels.channel(reading.channel).quantity;
            if let Value::Good(value) = &mut reading.value {
                *drawn += 1;
                *value *= 1.0 + noise_ratio(quantity) * normal(SEED, *drawn);
                let per_unit = steps_per_unit(quantity);
                *value = (*value * per_unit).round() / per_unit;
            }
        }
        readings
    }

    fn thin(&mut self, now: Time) {
        loop {
            let before = Instant::now();
            let done = self.store.thin(now, KEEP, READINGS_PER_THINNING);
            let done = done.expect("room on the disk");
            let took = before.elapsed();
            self.thinning += took;
            self.longest_step = self.longest_step.max(took);
            self.thinned += done.readings;
            if done.is_nothing() {
                return;
            }
        }
    }

    fn print(&self, path: &Path, days: i64) {
        let rate = |n: usize, time: Duration| n as f64 / time.as_secs_f64();
        let (channels, readings) = (self.plant.channels.len(), self.readings);
        println!("{days} days, {channels} channels in the plant, {readings} readings");
        let on_core = readings as f64 / self.inserting_cpu_s;
        let insert = rate(readings, self.inserting);
        println!("insert: {insert:.0} values/s, {on_core:.0} per second of a core");
        let thinned = rate(self.thinned, self.thinning);
        let longest_ms = self.longest_step.as_secs_f64() * 1e3;
        println!("thin: {thinned:.0} readings/s, longest step {longest_ms:.0} ms");
        let file = std::fs::metadata(path).expect("it is there").len();
        println!("file: {:.1} MB", file as f64 / 1e6);
        for size in self.store.sizes().expect("reads") {
            let per_value = size.bytes as f64 / size.values.max(1) as f64;
            println!(
                "{}: {:.2} MB, {} values, {per_value:.2} bytes/value",
                size.table,
                size.bytes as f64 / 1e6,
                size.values
            );
        }
    }

    fn read(&self, day: Time, which: &str) {
        const TIMES: u32 = 20;
        let channels: Vec<ChannelId> = self.plant.channels.iter().map(|(id, _)| id).collect();
        let mut slowest = Duration::ZERO;
        let (mut all, mut cells) = (Duration::ZERO, 0);
        for _ in 0..TIMES {
            let before = Instant::now();
            cells = 0;
            for channel in &channels {
                let day = self.store.minutes(*channel, day, day + Span::from_h(24));
                cells += day.expect("reads").len();
            }
            all += before.elapsed();
            slowest = slowest.max(before.elapsed());
        }
        let ms = |time: Duration| time.as_secs_f64() * 1e3;
        let mean = ms(all) / f64::from(TIMES);
        println!(
            "{which} day, {cells} minutes of {} channels: {mean:.1} ms, slowest {:.1} ms",
            channels.len(),
            ms(slowest)
        );
    }
}

/// What meters and small clouds add from poll to poll, of the value (judgement).
fn noise_ratio(quantity: Quantity) -> f64 {
    match quantity {
        Quantity::State | Quantity::EventBits | Quantity::EnergyTotal => 0.0,
        Quantity::Frequency => 2e-4,
        Quantity::IsolationResistance | Quantity::PowerLimit => 0.0,
        quantity if quantity.name().ends_with("_v") => 2e-3,
        quantity if quantity.name().ends_with("_degc") => 2e-3,
        _ => 1e-2,
    }
}

/// Steps in which devices of this kind publish (common practice).
fn steps_per_unit(quantity: Quantity) -> f64 {
    let name = quantity.name();
    let is = |unit: &str| name.ends_with(unit);
    if is("_w") || is("_var") || is("_wh") || is("_w_m2") || is("_s") {
        1.0
    } else if is("_ohm") {
        1e-3
    } else if is("_v") || is("_degc") || is("_m_s") {
        10.0
    } else if is("_a") || is("_hz") || is("_ratio") {
        100.0
    } else {
        1000.0
    }
}

/// Time on a core so far: on Linux; elsewhere zero.
fn cpu_seconds() -> f64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let on_core_ns = text.split(' ').next().and_then(|ns| ns.parse::<f64>().ok());
    on_core_ns.unwrap_or(0.0) / 1e9
}
