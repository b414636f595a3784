//! The supply of the synthetic plant: what its voltage does by itself, and what the export adds.
//!
//! Model:   V - V_base = swing cos(day) + neighbours sun(t) + steps of loads + R I
//!          Loads come and go: each phase has a level that changes every minute, every 4, 15 and 60
//!          minutes, all normal. Neighbours feed in with the same clouds, seen over some minutes.
//! Source:  own; sizes are engineering judgement for a low-voltage feeder.
//! Never in here: inverters.

use super::noise::normal;
use super::world::{What, World};
use super::{PHASES, START};
use analysis::reading::{Span, Time};

/// A supply.
#[derive(Debug, Clone, Copy)]
pub struct Network {
    /// What is added to the plant's voltage all day [V].
    pub higher_v: f64,
    /// Half of the daily swing [V] and the solar hour at which it is highest.
    pub swing: (f64, f64),
    /// What the feed-in of neighbours adds in full sun [V], and over how many minutes their clouds
    /// are spread.
    pub neighbours: (f64, i64),
    /// Standard deviation of each of the four levels of loads [V].
    pub loads_v: f64,
    /// Of each phase up to where the network is stiff [ohm].
    pub resistance_ohm: [f64; PHASES],
    /// Whether the inverters publish the current of each phase.
    pub publishes_current: bool,
}

impl Network {
    /// One that nothing moves.
    pub const STIFF: Self = Self {
        higher_v: 0.0,
        swing: (0.0, 0.0),
        neighbours: (0.0, 0),
        loads_v: 0.0,
        resistance_ohm: [0.0; PHASES],
        publishes_current: false,
    };

    /// The end of a feeder: swings by 6 V with the load of the evening, loads that come and go.
    pub const FEEDER: Self = Self {
        swing: (6.0, 3.0),
        loads_v: 0.25,
        ..Self::STIFF
    };

    /// What a phase shows more than its base voltage, with this current of the site [A].
    pub fn volts(&self, world: &World, at: Time, phase: usize, amps: f64) -> f64 {
        let hour = (at - START).hours();
        let turn = |highest: f64| ((hour - highest) / 24.0 * std::f64::consts::TAU).cos();
        let (swing_v, highest_h) = self.swing;
        let worse = world.now(at).map(|what| match what {
            What::JointWorse(which, ohm) if which == phase => ohm,
            _ => 0.0,
        });
        let ohm = self.resistance_ohm[phase] + worse.sum::<f64>();
        self.higher_v
            + swing_v * turn(highest_h)
            + self.neighbours.0 * turn(12.0).max(0.0) * self.spread_clearness(world, at)
            + self.loads(world.seed, at, phase)
            + ohm * amps
    }

    fn spread_clearness(&self, world: &World, at: Time) -> f64 {
        if self.neighbours.0 == 0.0 {
            return 0.0;
        }
        let half = self.neighbours.1 / 2;
        let times = (-half..=half).map(|min| at + Span::from_min(min));
        times.map(|t| world.clearness(t)).sum::<f64>() / (2 * half + 1) as f64
    }

    fn loads(&self, seed: u64, at: Time, phase: usize) -> f64 {
        if self.loads_v == 0.0 {
            return 0.0;
        }
        let level = |minutes: i64| {
            let block = at.slot_start(Span::from_min(minutes)).unix_ms() as u64;
            let what = (phase as u64 + 1) << 8 | minutes as u64;
            normal(seed.wrapping_add(what << 40), block)
        };
        self.loads_v * [1, 4, 15, 60].into_iter().map(level).sum::<f64>()
    }
}
