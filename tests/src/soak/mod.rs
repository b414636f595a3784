//! The whole system for a long time: two daemons read the same plant of twenty inverters over real sockets,
//! on a clock that runs faster. One is left alone; round the other everything goes wrong at random.
//! Both must find the same, once, and tell it.

mod devices;
mod judge;
mod plan;
mod report;
mod round;
mod site;
mod watched;

use crate::plant::{Event, Twin, World};
use analysis::reading::{Span, Time};
use daemon::clock::Clock;
use devices::{Devices, Lines, Plays};
pub use judge::{Growth, Judgement};
pub use plan::{Act, Fault, Plan};
pub use report::Report;
use round::{Mailed, Round};
use site::Around;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::runtime::Runtime;
use watched::Watched;

/// From one look at the clock to the next.
const PAUSE: Duration = Duration::from_millis(5);
/// From one look at the processes to the next.
const LOOK: Duration = Duration::from_millis(500);
/// How often somebody visits the pages, by the site's clock.
const VISIT: Span = Span::from_h(6);

/// How long, how fast and what.
#[derive(Debug, Clone, Copy)]
pub struct Settings {
    /// Days of the site.
    pub days: i64,
    /// Site seconds per second.
    pub rate: f64,
    /// From one poll to the next, by the site's clock [s].
    pub every_s: u32,
    /// Of everything that is drawn.
    pub seed: u64,
    /// Whether each day is said.
    pub says: bool,
}

/// Runs it in a folder, and judges.
pub fn run(settings: Settings, folder: &Path) -> Report {
    let runtime = Runtime::new().expect("threads");
    let _inside = runtime.enter();
    let begun = Instant::now();
    let plan = Plan::new(settings.seed, settings.days);
    let alone_at = runtime.block_on(Devices::serve());
    let other_at = runtime.block_on(Devices::serve());
    let lines = runtime.block_on(Lines::before(&other_at));
    let (alone_round, mut round) = (Mailed::start(), Round::start());
    let text = |devices: Vec<String>, mail: String, broker: String| {
        let around = Around {
            devices,
            mail,
            broker,
        };
        site::text(&around, settings.every_s)
    };
    // The broker has room for both, each with a prefix of its own.
    let alone_text = text(
        alone_at.addresses.clone(),
        alone_round.address(),
        round.broker.address(),
    )
    .replace("noonmark/soak", "noonmark/alone");
    let other_text = text(
        lines.addresses(),
        round.mails.address(),
        round.broker.address(),
    );

    let plant = config::parse("site.toml", &other_text, folder);
    let plant = Arc::new(
        plant
            .unwrap_or_else(|errors| panic!("{}", errors.render(false)))
            .plant,
    );
    let twin = Twin::new(plant.clone(), world(&plan, settings.seed));
    let clock = Clock::rehearsal(plan.period.from, settings.rate);
    let step = Span::from_s(i64::from(settings.every_s));
    let plays = Plays::start(twin, plant, clock, step, vec![alone_at, other_at.clone()]);

    let start = |name, text| Watched::start(&folder.join(name), text, clock, settings.rate);
    let mut alone = start("alone", &alone_text);
    let mut other = start("other", &other_text);
    let mut soak = Soak {
        settings,
        clock,
        plan: &plan,
        visited: plan.period.from,
        looked: Instant::now(),
        alone: &mut alone,
        other: &mut other,
    };
    for (due, act) in &plan.acts {
        soak.wait_until(*due);
        round.act(*act, soak.other, &other_text, &lines, &other_at);
    }
    soak.wait_until(plan.period.to);
    let mut judgement = Judgement::default();
    for daemon in [&alone, &other] {
        daemon.wait_until_past(plan.period.to - Span::from_h(1));
        let left = daemon.wait_until_all_has_left().into_iter();
        judgement
            .wrong
            .extend(left.map(|left| format!("it has not left: {left}")));
    }
    round.judge_announced(&other, clock, &mut judgement);
    for daemon in [&mut alone, &mut other] {
        daemon.look(plan.period.from);
        daemon.terminate();
    }
    plays.end();
    let mails = [alone_round.all(), round.mails.all()];
    for (which, daemon) in [&alone, &other].into_iter().enumerate() {
        judgement.mails(which, daemon, &mails[which]);
        judgement.store(which, daemon);
        judgement.process(["the daemon alone", "the other daemon"][which], daemon);
    }
    judgement.findings(&plan, &alone, &other);
    Report::new(
        settings,
        &plan,
        judgement,
        [&alone, &other],
        begun.elapsed(),
    )
}

/// Sun, clouds and the faults of the plan.
fn world(plan: &Plan, seed: u64) -> World {
    let mut world = World::fair();
    world.seed = seed;
    let event = |fault: &Fault| Event {
        period: fault.period,
        what: fault.what,
    };
    world.events.extend(plan.faults.iter().map(event));
    world
}

/// The run itself.
struct Soak<'a> {
    settings: Settings,
    clock: Clock,
    plan: &'a Plan,
    visited: Time,
    looked: Instant,
    alone: &'a mut Watched,
    other: &'a mut Watched,
}

impl Soak<'_> {
    /// Looks at both daemons until it is so late.
    fn wait_until(&mut self, due: Time) {
        while self.clock.now() < due {
            std::thread::sleep(PAUSE);
            if self.looked.elapsed() >= LOOK {
                self.looked = Instant::now();
                self.alone.look(self.plan.period.from);
                self.other.look(self.plan.period.from);
            }
            if self.clock.now() - self.visited >= VISIT {
                self.visit();
            }
        }
    }

    fn visit(&mut self) {
        let days = |at: Time| ((at - self.plan.period.from).hours() / 24.0) as i64;
        let now = self.clock.now();
        if self.settings.says && days(now) > days(self.visited) {
            let memory = |w: &Watched| w.samples.last().map_or(0.0, |s| s.memory_mb);
            eprintln!(
                "day {} of {}: {:.0} and {:.0} MB, {} processes",
                days(now),
                self.settings.days,
                memory(self.alone),
                memory(self.other),
                self.other.processes
            );
        }
        self.visited = now;
        self.alone.visit();
        self.other.visit();
    }
}
