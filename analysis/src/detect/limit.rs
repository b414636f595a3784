//! Which limit acts on an inverter and on each of its inputs in a slot.
//!
//! A limit is named where the model says that the conditions make it bind and the measurement
//! agrees: the inverter's power stands at that ceiling, or the input at that edge. A ceiling that
//! the power exceeds is not in force. Where nothing is known of the light, rated power is named where
//! the power stands at it, within what the meter can tell. Where the gate says that something holds an input back and no
//! name fits, it is the ceiling that a single poll reached, under clouds that come and go; else the
//! limit is not told.
//! Never in here: whether a test is valid (`gate`), or where an inverter should work
//! (`array::operate`).

use super::gate::{CLIPPING_RATIO, CURRENT_LIMIT_RATIO};
use super::{Gate, InputSlot};
use crate::array::{Available, Ceiling, Limit};
use crate::plant::{Input, Inverter, VoltWattPoint};
use crate::reading::Power;

/// Tolerance of the response to voltage over apparent power (AS/NZS 4777.2:2020, as its test script
/// has it, verify); the response to heat is known no better [-].
const RESPONSE_RATIO: f64 = 0.04;
/// How far the mean of some polls may be from the voltage that the inverter answered to, with a
/// supply that moves (engineering judgement) [V].
const VOLTAGE_READ_V: f64 = 0.5;
/// What the AC meter cannot tell from nothing, over rated power (engineering judgement) [-].
const METER_FLOOR_RATIO: f64 = 0.005;
/// A ceiling this close under rated power cannot be told from it (engineering judgement) [-].
const SAME_AS_RATED_RATIO: f64 = 0.99;
/// How much more than expected the array may well offer, in standard deviations of the light.
const LIGHT_SIGMAS: f64 = 2.0;
/// Mean voltage over expected peak voltage from which the inputs stand right of their peaks: the
/// curve gives 1.02 there for less than a percent of the power [-].
const RIGHT_OF_PEAK_RATIO: f64 = 1.02;
/// Voltage over the edge of the tracking window at which an input stands at the edge, either way
/// (engineering judgement: a tracker's step) [-].
const AT_EDGE_RATIO: f64 = 0.01;

/// What one inverter shows of its limits in one slot.
#[derive(Debug, Clone, Copy)]
pub struct LimitFacts<'a> {
    /// Its fixed facts.
    pub inverter: &'a Inverter,
    /// What the conditions leave, the lowest first; empty where they are outside their ranges.
    pub ceilings: &'a [Ceiling],
    /// The volt-watt line of the supply rules.
    pub volt_watt: &'a [VoltWattPoint],
    /// What it should pass on without a limit; `None` where an input has no curve.
    pub available: Option<Available>,
    /// Mean active power.
    pub ac_power: Option<Power>,
    /// Highest active power of a poll.
    pub highest_ac_power: Option<Power>,
    /// Whether it is connected; `None` if nothing tells.
    pub producing: Option<bool>,
    /// Whether it says that it is throttled.
    pub throttled: bool,
    /// Its inputs, with their gates.
    pub inputs: &'a [InputSlot],
}

/// The limits that act.
#[derive(Debug, Clone, PartialEq)]
pub struct Acting {
    /// On the inverter as a whole.
    pub inverter: Option<Limit>,
    /// On each input alone; none where the whole inverter is limited.
    pub inputs: Vec<Option<Limit>>,
}

/// The limits that act on an inverter in one slot.
pub fn acting(facts: &LimitFacts<'_>) -> Acting {
    let none = vec![None; facts.inputs.len()];
    if let Some(limit) = of_inverter(facts) {
        return Acting {
            inverter: Some(limit),
            inputs: none,
        };
    }
    let own = facts.inputs.iter().zip(&facts.inverter.inputs);
    let own: Vec<Option<Limit>> = own
        .map(|(slot, input)| of_input(facts, slot, input))
        .collect();
    let is_held = |slot: &InputSlot| slot.gate == Gate::Limited;
    let held = facts.inputs.iter().filter(|slot| is_held(slot)).count();
    if own.iter().all(Option::is_none) && (facts.throttled || held > 0) {
        let whole = facts.throttled || held == facts.inputs.len();
        let limit = at_times(facts).or(whole.then_some(Limit::NotTold));
        if limit.is_some() {
            return Acting {
                inverter: limit,
                inputs: none,
            };
        }
    }
    let named = |(own, slot): (Option<Limit>, &InputSlot)| {
        own.or_else(|| is_held(slot).then_some(Limit::NotTold))
    };
    Acting {
        inverter: None,
        inputs: own.into_iter().zip(facts.inputs).map(named).collect(),
    }
}

