//! What lets an inverter pass on less than its array offers: the limits by name, and the ceiling of
//! AC power that each of them leaves.
//!
//! Model:   rated power       P <= P_r
//!          apparent power    P <= sqrt(S^2 - Q^2)                                        eq. (1)
//!          command           P <= c P_r
//!          volt-watt         P <= w(V) P_r, w straight between the points of the rules and level
//!                            beyond their ends                                           eq. (2)
//!          heat              P <= P_r (1 - r (T - T_0)) above T_0, and nothing where that is
//!                            below zero                                                  eq. (3)
//! Symbols: P [W], P_r rated power [W], S highest apparent power [VA], Q reactive power [var],
//!          c power limit in force [-], V highest phase voltage [V], T heat sink [degC], T_0 [degC]
//!          and r [1/K] of the inverter.
//! Range:   finite numbers, |Q| <= S, c >= 0, V >= 0; outside: `OperationError`.
//! Source:  eq. (1) definition of apparent power; eq. (2) AS/NZS 4777.2:2020, by the points in
//!          config/grid; eq. (3) engineering judgement, a straight line as datasheets draw it.
//! Check:   `limit_tests`: 0.60 of S taken as Q leaves 0.80; 256.5 V in region A leaves 0.60.

use super::OperationError;
use crate::plant::{Inverter, VoltWattPoint};
use crate::reading::{Power, ReactivePower, Temperature, Voltage};
use serde::{Deserialize, Serialize};

/// What holds an inverter or one of its inputs back. The names are a contract with readers of
/// `ledger.csv`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Limit {
    /// The inverter has too little voltage to start or to go on.
    Asleep,
    /// The inverter passes on its rated power.
    RatedPower,
    /// Reactive power leaves less of the apparent power.
    ApparentPower,
    /// A power limit was set from outside.
    Command,
    /// The supply's voltage is high.
    VoltWatt,
    /// The inverter is hot.
    Heat,
    /// The peak of an input lies under the tracking window.
    TrackingLow,
    /// The peak of an input lies above the tracking window.
    TrackingHigh,
    /// The input takes no more current.
    InputCurrent,
    /// A limit acts and nothing measured tells which. Never from the model.
    NotTold,
}

impl Limit {
    /// Every limit, in the order of the ledger's columns.
    pub const ALL: &'static [Limit] = &[
        Limit::Asleep,
        Limit::RatedPower,
        Limit::ApparentPower,
        Limit::Command,
        Limit::VoltWatt,
        Limit::Heat,
        Limit::TrackingLow,
        Limit::TrackingHigh,
        Limit::InputCurrent,
        Limit::NotTold,
    ];

    /// Whether it takes from what an inverter at work could give.
    pub fn holds_back(self) -> bool {
        self != Limit::Asleep
    }

    /// The name in files.
    pub const fn name(self) -> &'static str {
        match self {
            Limit::Asleep => "asleep",
            Limit::RatedPower => "rated_power",
            Limit::ApparentPower => "apparent_power",
            Limit::Command => "command",
            Limit::VoltWatt => "volt_watt",
            Limit::Heat => "heat",
            Limit::TrackingLow => "tracking_low",
            Limit::TrackingHigh => "tracking_high",
            Limit::InputCurrent => "input_current",
            Limit::NotTold => "not_told",
        }
    }
}

/// What an inverter works under at one instant; `None` where nothing tells.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct InverterConditions {
    /// Reactive power, of either sign.
    pub reactive_power: Option<ReactivePower>,
    /// Highest phase voltage.
    pub highest_phase_voltage: Option<Voltage>,
    /// Power limit in force over rated power [-].
    pub power_limit_ratio: Option<f64>,
    /// Heat sink.
    pub heatsink: Option<Temperature>,
    /// Whether it ran before; without it, as if it did.
    pub was_running: Option<bool>,
}

impl InverterConditions {
    /// Without what lies outside its range: one bad number leaves its own limit undecided and no other.
    pub fn within_range(self, inverter: &Inverter) -> Self {
        let volts = self.highest_phase_voltage.map(|v| v.v());
        let heat = self.heatsink.map(|t| t.degc());
        Self {
            reactive_power: self
                .reactive_power
                .filter(|_| apparent_w(inverter, &self).is_ok()),
            highest_phase_voltage: self
                .highest_phase_voltage
                .filter(|_| volts.is_some_and(|v| v.is_finite() && v >= 0.0)),
            power_limit_ratio: self
                .power_limit_ratio
                .filter(|_| command_ratio(&self).is_ok()),
            heatsink: self.heatsink.filter(|_| heat.is_some_and(f64::is_finite)),
            was_running: self.was_running,
        }
    }
}

