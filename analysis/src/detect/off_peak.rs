//! Inputs that lie on their healthy curve but away from its peak, day by day.
//!
//! Model:   with f what the inputs of a plane share in voltage and c in current, v = V / f lies on the
//!          calibrated curve at I_c(v). Along the curve the power lost is l = 1 - v I_c(v) / (V_p I_p),
//!          flat at the peak: a voltage that is off by its own error costs next to nothing.
//!          Two readings of the same point: the tracker is away, I = c I_c(v); or the peak itself has
//!          moved there (heat that is not known, sections or modules missing), I = c I_p. With the
//!          medians over the slots that are off, l >= `OFF_RATIO`, on one side, a day tells that
//!          the tracker is away when
//!            l >= `LEAST_RATIO`, at least half of it is missing from the measured power as well,
//!            |v / V_p - 1| >= g s_v, beside the expected peak and beside the plant's other inputs,
//!             |I / (c I_c) - 1| <= 3 s_r,  |I / (c I_c) - I_p / I_c| >= 3 s_r
//!          and they are `LONG` of light, or `SHORT` and half of the day's, and four in five of the
//!          slots from the first one on: shade passes, a tracker that is caught stays.
//!          g: the normal quantile that the budget of false alarms leaves for one day of one input,
//!          as errors of voltage last all day and do not average out.
//! Symbols: V, V_p measured, peak [V]; I, I_p [A]; s_v, s_r standard deviations [-]; l [-].
//! Range:   valid slots without an allowed reason (`is_allowed`). Light that the inputs themselves show
//!          rises with the current of one left of its peak, by as much as could tell it: there left of
//!          the peak is not decided. Nor is right of it on an inverter with no other input at its peak.
//! Source:  own. The quantile by the bound of Mills' ratio, Q(z) < exp(-z^2/2) / (z sqrt(2 pi)) (from
//!          memory, verify). 5 % within a day as in the project's design.
//! Check:   unit tests below; tests/reference/array/operation.rs: l on the locus of 36 points;
//!          tests/acceptance/engine/off_peak.rs: days to detection by size and side.

use super::limit_edges::near_edge;
use super::{Budget, Gate, InputSlot, Kind};
use crate::array::{Characteristic, Limit};
use crate::expected::Prediction;
use crate::plant::{Input, Inverter};
use crate::reading::{Span, Time, Voltage, median};
use serde::{Deserialize, Serialize};

/// Power lost along the curve from which a slot is off its peak, and a day worth a finding [-].
const OFF_RATIO: f64 = 0.02;
const LEAST_RATIO: f64 = 0.04;
/// Standard deviations to the curve at most, and from where the peak may have moved to at least.
const CURVE_SIGMAS: f64 = 3.0;
/// Light off the peak that is long, and that is enough where it is half of the day's.
const LONG: Span = Span::from_h(3);
const SHORT: Span = Span::from_min(90);
/// Share of the slots from the first one off that must be off on the same side [-].
const STAYS_RATIO: f64 = 0.8;
/// Voltage over peak voltage within which another input is at its peak [-].
const AT_PEAK: std::ops::Range<f64> = 0.97..1.03;
/// Days of a year and sides of the peak: observations of one input.
const OBSERVATIONS: f64 = 2.0 * 365.0;

/// What all inputs of a plane share in one slot, with what is left of its uncertainty [-].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shared {
    /// Of the voltage, and its standard deviation.
    pub voltage: (f64, f64),
    /// Of the current, and its standard deviation.
    pub current: (f64, f64),
    /// Median of the voltage over peak voltage of the plant's other inputs that nothing stands on, and
    /// how far it may be from that of an input at its peak; `None` where there is none.
    pub others_voltage: Option<(f64, f64)>,
}

/// Where one input was on its curve in one slot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct OffPeakSlot {
    /// Where it begins.
    pub start: Time,
    /// Voltage over peak voltage, and its standard deviation [-].
    pub voltage_ratio: f64,
    /// See `voltage_ratio`.
    pub voltage_sigma: f64,
    /// Standard deviations between its voltage ratio and that of the plant's other inputs.
    pub beside_sigmas: Option<f64>,
    /// Power lost along the curve [-].
    pub lost_ratio: f64,
    /// Measured over curve current, and its standard deviation [-].
    pub current_ratio: f64,
    /// See `current_ratio`.
    pub current_sigma: f64,
    /// What `current_ratio` would be if the peak itself had moved there [-].
    pub moved_ratio: f64,
    /// Power missing from the peak, as measured [-].
    pub missing_ratio: f64,
    /// Energy missing on the AC side [Wh].
    pub missing_wh: f64,
}