fn of_inverter(facts: &LimitFacts<'_>) -> Option<Limit> {
    let available = match facts.available {
        None => return stands_at_rated(facts).then_some(Limit::RatedPower),
        Some(Available::Asleep) => {
            return (facts.producing == Some(false)).then_some(Limit::Asleep);
        }
        Some(Available::Ac(available)) => available,
    };
    let ac_w = facts.ac_power?.w();
    nearest(facts, ac_w, |c| binds(facts, available, c))
}

/// Without a model: whether the power is the rated one, as far as the meter can tell.
fn stands_at_rated(facts: &LimitFacts<'_>) -> bool {
    let rated_w = facts.inverter.rated_ac.w();
    let off_w = facts.ac_power.map(|ac| (ac.w() - rated_w).abs());
    facts.producing != Some(false) && off_w.is_some_and(|off| off <= METER_FLOOR_RATIO * rated_w)
}

/// The ceiling that the power reached at times, though not on the mean.
fn at_times(facts: &LimitFacts<'_>) -> Option<Limit> {
    let highest_w = facts.highest_ac_power?.w();
    nearest(facts, highest_w, |_| stands_right_of_peaks(facts.inputs))
}

/// The nearest to a power of the ceilings that it stands at.
fn nearest(facts: &LimitFacts<'_>, ac_w: f64, binds: impl Fn(&Ceiling) -> bool) -> Option<Limit> {
    let rated_w = facts.inverter.rated_ac.w();
    let is_told =
        |c: &&Ceiling| c.limit == Limit::RatedPower || c.most.w() < SAME_AS_RATED_RATIO * rated_w;
    let distance_w = |c: &Ceiling| (ac_w - c.most.w()).abs();
    let reached = |c: &&Ceiling| distance_w(c) <= tolerance_w(facts, c);
    let acting = facts.ceilings.iter().filter(is_told).filter(reached);
    acting
        .filter(|c| binds(c))
        .min_by(|a, b| distance_w(a).total_cmp(&distance_w(b)))
        .map(|c| c.limit)
}

fn tolerance_w(facts: &LimitFacts<'_>, ceiling: &Ceiling) -> f64 {
    let rated_w = facts.inverter.rated_ac.w();
    let response_w = RESPONSE_RATIO * facts.inverter.max_apparent.va();
    match ceiling.limit {
        Limit::VoltWatt => response_w + VOLTAGE_READ_V * steepest_per_v(facts.volt_watt) * rated_w,
        Limit::Heat => response_w,
        _ => (METER_FLOOR_RATIO * rated_w).max((1.0 - CLIPPING_RATIO) * ceiling.most.w()),
    }
}

/// Steepest fall of a volt-watt line [1/V].
fn steepest_per_v(line: &[VoltWattPoint]) -> f64 {
    let fall = |pair: &[VoltWattPoint]| {
        let width_v = pair[1].voltage.v() - pair[0].voltage.v();
        (pair[0].power_ratio - pair[1].power_ratio) / width_v
    };
    line.windows(2).map(fall).fold(0.0, f64::max)
}

/// Whether the array offers more than the ceiling. At rated or commanded power the error of the
/// light may make up for what is missing; else the inputs have to stand right of their peaks, and
/// always where the ceiling is not well known.
fn binds(facts: &LimitFacts<'_>, available: Power, ceiling: &Ceiling) -> bool {
    let (available_w, most_w) = (available.w(), ceiling.most.w());
    let sigma_ratio = light_sigma_ratio(facts.inputs);
    let may_bind = available_w * (1.0 + LIGHT_SIGMAS * sigma_ratio) > most_w;
    match ceiling.limit {
        Limit::RatedPower | Limit::Command => may_bind,
        Limit::VoltWatt | Limit::Heat => may_bind && stands_right_of_peaks(facts.inputs),
        _ => available_w > most_w || (may_bind && stands_right_of_peaks(facts.inputs)),
    }
}

