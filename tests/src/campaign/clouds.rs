//! Clouds that pass over the sun, to the second.
//!
//! Model:   each day clear, broken or overcast, a Markov chain. On a broken day the sun is covered and
//!          free in turn (two states); lengths of clouds and gaps on the ground follow a power law,
//!          p(L) ~ L^-1.66 from 400 m to 30 km, and pass with the wind of the day; an edge takes the
//!          time that the wind needs for 60 to 300 m. Under a cloud the global light is a share of the
//!          clear sky's that is drawn per cloud and flickers; beside an edge the diffuse light is up
//!          to 12 % of the clear sky's global light stronger.
//! Symbols: t time since local solar midnight [s], L [m], shares [-]
//! Range:   any time; every day by its own stream of the seed.
//! Source:  lengths: Wood and Field, J. Climate 24 (2011), exponent from memory. Ramps: 221 combiner
//!          currents of a 20 MW plant at 10 s, three hours of fast clouds (anonymous, BSD-3-Clause,
//!          repository jranalli/solarspatialtools), see the check.
//! Check:   tests/campaign/light.rs: changes in 10 s and 50 s beside those of the three hours.

use super::draw::Draw;
use super::sky::Ground;
use crate::plant::uniform;

/// What kind of sky a day has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Regime {
    /// No cloud that matters.
    Clear,
    /// Clouds and gaps.
    Broken,
    /// One cloud, thinner and thicker.
    Overcast,
}

#[derive(Debug, Clone, Copy)]
struct Cloud {
    from_s: f64,
    to_s: f64,
    clearness: f64,
}

/// One day.
#[derive(Debug, Clone)]
struct Day {
    number: i64,
    regime: Regime,
    cover: f64,
    edge_s: f64,
    clouds: Vec<Cloud>,
    veil: f64,
    rain_mm: f64,
}

/// The clouds over a site.
#[derive(Debug, Clone)]
pub struct Clouds {
    seed: u64,
    /// Weights of clear, broken, overcast days.
    weights: [f64; 3],
    day: Day,
}

impl Clouds {
    /// Clouds of a seed, with the climate's weights of clear, broken and overcast days.
    pub fn new(seed: u64, weights: [f64; 3]) -> Self {
        let mut clouds = Self {
            seed,
            weights,
            day: Day {
                number: i64::MIN,
                regime: Regime::Clear,
                cover: 0.0,
                edge_s: 10.0,
                clouds: Vec::new(),
                veil: 0.0,
                rain_mm: 0.0,
            },
        };
        clouds.turn_to(0);
        clouds
    }

    /// The sky of a day, counted from any day.
    pub fn regime(&self, day: i64) -> Regime {
        /// Chance that a day is as the one before.
        const PERSISTS: f64 = 0.4;
        /// After so many days without a change the chain has forgotten.
        const FORGETS: i64 = 12;
        let draw = |day: i64, what: u64| uniform(self.seed ^ what, day as u64);
        let same = (0..FORGETS).take_while(|n| draw(day - n, 0xC1) < PERSISTS);
        let source = day - same.count() as i64;
        let total: f64 = self.weights.iter().sum();
        let mut left = draw(source, 0xC2) * total;
        for (regime, weight) in [Regime::Clear, Regime::Broken]
            .into_iter()
            .zip(self.weights)
        {
            if left < weight {
                return regime;
            }
            left -= weight;
        }
        Regime::Overcast
    }

    /// Rain of a day [mm].
    pub fn rain_mm(&mut self, day: i64) -> f64 {
        self.turn_to(day);
        self.day.rain_mm
    }

    fn turn_to(&mut self, number: i64) {
        if self.day.number == number {
            return;
        }
        let regime = self.regime(number);
        let mut draw = Draw::new(self.seed ^ 0xC10D, number as u64);
        let (rains, cover) = match regime {
            Regime::Clear => (0.0, 0.0),
            Regime::Broken => (0.1, draw.between(0.15, 0.8)),
            Regime::Overcast => (0.45, 1.0),
        };
        let rain_mm = if draw.chance(rains) {
            -8.0 * (1.0 - draw.uniform()).ln()
        } else {
            0.0
        };
        let wind_m_s = draw.log_between(4.0, 16.0);
        let edge_s = draw.log_between(60.0, 300.0) / wind_m_s;
        let clouds = match regime {
            Regime::Clear => Vec::new(),
            Regime::Broken => broken(&mut draw, cover, wind_m_s),
            Regime::Overcast => overcast(&mut draw),
        };
        self.day = Day {
            number,
            regime,
            cover,
            edge_s,
            clouds,
            veil: draw.between(0.0, 0.06),
            rain_mm,
        };
    }