/// Power lost by being at a voltage [V] instead of the peak, over the peak's [-].
pub fn lost_along_curve<C: Characteristic>(curve: &C, volts: f64) -> f64 {
    let amps = curve.current_at(Voltage::from_v(volts)).a();
    1.0 - volts * amps / curve.max_power().power().w()
}

/// The place of a measured point on the curve.
pub fn off_peak_slot(
    start: Time,
    prediction: &Prediction,
    (volts, amps): (f64, f64),
    shared: &Shared,
    missing_wh: f64,
) -> Option<OffPeakSlot> {
    let peak = &prediction.expected;
    let (peak_v, peak_a) = (peak.voltage.v(), peak.current.a());
    let on_curve_v = volts / shared.voltage.0;
    let (curve_a, slope) = prediction.curve_at(on_curve_v);
    // Beyond the curve's end there is nothing to compare with.
    if curve_a <= 0.0 {
        return None;
    }
    let own_v = prediction.voltage_uncertainty.own_ratio;
    let voltage_sigma = own_v.hypot(shared.voltage.1);
    let by_voltage = slope * on_curve_v * voltage_sigma / curve_a;
    let own_a = prediction.current_uncertainty.own_ratio;
    Some(OffPeakSlot {
        start,
        voltage_ratio: on_curve_v / peak_v,
        voltage_sigma,
        beside_sigmas: shared.others_voltage.map(|(ratio, sigma)| {
            let beside = volts / (peak_v * ratio) - 1.0;
            beside / own_v.hypot(sigma)
        }),
        lost_ratio: lost_along_curve(&prediction, on_curve_v),
        current_ratio: amps / (curve_a * shared.current.0),
        current_sigma: own_a.hypot(shared.current.1).hypot(by_voltage),
        moved_ratio: peak_a / curve_a,
        missing_ratio: 1.0 - on_curve_v * amps / (peak_v * peak_a * shared.current.0),
        missing_wh,
    })
}

impl OffPeakSlot {
    /// Standard deviations off the peak's voltage: beside the expected one and beside what the other
    /// inputs show, whichever is less. Heat that is not known moves them all.
    fn voltage_sigmas(&self) -> f64 {
        let alone = (self.voltage_ratio - 1.0) / self.voltage_sigma;
        match self.beside_sigmas {
            Some(beside) if beside * alone <= 0.0 => 0.0,
            Some(beside) => alone.signum() * alone.abs().min(beside.abs()),
            None => alone,
        }
    }
}

/// Whether something other than the tracker may have put an input where it is: then the slot says
/// nothing. `others`: voltage over peak voltage of the inverter's other inputs whose gates are valid.
/// Limits of the inverter as a whole take all inputs right of their peaks, so there another one has
/// to be at its own; where the gate holds the input back and no name fits, it may be the tracker.
pub fn is_allowed(
    inverter: &Inverter,
    input: &Input,
    slot: &InputSlot,
    of_inverter: Option<Limit>,
    others: &[f64],
) -> bool {
    let (Some(v), Some(a), Some(peak)) = (slot.voltage, slot.current, slot.expected) else {
        return true;
    };
    let is_free = matches!(
        (slot.gate, slot.limit),
        (Gate::Valid, None) | (Gate::Limited, Some(Limit::NotTold))
    );
    let is_right = v.v() > peak.voltage.v();
    let alone_right = is_right && !others.iter().any(|other| AT_PEAK.contains(other));
    !is_free
        || of_inverter.is_some()
        || alone_right
        || near_edge(inverter, input, v.v(), a.a())
        || near_edge(inverter, input, peak.voltage.v(), 0.0)
}

/// An input off its peak.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct OffPeak {
    /// First slot off its peak on the day that told it.
    pub began: Time,
    /// Medians over the slots that are off: as in [`OffPeakSlot`].
    pub voltage_ratio: f64,
    /// See `voltage_ratio`.
    pub voltage_sigma: f64,
    /// Power lost along the curve [-].
    pub lost_ratio: f64,
    /// Measured over curve current [-].
    pub current_ratio: f64,
    /// See `current_ratio`.
    pub current_sigma: f64,
    /// Energy missing in these slots [Wh].
    pub lost_wh: f64,
    /// Slots off, and slots that could tell.
    pub slots: (u32, u32),
    /// Standard deviations of the voltage that the budget asked for.
    pub guard_sigmas: f64,
}

