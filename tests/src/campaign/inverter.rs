//! What a drawn inverter does with the curves of its inputs: tracks, holds back, starts and stops.
//!
//! Model:   each tracker wanders round the highest peak; one common raise of all voltages where the
//!          inverter may not pass on all; a start takes two minutes, after a trip a minute's wait and
//!          a ramp of six; the efficiency is straight between its points.
//! Symbols: [V, A, W], loads over rated power [-]
//! Range:   polls in order of time.
//! Source:  own; waiting and ramp as common supply rules have them (REFERENCE A.14).
//! Check:   tests/campaign/work.rs.

use super::inject::Standing;
use super::string_curve::Curve;
use super::truth::Truth;
use crate::plant::normal;
use analysis::plant::{EventBit, State};
use analysis::reading::{Span, Time};

/// What an inverter does at a time.
#[derive(Debug, Clone, PartialEq)]
pub struct Work {
    /// Voltage and current of each input [V, A].
    pub points: Vec<(f64, f64)>,
    /// What the peaks of all inputs would give [W].
    pub offered_w: f64,
    /// From all inputs [W].
    pub dc_w: f64,
    /// To the supply [W].
    pub ac_w: f64,
    /// As it is.
    pub state: State,
    /// Event bits.
    pub bits: u32,
}

/// What an inverter remembers.
#[derive(Debug, Clone, Default)]
pub struct Mind {
    rated_w: f64,
    /// Since when it could work, and whether a trip was before that.
    ready: Option<(Time, bool)>,
    tripped: bool,
}

/// Power over rated power from which it works, and under which it sleeps [-].
const WAKES: f64 = 0.004;
const STARTING: Span = Span::from_min(2);
const RAMP: Span = Span::from_min(6);

impl Mind {
    /// Of an inverter of a rated power [W].
    pub fn new(rated_w: f64) -> Self {
        Self {
            rated_w,
            ..Self::default()
        }
    }

    /// Rated power [W].
    pub fn rated_w(&self) -> f64 {
        self.rated_w
    }

    /// What it does now.
    pub fn work(
        &mut self,
        truth: &Truth,
        fault: &Standing,
        curves: &[Option<Curve>],
        at: Time,
        insulated: bool,
        limit: f64,
    ) -> Work {
        let peaks: Vec<Option<(f64, f64)>> = curves
            .iter()
            .map(|c| c.as_ref().and_then(Curve::peak))
            .collect();
        let carries = |k: &usize| fault.dead(*k).is_none();
        let offered_w = (0..curves.len())
            .filter(carries)
            .filter_map(|k| peaks[k])
            .map(|p| p.1);
        let offered_w = offered_w.sum::<f64>();
        let state = self.state(fault, offered_w, at, insulated);
        let bits = bits(fault, at, insulated, offered_w > WAKES * self.rated_w);
        let idle = |state| Work {
            points: (0..curves.len())
                .map(|k| idle_point(fault, k, curves[k].as_ref()))
                .collect(),
            offered_w,
            dc_w: 0.0,
            ac_w: 0.0,
            state,
            bits,
        };
        if state != State::Tracking {
            return idle(state);
        }
        let ramp = match self.ready {
            Some((since, true)) => {
                (((at - since).seconds() - STARTING.seconds()) / RAMP.seconds()).clamp(0.02, 1.0)
            }
            _ => 1.0,
        };
        let most_ac = self.rated_w * limit.min(ramp).min(1.0);
        let free: Vec<f64> = (0..curves.len())
            .map(|k| free_v(truth, fault, k, curves[k].as_ref(), peaks[k], at))
            .collect();
        let at_raise = |raise: f64| -> Vec<(f64, f64)> {
            let one = |k: usize| match (&curves[k], fault.dead(k)) {
                (Some(curve), None) => {
                    let volts = free[k] * raise;
                    (volts, curve.amps(volts).max(0.0))
                }
                (curve, _) => idle_point(fault, k, curve.as_ref()),
            };
            (0..curves.len()).map(one).collect()
        };
        let ac = |points: &[(f64, f64)]| self.ac_w(truth, fault, points);
        let mut points = at_raise(1.0);
        let held = ac(&points) > most_ac;
        if held {
            points = at_raise(raise_to(most_ac, |raise| ac(&at_raise(raise))));
        }
        Work {
            dc_w: points.iter().map(|(v, i)| v * i).sum(),
            ac_w: ac(&points),
            points,
            offered_w,
            state: if held {
                State::Throttled
            } else {
                State::Tracking
            },
            bits,
        }
    }

