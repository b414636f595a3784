//! The ceilings of the limits against numbers worked by hand, and what is refused.

use super::operation_cases::{derating, inverter};
use super::*;
use crate::plant::VoltWattPoint;
use crate::reading::{ReactivePower, Temperature, Voltage};

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
    inverter.derating = Some(derating(70.0, 0.025));
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

/// P / P_rated = 1 - (V - 253) 0.8 / 7 from 253 V to 260 V, as network guidance for region A prints
/// the line.
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
