//! How fast the engine is and how much it needs: one inverter with three inputs, one year of
//! one-minute readings. Run by hand: `cargo run --release -p noonmark-tests --example
//! inverter_year`. The synthetic readings are made first and are not part of the time.

use analysis::diagnose::Finding;
use analysis::engine::{Engine, Input};
use analysis::reading::{Reading, Span};
use std::sync::Arc;
use std::time::Instant;
use tests::plant::{START, Twin, World, plant, three_inputs};

const DAYS: i64 = 365;

fn main() {
    let plant = Arc::new(plant(&three_inputs(Span::from_min(1))));
    let mut engine = Engine::new(plant.clone()).expect("the plant can be modelled");
    let twin = Twin::new(plant, World::fair());
    let mut report = Report::default();
    // Day by day, so that a year of readings does not hide what the engine itself needs.
    for day in 0..DAYS {
        let midnight = START + Span::from_h(24 * day);
        let polls: Vec<_> = (0..1440)
            .map(|n| twin.poll(midnight + Span::from_min(n)))
            .collect();
        report.take(&mut engine, &polls);
    }
    report.print();
}

#[derive(Default)]
struct Report {
    seconds: f64,
    cpu_seconds: f64,
    readings: usize,
    slots: usize,
    told: Vec<String>,
    largest_state_bytes: usize,
}

impl Report {
    fn take(&mut self, engine: &mut Engine, polls: &[Vec<Reading>]) {
        let (before, cpu_before) = (Instant::now(), cpu_seconds());
        for poll in polls {
            for reading in poll {
                engine.step(Input::Reading(*reading));
            }
            let told = engine.step(Input::Tick(poll[0].at));
            self.slots += told.slots.len();
            let line = |f: &Finding| format!("{} found {:?} ended {:?}", f.id, f.found, f.ended);
            self.told.extend(told.findings.iter().map(line));
        }
        self.seconds += before.elapsed().as_secs_f64();
        self.cpu_seconds += cpu_seconds() - cpu_before;
        self.readings += polls.iter().map(Vec::len).sum::<usize>();
        let state = postcard::to_stdvec(engine.state()).expect("plain data encodes");
        self.largest_state_bytes = self.largest_state_bytes.max(state.len());
    }

    fn print(&self) {
        println!("{} readings, {} slots", self.readings, self.slots);
        println!(
            "engine: {:.2} s, of a core {:.2} s",
            self.seconds, self.cpu_seconds
        );
        println!(
            "state: at most {} bytes at midnight",
            self.largest_state_bytes
        );
        println!("findings of a plant without a fault: {:#?}", self.told);
        // Linux only; elsewhere the line is missing.
        let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
        for line in status.lines().filter(|line| line.starts_with("VmHWM")) {
            println!("process, readings of one day included: {line}");
        }
    }
}

/// Time on a core so far: on Linux; elsewhere zero.
fn cpu_seconds() -> f64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let on_core_ns = text.split(' ').next().and_then(|ns| ns.parse::<f64>().ok());
    on_core_ns.unwrap_or(0.0) / 1e9
}
