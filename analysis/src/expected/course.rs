//! What a clear sky offers to a receiver over one day, in parts: what a clock is compared with.
//!
//! Model:   DNI K(c) (east, north, up) and DHI for a plane, c its cosine of incidence, K the incidence
//!          modifier, nothing from behind the plane; GHI alone for a horizontal sensor.
//! Symbols: [W/m2].
//! Source:  `sky`.
//! Check:   tests/acceptance/engine/measuring.rs.

use super::Ladder;
use crate::reading::{Span, Time};
use crate::sky;

impl Ladder {
    /// Parts of the light of every slot of a day, the first in the middle at `start`; `p`: in a plane,
    /// else on the ground. The parts of a plane are east, north, up and diffuse.
    pub fn clear_course(&mut self, p: Option<usize>, start: Time, step: Span) -> Vec<[f64; 4]> {
        let slots = Span::from_h(24).ms() / step.ms();
        (0..slots)
            .map(|k| self.clear_parts(p, start + step * k))
            .collect()
    }

    fn clear_parts(&mut self, p: Option<usize>, at: Time) -> [f64; 4] {
        let (sunlight, clear) = self.clear_at(at);
        let Some(p) = p else {
            return [clear.ghi.w_m2(), 0.0, 0.0, 0.0];
        };
        let cos = self.facing(p).cos_incidence(&sunlight.direction);
        let beam = if cos > 0.0 {
            clear.dni.w_m2() * sky::incidence_modifier_at(cos)
        } else {
            0.0
        };
        let sun = &sunlight.direction;
        // What lies low lights the sky, but no plane from below.
        [
            beam * sun.east,
            beam * sun.north,
            beam * sun.up,
            clear.dhi.w_m2(),
        ]
    }
}