    fn state(&mut self, fault: &Standing, offered_w: f64, at: Time, insulated: bool) -> State {
        if fault.trip(at).is_some() {
            self.ready = None;
            self.tripped = true;
            return State::Fault;
        }
        if let Some(says) = fault.off() {
            self.ready = None;
            return if says { State::Off } else { State::Standby };
        }
        let wakes = if self.ready.is_some() {
            0.5 * WAKES
        } else {
            WAKES
        };
        if offered_w < wakes * self.rated_w {
            self.ready = None;
            self.tripped = false;
            return State::Sleeping;
        }
        if !insulated {
            self.ready = None;
            return State::Fault;
        }
        let (since, _) = *self.ready.get_or_insert((at, self.tripped));
        if at - since < STARTING {
            State::Starting
        } else {
            State::Tracking
        }
    }

    fn ac_w(&self, truth: &Truth, fault: &Standing, points: &[(f64, f64)]) -> f64 {
        let dc_w: f64 = points.iter().map(|(v, i)| v * i).sum();
        let load = dc_w / self.rated_w;
        let knots = [0.05, 0.2, 0.5, 1.0];
        let of = &truth.efficiency;
        let ratio = if load <= knots[0] {
            of[0] * (load / knots[0]).powf(0.05)
        } else {
            let next = knots.iter().position(|k| *k >= load).unwrap_or(3).max(1);
            let share = ((load - knots[next - 1]) / (knots[next] - knots[next - 1])).min(1.0);
            of[next - 1] + share * (of[next] - of[next - 1])
        };
        dc_w * ratio * (1.0 - fault.inefficient())
    }
}

/// Where a tracker sits by itself [V].
fn free_v(
    truth: &Truth,
    fault: &Standing,
    k: usize,
    curve: Option<&Curve>,
    peak: Option<(f64, f64)>,
    at: Time,
) -> f64 {
    let (Some(curve), Some((peak_v, peak_w))) = (curve, peak) else {
        return 0.0;
    };
    if let Some((share, below)) = fault.off_peak(k) {
        let watts = |ratio: f64| ratio * peak_v * curve.amps(ratio * peak_v);
        let (mut near, mut far) = (1.0, if below { 0.3 } else { 1.35 });
        for _ in 0..24 {
            let middle = f64::midpoint(near, far);
            if watts(middle) > (1.0 - share) * peak_w {
                near = middle;
            } else {
                far = middle;
            }
        }
        return near * peak_v;
    }
    let minutes = at.unix_ms() as u64 / 60_000;
    let off = truth.inputs[k].wander * normal(truth.seed ^ (0x77A + k as u64), minutes);
    peak_v * (1.0 + off)
}

/// Without a connection: open circuit; an input that lost its strings has no voltage of theirs.
fn idle_point(fault: &Standing, k: usize, curve: Option<&Curve>) -> (f64, f64) {
    match (curve, fault.dead(k)) {
        (None, _) | (_, Some(false)) => (0.0, 0.0),
        (Some(curve), _) => (curve.open_v(), 0.0),
    }
}

/// The common raise of all voltages that leaves this much.
fn raise_to(most_w: f64, watts: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (1.0, 1.4);
    for _ in 0..26 {
        let middle = f64::midpoint(low, high);
        if watts(middle) > most_w {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

fn bits(fault: &Standing, at: Time, insulated: bool, lit: bool) -> u32 {
    let set = |bit: EventBit| 1_u32 << (bit as u32);
    let trip = fault
        .trip(at)
        .map(|_| set(EventBit::GridDisconnect) | set(EventBit::AcOverVoltage));
    let earth = (!insulated && lit).then(|| set(EventBit::GroundFault));
    let other = fault.bit().map(set);
    [trip, earth, other]
        .into_iter()
        .flatten()
        .fold(0, |all, bit| all | bit)
}
