//! What an inverter makes of a clear sky's light on the mean, for times at which nothing shows the light.
//!
//! Model:   q_d = measured over clear-sky energy of a day d's slots at work; the clear-sky power is
//!          min(P_rated, sum_i P_i G_clear,i / 1000).  q = the mean of the last days; on a day of which
//!          h hours were seen  q = (h q_d + H mean) / (h + H): the sky of a day persists.
//!          Its standard deviation is the scatter of the days, times sqrt(H / (h + H)).
//! Symbols: P_i rated power of an input [W], G_clear,i clear-sky irradiance of its plane [W/m2], q [-].
//! Range:   three days or more.
//! Source:  own; persistence over H = 2 h, and fourteen days, are engineering judgement.
//! Check:   tests below; the energy of standstills of plants without a sensor in the campaign.

use crate::reading::{Energy, Power, SolarDay, Span};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Days that are kept, and that must be there.
const KEPT: usize = 14;
const LEAST: usize = 3;
/// Hours at work that a day must have to count, and those that weigh as much as all days before [h].
const LEAST_H: f64 = 2.0;
const PERSISTS_H: f64 = 2.0;

/// The share of a clear sky that an inverter usually makes.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct TypicalShare {
    days: VecDeque<f32>,
    today: Option<(SolarDay, Seen)>,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Seen {
    measured_wh: f64,
    clear_wh: f64,
    hours: f64,
}

/// What it would probably have made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TypicalEnergy {
    /// On the AC side.
    pub energy: Energy,
    /// One standard deviation over it, as far as the sky of a whole day decides [-].
    pub sigma_ratio: f64,
}

impl TypicalShare {
    /// Takes a slot at work.
    pub fn add(&mut self, day: SolarDay, measured: Power, clear: Power, slot: Span) {
        self.begin(day);
        let (_, seen) = self.today.get_or_insert((day, Seen::default()));
        seen.measured_wh += (measured * slot).wh();
        seen.clear_wh += (clear * slot).wh();
        seen.hours += slot.hours();
    }

    /// Throws away what was seen of today: time has gone back.
    pub fn forget_today(&mut self) {
        self.today = None;
    }

    /// What a slot would probably have given; `None` where too little is known.
    pub fn expected(&mut self, day: SolarDay, clear: Power, slot: Span) -> Option<TypicalEnergy> {
        self.begin(day);
        if self.days.len() < LEAST {
            return None;
        }
        let n = self.days.len() as f64;
        let mean = self.days.iter().copied().map(f64::from).sum::<f64>() / n;
        let off = |q: &f32| (f64::from(*q) - mean).powi(2);
        let sigma = (self.days.iter().map(off).sum::<f64>() / (n - 1.0)).sqrt();
        let seen = self.today.map_or(Seen::default(), |(_, seen)| seen);
        let all = seen.hours + PERSISTS_H;
        let own = if seen.clear_wh > 0.0 {
            seen.hours * seen.measured_wh / seen.clear_wh
        } else {
            0.0
        };
        let share = (own + PERSISTS_H * mean) / all;
        (share > 0.0).then(|| TypicalEnergy {
            energy: Energy::from_wh(share * (clear * slot).wh()),
            sigma_ratio: sigma * (PERSISTS_H / all).sqrt() / share,
        })
    }

    fn begin(&mut self, day: SolarDay) {
        let Some((_, seen)) = self.today.take_if(|(today, _)| *today != day) else {
            return;
        };
        if seen.hours >= LEAST_H && seen.clear_wh > 0.0 {
            self.days
                .push_back((seen.measured_wh / seen.clear_wh) as f32);
        }
        if self.days.len() > KEPT {
            self.days.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SLOT: Span = Span::from_min(5);
    const CLEAR_W: f64 = 10_000.0;

    fn clear() -> Power {
        Power::from_w(CLEAR_W)
    }

    fn is_near(value: f64, wanted: f64) -> bool {
        // Shares are kept in single precision.
        (value / wanted - 1.0).abs() < 1e-5
    }

    fn after(shares: &[f64], hours: i64) -> TypicalShare {
        let mut typical = TypicalShare::default();
        for (d, share) in (0..).zip(shares) {
            for _ in 0..hours * 12 {
                let measured = Power::from_w(share * CLEAR_W);
                typical.add(SolarDay::from_number(d), measured, clear(), SLOT);
            }
        }
        typical
    }

    #[test]
    fn days_before_tell_a_standstill_that_began_at_night_and_say_how_surely() {
        let mut typical = after(&[0.8, 0.4, 0.6], 8);
        let slot = typical.expected(SolarDay::from_number(3), clear(), SLOT);
        let slot = slot.expect("three days are enough");
        // The mean of the days, and their scatter.
        assert!(is_near(slot.energy.wh(), 500.0), "{slot:?}");
        assert!(is_near(slot.sigma_ratio, 0.2 / 0.6), "{slot:?}");
    }

    #[test]
    fn the_morning_of_a_day_outweighs_the_days_before() {
        let mut typical = after(&[0.8, 0.4, 0.6, 0.2], 6);
        let slot = typical.expected(SolarDay::from_number(3), clear(), SLOT);
        let slot = slot.expect("three days and a morning");
        // (6 x 0.2 + 2 x 0.6) / 8
        assert!(is_near(slot.energy.wh(), 250.0), "{slot:?}");
        assert!(slot.sigma_ratio < 0.4, "{slot:?}");
    }

    #[test]
    fn too_few_days_say_nothing_and_short_days_do_not_count() {
        let next = SolarDay::from_number(9);
        assert_eq!(after(&[0.5; 2], 8).expected(next, clear(), SLOT), None);
        assert_eq!(after(&[0.5; 8], 1).expected(next, clear(), SLOT), None);
    }
}
