//! What a clear sky offers over one day, in parts: what a clock is compared with.
//!
//! Model:   DNI (east, north, up) and DHI for a plane; GHI alone for a horizontal sensor.
//! Symbols: [W/m2]; a plane's normal points (east, north, up).
//! Source:  `sky`.
//! Check:   tests/acceptance/engine/measuring.rs.

use super::Ladder;
use crate::reading::{Span, Time};

impl Ladder {
    /// Parts of the light of every slot of a day, the first in the middle at `start`: east, north, up
    /// and diffuse for a plane, global and nothing else on the ground.
    pub fn clear_course(&mut self, in_plane: bool, start: Time, step: Span) -> Vec<[f64; 4]> {
        let slots = Span::from_h(24).ms() / step.ms();
        (0..slots)
            .map(|k| self.clear_parts(in_plane, start + step * k))
            .collect()
    }

    fn clear_parts(&mut self, in_plane: bool, at: Time) -> [f64; 4] {
        let (sunlight, clear) = self.clear_at(at);
        if !in_plane {
            return [clear.ghi.w_m2(), 0.0, 0.0, 0.0];
        }
        let (sun, dni) = (&sunlight.direction, clear.dni.w_m2());
        [
            dni * sun.east,
            dni * sun.north,
            dni * sun.up,
            clear.dhi.w_m2(),
        ]
    }

    /// Where a plane looks, as far as is known.
    pub fn normal(&self, p: usize) -> [f64; 3] {
        let plane = self.plane_facts(p);
        let (tilt, azimuth) = (plane.tilt.rad(), plane.azimuth.rad());
        [
            tilt.sin() * azimuth.sin(),
            tilt.sin() * azimuth.cos(),
            tilt.cos(),
        ]
    }
}
