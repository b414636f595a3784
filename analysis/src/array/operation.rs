//! Where an inverter works on the curves of its inputs, what it passes on, and which limit acts.
//!
//! Model:   Asleep unless I(V_tmin) > 0 on some input, and, if it did not run, V_oc >= V_start on
//!          some input.
//!          Alone, an input works at its peak; at the edge of the tracking window if the peak lies
//!          outside; right of that where its current would be too large, so far that I <= I_max.
//!          An input that cannot hold V_tmin rests at its open circuit.
//!          Output: P = P_dc n(P_dc / P_r). Where that is above the lowest ceiling P_c, every input
//!          gives the same share f of what it would give alone, f n(f P_dc / P_r) P_dc = P_c, and
//!          its point moves right of its peak: V in (V_mp, V_oc), V I(V) = f P_alone.      eq. (1)
//!          I falls and is concave in V, so the root is one, and V_oc <= 2 V_mp: the tangent of
//!          slope -I_mp / V_mp at the peak lies above the curve and ends there.
//! Symbols: V [V], I [A], V_tmin lower end of the tracking window, V_start start voltage, P [W],
//!          P_r rated power [W], n efficiency [-], f [-].
//! Range:   AC power that rises with DC power; conditions as in `limit`; curves with a peak.
//! Source:  own, from how such inverters are described in the trade. Engineering judgement: that
//!          all inputs give the same share (a real one may cut the largest first; the sum is the
//!          same); that a limit pushes an input past the upper end of the window, which bounds the
//!          search for the peak and not the voltage.
//! Check:   tests/reference/array/operation.rs, the locus of 36 points to the seventh digit that is
//!          stored; `operation_properties`.

use super::limit::{InverterConditions, Limit, ceilings};
use super::{InputCurve, OperatingPoint};
use crate::plant::{Input, Inverter, VoltWattPoint};
use crate::reading::{Current, Power, Voltage};
use thiserror::Error;

/// Halvings of a bracket: 2^-42 of its width.
const HALVINGS: u32 = 42;

/// Why there is no operating point.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum OperationError {
    /// Not one curve for each input.
    #[error("{found} curves for {wanted} inputs")]
    Curves {
        /// How many curves came.
        found: usize,
        /// How many inputs there are.
        wanted: usize,
    },
    /// A curve without power.
    #[error("curve {index} has a peak of {found_w} W, wanted a finite number above 0")]
    Peak {
        /// Which curve, from 0.
        index: usize,
        /// Power at its peak.
        found_w: f64,
    },
    /// More reactive power than the inverter has apparent power.
    #[error("reactive power {found_var} var, wanted at most {most_var} var of either sign")]
    ReactivePower {
        /// What was asked for.
        found_var: f64,
        /// The highest apparent power.
        most_var: f64,
    },
    /// A power limit that is none.
    #[error("power limit {found_ratio} of rated power, wanted a finite ratio from 0")]
    PowerLimit {
        /// What was asked for.
        found_ratio: f64,
    },
    /// A phase voltage that is none.
    #[error("phase voltage {found_v} V, wanted a finite number from 0")]
    PhaseVoltage {
        /// What was asked for.
        found_v: f64,
    },
    /// A temperature that is none.
    #[error("heat sink at {found_degc} degC, wanted a finite number")]
    Heatsink {
        /// What was asked for.
        found_degc: f64,
    },
}

/// A curve whose current falls and is concave in the voltage, and which has one peak.
pub trait Characteristic {
    /// Current at a voltage.
    fn current_at(&self, voltage: Voltage) -> Current;
    /// Where the power is largest.
    fn max_power(&self) -> OperatingPoint;
}

impl Characteristic for InputCurve {
    fn current_at(&self, voltage: Voltage) -> Current {
        InputCurve::current_at(self, voltage)
    }

    fn max_power(&self) -> OperatingPoint {
        InputCurve::max_power(self)
    }
}