/// The most AC power that a limit leaves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ceiling {
    /// Which limit.
    pub limit: Limit,
    /// The most it leaves.
    pub most: Power,
}

/// Every ceiling that the conditions tell, the lowest first; rated power is always among them, and
/// first among equals.
///
/// # Errors
/// If a condition lies outside its range.
pub fn ceilings(
    inverter: &Inverter,
    volt_watt: &[VoltWattPoint],
    conditions: &InverterConditions,
) -> Result<Vec<Ceiling>, OperationError> {
    let rated_w = inverter.rated_ac.w();
    let left_w = [
        (Limit::RatedPower, Some(rated_w)),
        (Limit::ApparentPower, apparent_w(inverter, conditions)?),
        (
            Limit::Command,
            command_ratio(conditions)?.map(|c| c * rated_w),
        ),
        (
            Limit::VoltWatt,
            volt_watt_ratio(volt_watt, conditions)?.map(|w| w * rated_w),
        ),
        (
            Limit::Heat,
            heat_ratio(inverter, conditions)?.map(|h| h * rated_w),
        ),
    ];
    let ceiling = |(limit, most_w): (Limit, Option<f64>)| {
        most_w.map(|w| Ceiling {
            limit,
            most: Power::from_w(w),
        })
    };
    let mut ceilings: Vec<Ceiling> = left_w.into_iter().filter_map(ceiling).collect();
    ceilings.sort_by(|a, b| a.most.w().total_cmp(&b.most.w()));
    Ok(ceilings)
}

fn apparent_w(
    inverter: &Inverter,
    conditions: &InverterConditions,
) -> Result<Option<f64>, OperationError> {
    let Some(q) = conditions.reactive_power.map(|q| q.var()) else {
        return Ok(None);
    };
    let s = inverter.max_apparent.va();
    if !(q.is_finite() && q.abs() <= s) {
        return Err(OperationError::ReactivePower {
            found_var: q,
            most_var: s,
        });
    }
    Ok(Some((s * s - q * q).sqrt())) // eq. (1)
}

fn command_ratio(conditions: &InverterConditions) -> Result<Option<f64>, OperationError> {
    let ratio = conditions.power_limit_ratio;
    let within = |c: f64| c.is_finite() && c >= 0.0;
    match ratio.filter(|c| !within(*c)) {
        Some(found_ratio) => Err(OperationError::PowerLimit { found_ratio }),
        None => Ok(ratio),
    }
}

fn volt_watt_ratio(
    line: &[VoltWattPoint],
    conditions: &InverterConditions,
) -> Result<Option<f64>, OperationError> {
    let Some(v) = conditions.highest_phase_voltage.map(|v| v.v()) else {
        return Ok(None);
    };
    if !(v.is_finite() && v >= 0.0) {
        return Err(OperationError::PhaseVoltage { found_v: v });
    }
    let after = line.partition_point(|p| p.voltage.v() <= v);
    let before = after.checked_sub(1).and_then(|at| line.get(at));
    Ok(match (before, line.get(after)) {
        (Some(low), Some(high)) => {
            let share = (v - low.voltage.v()) / (high.voltage.v() - low.voltage.v());
            Some(low.power_ratio + share * (high.power_ratio - low.power_ratio)) // eq. (2)
        }
        (Some(end), None) | (None, Some(end)) => Some(end.power_ratio),
        (None, None) => None,
    })
}

fn heat_ratio(
    inverter: &Inverter,
    conditions: &InverterConditions,
) -> Result<Option<f64>, OperationError> {
    let Some(t) = conditions.heatsink.map(|t| t.degc()) else {
        return Ok(None);
    };
    if !t.is_finite() {
        return Err(OperationError::Heatsink { found_degc: t });
    }
    Ok(inverter.derating.map(|derating| {
        let above_k = (t - derating.from.degc()).max(0.0);
        (1.0 - derating.ratio_per_k * above_k).max(0.0) // eq. (3)
    }))
}
