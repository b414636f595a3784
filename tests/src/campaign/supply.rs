//! The supply at the inverter: voltages of the phases and frequency.
//!
//! Model:   V = V0 + swing of the day + noise + r V0 P/P_rated, r the rise by the own full export.
//! Range:   a low-voltage network that stays inside its limits unless a trip is injected.
//! Source:  own; sizes are common practice.

use super::inject::Standing;
use super::truth::Truth;
use crate::plant::normal;
use analysis::reading::{Span, Time};

/// Voltages [V] of the three phases and frequency [Hz], with so much of the rated power fed in.
pub fn supply(truth: &Truth, fault: &Standing, at: Time, load: f64) -> ([f64; 3], f64) {
    /// Voltage at which the supply disconnects, while it does.
    const TRIP_V: f64 = 271.0;
    const SEEN_FOR: Span = Span::from_min(6);
    let (rise, base) = truth.supply;
    let rise = fault.rise(rise);
    let ms = at.unix_ms() as u64;
    let hours = at.unix_ms() as f64 / 3_600_000.0;
    let swing = 1.5 * (hours / 24.0 * std::f64::consts::TAU).sin();
    // Quarter hours of loads in the neighbourhood, the same on all phases.
    let loads = 0.8 * normal(truth.seed ^ 0x5AB, (hours * 4.0) as u64);
    let high = fault.trip(at).is_some_and(|since| at - since < SEEN_FOR);
    let volts = [0, 1, 2].map(|phase: u64| {
        let own = if phase == 0 { rise[0] } else { rise[1] };
        let noise = 0.3 * normal(truth.seed ^ (0x5AC + phase), ms);
        let beside = phase as f64 - 1.0;
        if high {
            TRIP_V + noise
        } else {
            base + swing + loads + beside + noise + own * base * load
        }
    });
    (volts, 50.0 + 0.015 * normal(truth.seed ^ 0x5B0, ms))
}