/// Where an inverter works.
#[derive(Debug, Clone, PartialEq)]
pub struct Operation {
    /// AC power that it passes on.
    pub ac: Power,
    /// AC power that it would pass on if nothing limited its output.
    pub available_ac: Power,
    /// What limits the inverter as a whole.
    pub limit: Option<Limit>,
    /// Its inputs, in the plant's order.
    pub inputs: Vec<InputOperation>,
}

/// Where one input works.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InputOperation {
    /// The point on its curve; the open circuit where it carries nothing.
    pub point: OperatingPoint,
    /// What limits this input alone; nothing while the whole inverter is limited.
    pub limit: Option<Limit>,
}

/// What an inverter would pass on if nothing limited its output.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Available {
    /// Nothing: it is asleep.
    Asleep,
    /// This AC power.
    Ac(Power),
}

/// Where an inverter works on these curves, one for each of its inputs.
///
/// # Errors
/// If the curves do not fit the inputs, one has no peak, or a condition lies outside its range.
pub fn operate<C: Characteristic>(
    curves: &[C],
    inverter: &Inverter,
    volt_watt: &[VoltWattPoint],
    conditions: &InverterConditions,
) -> Result<Operation, OperationError> {
    let ceilings = ceilings(inverter, volt_watt, conditions)?;
    let lowest = ceilings.first().expect("rated power is always a ceiling");
    check(curves, inverter)?;
    if !is_awake(curves, inverter, conditions.was_running) {
        return Ok(asleep(curves));
    }
    let inputs = all_alone(curves, inverter);
    let available_dc = dc(&inputs);
    let available_ac = inverter.ac_without_limit(available_dc);
    if available_ac.w() <= lowest.most.w() {
        return Ok(Operation {
            ac: available_ac,
            available_ac,
            limit: None,
            inputs,
        });
    }
    let share = share_within(inverter, available_dc, lowest.most);
    let held_back = |(curve, input): (&C, &InputOperation)| hold_back(curve, input, share);
    let inputs: Vec<InputOperation> = curves.iter().zip(&inputs).map(held_back).collect();
    Ok(Operation {
        ac: inverter.ac_without_limit(dc(&inputs)),
        available_ac,
        limit: Some(lowest.limit),
        inputs,
    })
}

/// The same without any ceiling, and no more than the power.
///
/// # Errors
/// If there is not one curve with a peak for each input.
pub fn available<C: Characteristic>(
    curves: &[C],
    inverter: &Inverter,
    was_running: Option<bool>,
) -> Result<Available, OperationError> {
    check(curves, inverter)?;
    Ok(if is_awake(curves, inverter, was_running) {
        Available::Ac(inverter.ac_without_limit(dc(&all_alone(curves, inverter))))
    } else {
        Available::Asleep
    })
}

fn check<C: Characteristic>(curves: &[C], inverter: &Inverter) -> Result<(), OperationError> {
    let (found, wanted) = (curves.len(), inverter.inputs.len());
    if found != wanted {
        return Err(OperationError::Curves { found, wanted });
    }
    for (index, curve) in curves.iter().enumerate() {
        let found_w = curve.max_power().power().w();
        if !(found_w.is_finite() && found_w > 0.0) {
            return Err(OperationError::Peak { index, found_w });
        }
    }
    Ok(())
}

fn is_awake<C: Characteristic>(
    curves: &[C],
    inverter: &Inverter,
    was_running: Option<bool>,
) -> bool {
    let holds = curves.iter().any(|c| holds(c, inverter));
    let reaches = |curve: &C| curve.current_at(inverter.start_voltage).a() >= 0.0;
    holds && (was_running != Some(false) || curves.iter().any(reaches))
}

/// Whether there is current at the lower end of the tracking window.
fn holds<C: Characteristic>(curve: &C, inverter: &Inverter) -> bool {
    curve.current_at(inverter.tracking_min).a() > 0.0
}