/// Relative standard deviation of the power that the inputs offer together: their light's.
fn light_sigma_ratio(inputs: &[InputSlot]) -> f64 {
    let expected = || inputs.iter().filter_map(|slot| slot.expected);
    let all_w: f64 = expected().map(|e| (e.voltage * e.current).w()).sum();
    let sigma_w: f64 = expected().map(|e| (e.voltage * e.sigma_current).w()).sum();
    if all_w > 0.0 { sigma_w / all_w } else { 0.0 }
}

fn stands_right_of_peaks(inputs: &[InputSlot]) -> bool {
    let ratio = |slot: &InputSlot| Some(slot.voltage?.v() / slot.expected?.voltage.v());
    let ratios: Vec<f64> = inputs.iter().filter_map(ratio).collect();
    let mean = ratios.iter().sum::<f64>() / ratios.len() as f64;
    !ratios.is_empty() && mean >= RIGHT_OF_PEAK_RATIO
}

fn of_input(facts: &LimitFacts<'_>, slot: &InputSlot, input: &Input) -> Option<Limit> {
    if facts.producing == Some(false) {
        return None;
    }
    let peak = slot.expected?;
    let (v, a) = (slot.voltage?.v(), slot.current?.a());
    let (low_v, high_v) = (
        facts.inverter.tracking_min.v(),
        facts.inverter.tracking_max.v(),
    );
    let most_a = input.max_operating_current.a();
    let (peak_v, sigma_v) = (peak.voltage.v(), peak.sigma_voltage.v());
    let offered_a = peak.current.a() + LIGHT_SIGMAS * peak.sigma_current.a();
    if a >= CURRENT_LIMIT_RATIO * most_a && offered_a >= most_a {
        Some(Limit::InputCurrent)
    } else if (v / low_v - 1.0).abs() <= AT_EDGE_RATIO && peak_v - sigma_v < low_v {
        Some(Limit::TrackingLow)
    } else if (v / high_v - 1.0).abs() <= AT_EDGE_RATIO && peak_v + sigma_v > high_v {
        Some(Limit::TrackingHigh)
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::array::operation_cases::inverter;
    use crate::reading::{Current, Voltage};

    fn slot(gate: Gate) -> InputSlot {
        InputSlot {
            voltage: Some(Voltage::from_v(640.0)),
            current: Some(Current::from_a(6.0)),
            expected: None,
            gate,
            limit: None,
        }
    }

    fn acting_on(gates: [Gate; 2], throttled: bool) -> Acting {
        let inputs = gates.map(slot);
        acting(&LimitFacts {
            inverter: &inverter(10_000.0, 2),
            ceilings: &[],
            volt_watt: &[],
            available: None,
            ac_power: None,
            highest_ac_power: None,
            producing: Some(true),
            throttled,
            inputs: &inputs,
        })
    }

    #[test]
    fn an_input_held_back_beside_a_free_one_is_not_told_alone() {
        let acting = acting_on([Gate::Valid, Gate::Limited], false);
        assert_eq!(acting.inverter, None);
        assert_eq!(acting.inputs, [None, Some(Limit::NotTold)]);
    }

    #[test]
    fn an_inverter_that_says_so_or_holds_all_inputs_back_is_not_told_as_a_whole() {
        for acting in [
            acting_on([Gate::Valid, Gate::Valid], true),
            acting_on([Gate::Limited, Gate::Limited], false),
        ] {
            assert_eq!(acting.inverter, Some(Limit::NotTold));
            assert_eq!(acting.inputs, [None, None]);
        }
    }

    #[test]
    fn without_a_sign_of_it_there_is_no_limit() {
        let acting = acting_on([Gate::Valid, Gate::Dark], false);
        assert_eq!((acting.inverter, acting.inputs), (None, vec![None, None]));
    }
}