/// What a day of one input tells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum OffPeakDay {
    /// It was off its peak: the first such day, or one more.
    Off(OffPeak),
    /// It is at its peak again; it was off until then.
    Back(Time),
}

/// The days of one input.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct OffPeakWatch {
    today: Vec<OffPeakSlot>,
    /// End of the last slot off its peak, while a finding stands.
    standing: Option<Time>,
}

impl OffPeakWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a slot that has no allowed reason.
    pub fn add(&mut self, slot: OffPeakSlot) {
        self.today.push(slot);
    }

    /// The slots of today will come again.
    pub fn forget_today(&mut self) {
        self.today.clear();
    }

    /// Decides on the day so far.
    pub fn close(&mut self, span: Span, guard_sigmas: f64) -> Option<OffPeakDay> {
        let today = std::mem::take(&mut self.today);
        let off = judge(&today, span, guard_sigmas);
        if let Some(off) = off {
            self.standing = last_off(&today).map(|last| last + span);
            return Some(OffPeakDay::Off(off));
        }
        let until = self.standing?;
        let enough = span * today.len() as i64 >= SHORT;
        let typical = median(today.iter().map(|s| s.lost_ratio));
        if enough && typical.is_some_and(|lost| lost < OFF_RATIO) {
            self.standing = None;
            // Until it was put right, perhaps in the middle of this day.
            let last = last_off(&today).map_or(until, |last| last + span);
            return Some(OffPeakDay::Back(last));
        }
        if let Some(last) = last_off(&today) {
            self.standing = Some(last + span);
        }
        None
    }
}

fn last_off(slots: &[OffPeakSlot]) -> Option<Time> {
    let off = |slot: &&OffPeakSlot| slot.lost_ratio >= OFF_RATIO;
    slots.iter().rev().find(off).map(|slot| slot.start)
}

fn judge(slots: &[OffPeakSlot], span: Span, guard_sigmas: f64) -> Option<OffPeak> {
    let side = |right: bool| {
        let is_off =
            move |s: &&OffPeakSlot| s.lost_ratio >= OFF_RATIO && (s.voltage_ratio > 1.0) == right;
        slots.iter().filter(is_off).copied().collect::<Vec<_>>()
    };
    let off = [side(false), side(true)]
        .into_iter()
        .max_by_key(Vec::len)
        .filter(|off| !off.is_empty())?;
    let began = off[0].start;
    let since = slots.iter().filter(|s| s.start >= began).count();
    let light = span * off.len() as i64;
    let is_half = 2 * off.len() >= slots.len();
    let lasts = light >= LONG || (light >= SHORT && is_half);
    let stays = off.len() as f64 >= STAYS_RATIO * since as f64;
    if !lasts || !stays {
        return None;
    }
    let of = |value: fn(&OffPeakSlot) -> f64| median(off.iter().map(value)).expect("not empty");
    let lost_ratio = of(|s| s.lost_ratio);
    let to_curve = of(|s| (s.current_ratio - 1.0) / s.current_sigma);
    let to_moved = of(|s| (s.current_ratio - s.moved_ratio) / s.current_sigma);
    let to_peak = of(OffPeakSlot::voltage_sigmas);
    let is_away = lost_ratio >= LEAST_RATIO
        && of(|s| s.missing_ratio) >= lost_ratio / 2.0
        && to_peak.abs() >= guard_sigmas
        && to_curve.abs() <= CURVE_SIGMAS
        && to_moved.abs() >= CURVE_SIGMAS;
    is_away.then(|| OffPeak {
        began,
        voltage_ratio: of(|s| s.voltage_ratio),
        voltage_sigma: of(|s| s.voltage_sigma),
        lost_ratio,
        current_ratio: of(|s| s.current_ratio),
        current_sigma: of(|s| s.current_sigma),
        lost_wh: off.iter().map(|s| s.missing_wh).sum(),
        slots: (off.len() as u32, slots.len() as u32),
        guard_sigmas,
    })
}

/// Standard deviations that leave as many false alarms as the budget allows on an inverter with so
/// many inputs.
pub fn off_peak_guard(budget: Budget, inputs: usize) -> f64 {
    let between = budget.observations_between(Kind::TrackerOffPeak, inputs, OBSERVATIONS);
    let tail = |z: f64| (-0.5 * z * z).exp() / (z * std::f64::consts::TAU.sqrt());
    let (mut low, mut high) = (1.0, 10.0);
    for _ in 0..40 {
        let middle = f64::midpoint(low, high);
        if tail(middle) * between > 1.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}
