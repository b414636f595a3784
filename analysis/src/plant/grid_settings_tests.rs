//! Kind of truth: reference (IEEE 1547-2018 category III, tables 13 and 18, as coded in a public
//! test library) and property.

use super::*;
use crate::reading::{Frequency, Span, Voltage};

fn rules() -> GridLimits {
    let over = VoltageLimit {
        limit: Voltage::from_v(265.0),
        within: Span::from_s(2),
    };
    let point = |v, power_ratio| VoltWattPoint {
        voltage: Voltage::from_v(v),
        power_ratio,
    };
    GridLimits {
        over_voltage: vec![over],
        sustained_over_voltage: Some(Voltage::from_v(258.0)),
        volt_watt: vec![point(253.0, 1.0), point(260.0, 0.2)],
        enter_service: Some(EnterService {
            voltage: (Voltage::from_v(205.0), Voltage::from_v(253.0)),
            frequency: (Frequency::from_hz(47.5), Frequency::from_hz(50.15)),
            delay: Span::from_s(60),
            random: Span::ZERO,
            ramp: Span::from_min(6),
        }),
        ..GridLimits::none()
    }
}

fn over_voltage(curve: Curve) -> Vec<(f64, f64)> {
    let settings = GridSettings {
        over_voltage: Some(curve),
        ..GridSettings::default()
    };
    let limits = rules().with(&settings);
    let pair = |l: &VoltageLimit| (l.limit.v(), l.within.seconds());
    limits.over_voltage.iter().map(pair).collect()
}

const RULES: [(f64, f64); 1] = [(265.0, 2.0)];

/// Table 13: OV1 1.10 pu 13 s, OV2 1.20 pu 0.16 s, drawn as bare points and as a staircase.
#[test]
fn the_corners_of_a_staircase_are_the_limits_of_the_table() {
    let wanted = [(1.1 * 230.0, 13.0), (1.2 * 230.0, 0.16)];
    let points = vec![(1.1, 13.0), (1.2, 0.16)];
    let staircase = vec![
        (1.3, 0.16),
        (1.2, 0.16),
        (1.2, 13.0),
        (1.1, 13.0),
        (1.1, 1000.0),
    ];
    assert_eq!(over_voltage(Curve::On(points)), wanted);
    assert_eq!(over_voltage(Curve::On(staircase)), wanted);
}

#[test]
fn what_is_no_curve_leaves_the_rules() {
    for curve in [
        Curve::Off,
        Curve::On(Vec::new()),
        // Under nominal, without a time, a time that is none.
        Curve::On(vec![(0.9, 2.0)]),
        Curve::On(vec![(1.0, 2.0), (1.2, 0.16)]),
        Curve::On(vec![(1.1, f64::NAN)]),
        Curve::On(vec![(1.1, -1.0)]),
        Curve::On(vec![(f64::NAN, 1.0)]),
    ] {
        assert_eq!(over_voltage(curve.clone()), RULES, "{curve:?}");
    }
    assert_eq!(rules().with(&GridSettings::default()), rules());
}

#[test]
fn a_volt_watt_function_that_is_off_limits_nothing_and_a_bad_line_leaves_the_rules() {
    let with = |curve| {
        let settings = GridSettings {
            volt_watt: Some(curve),
            ..GridSettings::default()
        };
        rules().with(&settings).volt_watt
    };
    assert_eq!(with(Curve::Off), []);
    for bad in [
        vec![],
        vec![(1.1, 1.0)],
        vec![(1.13, 0.2), (1.1, 1.0)],
        vec![(1.1, 0.2), (1.13, 1.0)],
    ] {
        assert_eq!(with(Curve::On(bad)), rules().volt_watt);
    }
    let line = with(Curve::On(vec![(1.06, 1.0), (1.1, 0.0)]));
    let line: Vec<_> = line
        .iter()
        .map(|p| (p.voltage.v(), p.power_ratio))
        .collect();
    assert_eq!(line, [(1.06 * 230.0, 1.0), (1.1 * 230.0, 0.0)]);
}

/// 400 V between phases are 231 V to neutral; a nominal voltage from elsewhere is not believed.
#[test]
fn ratios_are_of_the_published_nominal_voltage_where_it_can_be_that_of_a_phase() {
    let limit = |nominal_v| {
        let settings = GridSettings {
            nominal_v,
            over_voltage: Some(Curve::On(vec![(1.2, 0.16)])),
            ..GridSettings::default()
        };
        rules().with(&settings).over_voltage[0].limit.v()
    };
    assert_eq!(limit(None), 1.2 * 230.0);
    assert_eq!(limit(Some(240.0)), 1.2 * 240.0);
    assert_eq!(limit(Some(400.0)), 1.2 * (400.0 / 3_f64.sqrt()));
    assert_eq!(limit(Some(1000.0)), 1.2 * 230.0);
}

#[test]
fn what_is_published_of_entering_service_takes_the_place_of_the_rules_part_by_part() {
    let settings = GridSettings {
        enter_service: EnterServiceSettings {
            high_voltage_ratio: Some(1.05),
            low_hz: Some(49.5),
            delay_s: Some(300.0),
            high_hz: Some(5.0),
            low_voltage_ratio: Some(f64::NAN),
            random_s: None,
            ramp_s: None,
        },
        ..GridSettings::default()
    };
    let entry = rules()
        .with(&settings)
        .enter_service
        .expect("the rules have it");
    assert_eq!(entry.voltage.0.v(), 205.0);
    assert_eq!(entry.voltage.1.v(), 1.05 * 230.0);
    assert_eq!(
        (entry.frequency.0.hz(), entry.frequency.1.hz()),
        (49.5, 50.15)
    );
    assert_eq!(
        (entry.delay, entry.ramp),
        (Span::from_min(5), Span::from_min(6))
    );
}