fn asleep<C: Characteristic>(curves: &[C]) -> Operation {
    let rest = |curve| InputOperation {
        point: open_circuit(curve),
        limit: None,
    };
    Operation {
        ac: Power::from_w(0.0),
        available_ac: Power::from_w(0.0),
        limit: Some(Limit::Asleep),
        inputs: curves.iter().map(rest).collect(),
    }
}

fn all_alone<C: Characteristic>(curves: &[C], inverter: &Inverter) -> Vec<InputOperation> {
    let curves = curves.iter().zip(&inverter.inputs);
    curves
        .map(|(curve, input)| alone(curve, inverter, input))
        .collect()
}

fn dc(inputs: &[InputOperation]) -> Power {
    Power::from_w(inputs.iter().map(|input| input.point.power().w()).sum())
}

/// Where an input would work if nothing limited the inverter's output.
fn alone<C: Characteristic>(curve: &C, inverter: &Inverter, input: &Input) -> InputOperation {
    if !holds(curve, inverter) {
        return InputOperation {
            point: open_circuit(curve),
            limit: Some(Limit::TrackingLow),
        };
    }
    let peak = curve.max_power();
    let (low_v, high_v) = (inverter.tracking_min.v(), inverter.tracking_max.v());
    let free = match peak.voltage.v() {
        v if v < low_v => InputOperation {
            point: point_at(curve, low_v),
            limit: Some(Limit::TrackingLow),
        },
        v if v > high_v => InputOperation {
            point: point_at(curve, high_v),
            limit: Some(Limit::TrackingHigh),
        },
        _ => InputOperation {
            point: peak,
            limit: None,
        },
    };
    let most_a = input.max_operating_current.a();
    if free.point.current.a() <= most_a {
        return free;
    }
    // Above the window the way to less current leads over the peak: never to more power.
    let most_w = free.point.power().w();
    let from_v = peak.voltage.v().max(free.point.voltage.v());
    let fits = |p: OperatingPoint| p.current.a() <= most_a && p.power().w() <= most_w;
    InputOperation {
        point: first_right_of(curve, from_v, fits),
        limit: Some(Limit::InputCurrent),
    }
}

/// The largest share of the DC power whose AC power stays under the ceiling; the lower end of its
/// bracket, so that it does.
fn share_within(inverter: &Inverter, available_dc: Power, most: Power) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        let ac = inverter.ac_without_limit(Power::from_w(middle * available_dc.w()));
        if ac.w() <= most.w() {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

/// An input at a share of its own power, right of the peak; one that rests goes on resting.
fn hold_back<C: Characteristic>(curve: &C, input: &InputOperation, share: f64) -> InputOperation {
    let alone_w = input.point.power().w();
    if alone_w <= 0.0 {
        return *input;
    }
    let from_v = curve.max_power().voltage.v();
    let fits = |p: OperatingPoint| p.power().w() <= share * alone_w; // eq. (1)
    InputOperation {
        point: first_right_of(curve, from_v, fits),
        limit: None,
    }
}

fn open_circuit<C: Characteristic>(curve: &C) -> OperatingPoint {
    let from_v = curve.max_power().voltage.v();
    let end = first_right_of(curve, from_v, |p| p.current.a() <= 0.0);
    OperatingPoint {
        voltage: end.voltage,
        current: Current::from_a(0.0),
    }
}

/// The first point that fits, as every one beyond it does, right of a voltage that is the peak's or
/// above.
fn first_right_of<C: Characteristic>(
    curve: &C,
    from_v: f64,
    fits: impl Fn(OperatingPoint) -> bool,
) -> OperatingPoint {
    let (mut low, mut high) = (from_v, 2.0 * from_v);
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if fits(point_at(curve, middle)) {
            high = middle;
        } else {
            low = middle;
        }
    }
    point_at(curve, high)
}

fn point_at<C: Characteristic>(curve: &C, voltage_v: f64) -> OperatingPoint {
    let voltage = Voltage::from_v(voltage_v);
    OperatingPoint {
        voltage,
        current: curve.current_at(voltage),
    }
}