    /// Light on the ground on a day at a time since its solar midnight, from that under a clear sky,
    /// with the sun this high (sine of the elevation).
    pub fn under(&mut self, day: i64, t_s: f64, clear: &Ground, up: f64) -> Ground {
        /// Light beside an edge over the clear sky's, and how far from it [s].
        const EDGE_GLOW: f64 = 0.12;
        const GLOW_S: f64 = 60.0;
        self.turn_to(day);
        let of = &self.day;
        let slow = wave(self.seed ^ 0x51, day, t_s, 1800.0);
        let veil = 1.0 - of.veil * slow;
        let (covered, clearness, edge_away_s) = of.sun_covered(t_s);
        let flicker = 1.0
            + 0.12 * (wave(self.seed ^ 0x52, day, t_s, 25.0) - 0.5)
            + 0.5 * (wave(self.seed ^ 0x53, day, t_s, 900.0) - 0.5);
        let clearness = (clearness * flicker).clamp(0.03, 0.95);
        // A thin cloud lets some of the beam through.
        let thin = (clearness - 0.45).max(0.0);
        let dni_share = (1.0 - covered) * veil + covered * thin;
        let glow = EDGE_GLOW * of.cover * (1.0 - edge_away_s / GLOW_S).max(0.0);
        let between = clear.dhi * (1.0 + 0.5 * of.cover + 2.0 * (1.0 - veil)) + glow * clear.ghi;
        let below = (clearness * clear.ghi - thin * clear.dni * up).max(0.02 * clear.ghi);
        let dhi = between * (1.0 - covered) + below * covered;
        let dni = clear.dni * dni_share;
        Ground {
            ghi: dni * up + dhi,
            dni,
            dhi,
        }
    }
}

impl Day {
    /// Share of the sun that is covered, the clearness of the cloud, and seconds to the next edge.
    fn sun_covered(&self, t_s: f64) -> (f64, f64, f64) {
        if self.regime == Regime::Overcast {
            let cloud = self.clouds.iter().find(|c| t_s < c.to_s);
            return (1.0, cloud.map_or(0.3, |c| c.clearness), f64::INFINITY);
        }
        let after = self.clouds.partition_point(|c| c.to_s + self.edge_s < t_s);
        let near = &self.clouds[after.saturating_sub(1)..(after + 2).min(self.clouds.len())];
        let (mut covered, mut clearness, mut away) = (0.0_f64, 1.0, f64::INFINITY);
        for cloud in near {
            // Half way at its edges; an edge is as wide as `edge_s`.
            let inside = (t_s - cloud.from_s).min(cloud.to_s - t_s);
            let share = (0.5 + inside / self.edge_s).clamp(0.0, 1.0);
            let share = share * share * (3.0 - 2.0 * share);
            if share > covered {
                covered = share;
                clearness = cloud.clearness;
            }
            away = away.min(inside.abs());
        }
        (covered, clearness, away)
    }
}

/// Clouds and gaps in turn, the whole day.
fn broken(draw: &mut Draw, cover: f64, wind_m_s: f64) -> Vec<Cloud> {
    /// More clouds than this in a day do not come.
    const MOST: usize = 6000;
    let mut clouds = Vec::new();
    let mut t_s = 0.0;
    while t_s < 86_400.0 && clouds.len() < MOST {
        let gap = chord_m(draw) / wind_m_s * (2.0 * (1.0 - cover));
        let length = chord_m(draw) / wind_m_s * (2.0 * cover);
        let from_s = t_s + gap.max(2.0);
        t_s = from_s + length.max(2.0);
        clouds.push(Cloud {
            from_s,
            to_s: t_s,
            clearness: draw.between(0.35, 0.85),
        });
    }
    clouds
}

/// One cloud after the other, each half an hour to three hours.
fn overcast(draw: &mut Draw) -> Vec<Cloud> {
    let base = draw.between(0.12, 0.5);
    let mut clouds = Vec::new();
    let mut from_s = 0.0;
    while from_s < 86_400.0 {
        let to_s = from_s + draw.between(1800.0, 10_800.0);
        clouds.push(Cloud {
            from_s,
            to_s,
            clearness: (base * draw.between(0.7, 1.3)).min(0.6),
        });
        from_s = to_s;
    }
    clouds
}

/// A length from the power law, by its inverse.
fn chord_m(draw: &mut Draw) -> f64 {
    const SHORTEST_M: f64 = 400.0;
    const LONGEST_M: f64 = 30_000.0;
    const POWER: f64 = 1.0 - 1.66;
    let (low, high) = (SHORTEST_M.powf(POWER), LONGEST_M.powf(POWER));
    (low + (high - low) * draw.uniform()).powf(1.0 / POWER)
}

/// Straight between even numbers at whole steps, 0 to 1.
fn wave(seed: u64, day: i64, t_s: f64, step_s: f64) -> f64 {
    let at = t_s / step_s;
    let (before, share) = (at.floor(), at - at.floor());
    let node = |n: f64| uniform(seed ^ (day as u64).rotate_left(24), (n + 1e6) as u64);
    node(before) * (1.0 - share) + node(before + 1.0) * share
}
