//! Where the inverters of the synthetic plant work on their curves.
//!
//! Written apart from `analysis::array::operate`, which it serves to test: steps and one common
//! raise of the voltage in place of roots and shares of the power.

use analysis::array::InputCurve;
use analysis::plant::{Input, Inverter, State};
use analysis::reading::Voltage;

/// An input with its curve, if there is light, and the voltage at which it works by itself: at the
/// peak, inside the window, and with no more current than it takes.
pub(super) struct Fed {
    curve: Option<InputCurve>,
    free_v: f64,
    peak_v: f64,
}

impl Fed {
    /// `held_at`: voltage over that at which it works by itself.
    pub fn new(
        inverter: &Inverter,
        input: &Input,
        curve: Option<InputCurve>,
        held_at: f64,
    ) -> Self {
        /// Small enough that the current moves by less than its noise [-].
        const STEP: f64 = 1.0005;
        let (mut free_v, mut peak_v) = (0.0, 0.0);
        if let Some(curve) = &curve {
            peak_v = curve.max_power().voltage.v();
            free_v = (held_at * peak_v).clamp(inverter.tracking_min.v(), inverter.tracking_max.v());
            let amps = |v| curve.current_at(Voltage::from_v(v)).a();
            while amps(free_v) > input.max_operating_current.a() {
                free_v *= STEP;
            }
        }
        Self {
            curve,
            free_v,
            peak_v,
        }
    }

    /// Voltage and current, so much above where it works by itself.
    fn at(&self, raise: f64) -> (f64, f64) {
        let volts = self.free_v * raise;
        let amps = |c: &InputCurve| c.current_at(Voltage::from_v(volts)).a().max(0.0);
        (volts, self.curve.as_ref().map_or(0.0, amps))
    }
}

/// Voltage and current of each input: where it works by itself, or right of that so far that the
/// sum is what may be passed on; without a connection at the open-circuit voltage.
pub(super) fn operate(inputs: &[Fed], state: State, most_w: f64) -> Vec<(f64, f64)> {
    /// Where a curve of crystalline silicon ends, over its peak [-].
    const OPEN_OVER_PEAK: f64 = 1.25;
    const HALVINGS: u32 = 24;
    if state != State::Tracking {
        let open = |input: &Fed| (OPEN_OVER_PEAK * input.peak_v, 0.0);
        return inputs.iter().map(open).collect();
    }
    let at = |raise: f64| -> Vec<(f64, f64)> { inputs.iter().map(|i| i.at(raise)).collect() };
    let watts = |raise: f64| at(raise).iter().map(|(v, a)| v * a).sum::<f64>();
    if watts(1.0) <= most_w {
        return at(1.0);
    }
    let (mut low, mut high) = (1.0, OPEN_OVER_PEAK);
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if watts(middle) > most_w {
            low = middle;
        } else {
            high = middle;
        }
    }
    at(high)
}
