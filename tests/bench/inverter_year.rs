//! How fast the engine is and how much it needs: one inverter with three inputs, one year of
//! one-minute readings. Run by hand: `cargo run --release -p noonmark-tests --example inverter_year`.
//! The synthetic readings are made first and are not part of the time.

use analysis::engine::{Engine, Input};
use analysis::reading::{Reading, Span};
use std::sync::Arc;
use std::time::Instant;
use tests::plant::{NORTH, START, Shape, Strings, Twin, WEST, World, plant};

const DAYS: i64 = 365;

fn main() {
    let strings = |parallel, plane| Strings {
        parallel,
        modules: 16,
        plane,
    };
    let plant = Arc::new(plant(&Shape {
        inverters: vec![(
            25_000.0,
            vec![strings(2, NORTH), strings(2, NORTH), strings(1, WEST)],
        )],
        sensor: Some(NORTH),
        every: Span::from_min(1),
    }));
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
    report.print(&engine);
}

#[derive(Default)]
struct Report {
    seconds: f64,
    readings: usize,
    slots: usize,
    findings: usize,
    largest_state_bytes: usize,
}

impl Report {
    fn take(&mut self, engine: &mut Engine, polls: &[Vec<Reading>]) {
        let before = Instant::now();
        for poll in polls {
            for reading in poll {
                engine.step(Input::Reading(*reading));
            }
            let told = engine.step(Input::Tick(poll[0].at));
            self.slots += told.slots.len();
            self.findings += told.findings.len();
        }
        self.seconds += before.elapsed().as_secs_f64();
        self.readings += polls.iter().map(Vec::len).sum::<usize>();
        let state = postcard::to_stdvec(engine.state()).expect("plain data encodes");
        self.largest_state_bytes = self.largest_state_bytes.max(state.len());
    }

    fn print(&self, engine: &Engine) {
        println!(
            "{} readings, {} slots, {} findings told",
            self.readings, self.slots, self.findings
        );
        println!("engine: {:.2} s", self.seconds);
        println!(
            "state: at most {} bytes at midnight",
            self.largest_state_bytes
        );
        println!("standing: {}", engine.standing().count());
        // Linux only; elsewhere the line is missing.
        let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
        for line in status.lines().filter(|line| line.starts_with("VmHWM")) {
            println!("process, readings of one day included: {line}");
        }
    }
}
