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
//! Check:   unit tests below: S 0.60 taken as Q leaves 0.80; 256.5 V in region A leaves 0.60.

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

#[cfg(test)]
mod tests {
    use super::super::operation_cases::inverter;
    use super::*;
    use crate::plant::Derating;

    /// A few roundings of numbers near 10 000.
    const ROUNDING_W: f64 = 1e-8;

    /// Region A of AS/NZS 4777.2:2020, 253 V to 260 V (config/grid/au-a.toml).
    fn region_a() -> Vec<VoltWattPoint> {
        let point = |v, power_ratio| VoltWattPoint {
            voltage: Voltage::from_v(v),
            power_ratio,
        };
        vec![point(253.0, 1.0), point(260.0, 0.2)]
    }

    fn most_w(limit: Limit, conditions: InverterConditions) -> f64 {
        let mut inverter = inverter(10_000.0, 0);
        inverter.derating = Some(Derating {
            from: Temperature::from_degc(70.0),
            ratio_per_k: 0.025,
        });
        let all = ceilings(&inverter, &region_a(), &conditions).expect("in range");
        let of = all.iter().find(|c| c.limit == limit).expect("it is told");
        of.most.w()
    }

    fn at_voltage(v: f64) -> InverterConditions {
        InverterConditions {
            highest_phase_voltage: Some(Voltage::from_v(v)),
            ..InverterConditions::default()
        }
    }

    #[test]
    fn reactive_power_of_six_tenths_leaves_eight() {
        for var in [6000.0, -6000.0] {
            let conditions = InverterConditions {
                reactive_power: Some(ReactivePower::from_var(var)),
                ..InverterConditions::default()
            };
            let most = most_w(Limit::ApparentPower, conditions);
            assert!((most - 8000.0).abs() < ROUNDING_W, "{most}");
        }
    }

    /// P / P_rated = 1 - (V - 253) 0.8 / 7 between 253 V and 260 V, as network guidance for region A
    /// prints the line.
    #[test]
    fn the_volt_watt_line_of_region_a() {
        for (v, ratio) in [
            (230.0, 1.0),
            (253.0, 1.0),
            (254.75, 0.8),
            (256.5, 0.6),
            (260.0, 0.2),
            (262.0, 0.2),
        ] {
            let most = most_w(Limit::VoltWatt, at_voltage(v));
            assert!(
                (most - 10_000.0 * ratio).abs() < ROUNDING_W,
                "{v} V: {most}"
            );
        }
    }

    #[test]
    fn heat_takes_power_back_in_a_straight_line_to_nothing() {
        for (degc, ratio) in [
            (20.0, 1.0),
            (70.0, 1.0),
            (80.0, 0.75),
            (110.0, 0.0),
            (150.0, 0.0),
        ] {
            let conditions = InverterConditions {
                heatsink: Some(Temperature::from_degc(degc)),
                ..InverterConditions::default()
            };
            let most = most_w(Limit::Heat, conditions);
            assert!(
                (most - 10_000.0 * ratio).abs() < ROUNDING_W,
                "{degc}: {most}"
            );
        }
    }

    #[test]
    fn rules_without_a_line_have_no_volt_watt_ceiling() {
        let all = ceilings(&inverter(10_000.0, 0), &[], &at_voltage(258.0)).expect("in range");
        let names: Vec<Limit> = all.iter().map(|c| c.limit).collect();
        assert_eq!(names, [Limit::RatedPower]);
    }

    #[test]
    fn a_condition_outside_its_range_is_refused_with_its_number() {
        let refused = |conditions| {
            let none = ceilings(&inverter(10_000.0, 0), &region_a(), &conditions);
            none.expect_err("outside the range")
        };
        for var in [10_001.0, -10_001.0, f64::NAN, f64::INFINITY] {
            let error = refused(InverterConditions {
                reactive_power: Some(ReactivePower::from_var(var)),
                ..InverterConditions::default()
            });
            let OperationError::ReactivePower { found_var, .. } = error else {
                panic!("{error}");
            };
            assert_eq!(found_var.to_bits(), var.to_bits());
        }
        for ratio in [-0.01, f64::NAN, f64::INFINITY] {
            let error = refused(InverterConditions {
                power_limit_ratio: Some(ratio),
                ..InverterConditions::default()
            });
            assert!(
                matches!(error, OperationError::PowerLimit { .. }),
                "{error}"
            );
        }
        for v in [-1.0, f64::NAN, f64::INFINITY] {
            let error = refused(at_voltage(v));
            assert!(
                matches!(error, OperationError::PhaseVoltage { .. }),
                "{error}"
            );
        }
        for degc in [f64::NAN, f64::NEG_INFINITY] {
            let error = refused(InverterConditions {
                heatsink: Some(Temperature::from_degc(degc)),
                ..InverterConditions::default()
            });
            assert!(matches!(error, OperationError::Heatsink { .. }), "{error}");
        }
    }
}
