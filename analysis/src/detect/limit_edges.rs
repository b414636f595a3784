//! Whether an input is so near to an edge of what it takes that this may be why it is where it is.
//! Never in here: which limit acts (`limit`).

use super::gate::CURRENT_LIMIT_RATIO;
use crate::plant::{Input, Inverter};

/// Voltage over an edge of the tracking window within which the window may be the reason: twice the
/// step at which `limit` names it (engineering judgement) [-].
const NEAR_WINDOW_RATIO: f64 = 0.02;

/// Whether a point is near the tracking window's edges, outside it, or at the current limit.
pub(super) fn near_edge(inverter: &Inverter, input: &Input, volts: f64, amps: f64) -> bool {
    let low_v = inverter.tracking_min.v() * (1.0 + NEAR_WINDOW_RATIO);
    let high_v = inverter.tracking_max.v() * (1.0 - NEAR_WINDOW_RATIO);
    volts <= low_v
        || volts >= high_v
        || amps >= CURRENT_LIMIT_RATIO * input.max_operating_current.a()
}
