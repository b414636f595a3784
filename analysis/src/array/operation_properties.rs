//! What must hold of any inverter on any curves: points on their curves, no limit exceeded, more
//! room never less power, and the limit that is named is the one that acts.

use super::operation_cases::{Case, any_case, any_input, curve, inverter};
use super::*;
use crate::plant::Inverter;
use crate::reading::{ApparentPower, Current, Power, ReactivePower, Temperature, Voltage};
use proptest::prelude::*;

/// A bracket of V_mp halved 42 times leaves 2e-13; near the open circuit the power is up to some
/// hundred times as steep as the voltage.
const SOLVED_RATIO: f64 = 1e-9;

/// One limit of a case wider or as wide: which, and by how much.
fn widened(case: &Case, which: u8, by: f64) -> Case {
    let mut wider = case.clone();
    let conditions = &mut wider.conditions;
    match which {
        0 => wider.inverter.max_apparent = grown(wider.inverter.max_apparent, by),
        1 => conditions.reactive_power = conditions.reactive_power.map(|q| shrunk(q, by)),
        2 => conditions.power_limit_ratio = conditions.power_limit_ratio.map(|c| c + by),
        3 => {
            let lower = |v: Voltage| Voltage::from_v(v.v() - 10.0 * by);
            conditions.highest_phase_voltage = conditions.highest_phase_voltage.map(lower);
        }
        4 => {
            let cooler = |t: Temperature| Temperature::from_degc(t.degc() - 50.0 * by);
            conditions.heatsink = conditions.heatsink.map(cooler);
        }
        _ => {
            for input in &mut wider.inverter.inputs {
                let most_a = input.max_operating_current.a();
                input.max_operating_current = Current::from_a(most_a * (1.0 + by));
            }
        }
    }
    wider
}

fn grown(power: ApparentPower, by: f64) -> ApparentPower {
    ApparentPower::from_va(power.va() * (1.0 + by))
}

fn shrunk(power: ReactivePower, by: f64) -> ReactivePower {
    ReactivePower::from_var(power.var() * (1.0 - by))
}

fn peak_w(curve: &InputCurve) -> f64 {
    curve.max_power().power().w()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    #[test]
    fn every_point_lies_on_its_curve_or_rests_at_the_open_circuit(case in any_case()) {
        let operation = case.operate();
        for (input, curve) in operation.inputs.iter().zip(&case.curves) {
            let InputOperation { point, .. } = input;
            if point.current.a() == 0.0 {
                let open_v = curve.open_circuit().v();
                prop_assert!((point.voltage.v() / open_v - 1.0).abs() < SOLVED_RATIO);
            } else {
                // The peak is solved in another unknown than the voltage.
                let on_curve = curve.current_at(point.voltage).a();
                let scale = curve.max_power().current.a();
                prop_assert!((point.current.a() - on_curve).abs() < SOLVED_RATIO * scale);
            }
        }
    }

    #[test]
    fn no_limit_is_exceeded(case in any_case()) {
        let operation = case.operate();
        for ceiling in case.ceilings() {
            let most_w = ceiling.most.w() + SOLVED_RATIO * case.inverter.rated_ac.w();
            prop_assert!(operation.ac.w() <= most_w, "{:?} {:?}", operation, ceiling);
        }
        for (input, of) in operation.inputs.iter().zip(&case.inverter.inputs) {
            prop_assert!(input.point.current.a() <= of.max_operating_current.a());
        }
    }

    #[test]
    fn what_is_delivered_is_available_and_what_is_available_is_offered(case in any_case()) {
        let operation = case.operate();
        let offered_w: f64 = case.curves.iter().map(peak_w).sum();
        let available_w = operation.available_ac.w();
        let rounding_w = SOLVED_RATIO * offered_w;
        prop_assert!(operation.ac.w() >= -rounding_w && operation.ac.w() <= available_w);
        prop_assert!(available_w <= offered_w + rounding_w);
        for (input, curve) in operation.inputs.iter().zip(&case.curves) {
            prop_assert!(input.point.power().w() <= peak_w(curve) + rounding_w);
        }
    }

    #[test]
    fn the_limit_that_is_named_is_the_lowest_and_is_reached(case in any_case()) {
        let operation = case.operate();
        let lowest = case.ceilings()[0];
        let rounding_w = SOLVED_RATIO * case.inverter.rated_ac.w().max(operation.available_ac.w());
        match operation.limit {
            Some(Limit::Asleep) => prop_assert_eq!(operation.ac.w(), 0.0),
            Some(limit) => {
                prop_assert_eq!(limit, lowest.limit);
                prop_assert!((operation.ac.w() - lowest.most.w()).abs() <= rounding_w);
                prop_assert!(operation.available_ac.w() > lowest.most.w());
                prop_assert!(case.ceilings().iter().all(|c| c.most.w() >= lowest.most.w()));
            }
            None => {
                prop_assert!(operation.available_ac.w() <= lowest.most.w());
                prop_assert_eq!(operation.ac, operation.available_ac);
            }
        }
    }

    #[test]
    fn more_room_is_never_less_power(case in any_case(), which in 0..6_u8, by in 0.0..1.0f64) {
        let wider = widened(&case, which, by).operate().ac.w();
        let narrow = case.operate().ac.w();
        let rounding_w = SOLVED_RATIO * case.inverter.rated_ac.w();
        prop_assert!(wider >= narrow - rounding_w, "{} < {}", wider, narrow);
    }

    #[test]
    fn a_limited_output_takes_the_same_share_right_of_every_peak(
        case in any_case(), ratio in 0.02..0.98f64,
    ) {
        let mut free = case.clone();
        free.conditions = InverterConditions::default();
        free.inverter.rated_ac = Power::from_w(1e6);
        let alone = free.operate();
        let limited = Case {
            inverter: Inverter {
                rated_ac: Power::from_w(alone.available_ac.w() * ratio),
                ..free.inverter.clone()
            },
            ..free
        };
        // Efficiency goes by the load, so the rated power itself moves it.
        let operation = limited.operate();
        if operation.limit == Some(Limit::RatedPower) {
            let all_w: f64 = operation.inputs.iter().map(|i| i.point.power().w()).sum();
            let free_w: f64 = alone.inputs.iter().map(|i| i.point.power().w()).sum();
            for ((input, before), curve) in
                operation.inputs.iter().zip(&alone.inputs).zip(&limited.curves)
            {
                prop_assert_eq!(input.limit.is_some(), before.point.current.a() == 0.0);
                let wanted_w = before.point.power().w() * all_w / free_w;
                prop_assert!((input.point.power().w() - wanted_w).abs() <= SOLVED_RATIO * free_w);
                prop_assert!(input.point.voltage.v() >= curve.max_power().voltage.v());
            }
        }
    }

    #[test]
    fn without_a_limit_every_input_is_at_its_peak(
        curves in prop::collection::vec(any_input(), 1..4),
    ) {
        let inverter = inverter(1e6, curves.len());
        let conditions = InverterConditions { was_running: Some(true), ..Default::default() };
        let operation = operate(&curves, &inverter, &[], &conditions).expect("inside the range");
        prop_assert_eq!(operation.limit, None);
        for (input, curve) in operation.inputs.iter().zip(&curves) {
            // The window begins at 50 V; three modules in the dimmest light have more.
            prop_assert_eq!(input.point, curve.max_power());
            prop_assert_eq!(input.limit, None);
        }
        let dc: f64 = curves.iter().map(peak_w).sum();
        prop_assert_eq!(operation.ac, inverter.ac_without_limit(Power::from_w(dc)));
    }

    #[test]
    fn it_starts_by_the_open_circuit_and_goes_on_by_the_window(case in any_case()) {
        let open_v = |curve: &InputCurve| curve.open_circuit().v();
        let highest_v = case.curves.iter().map(open_v).fold(0.0, f64::max);
        let (start_v, low_v) = (case.inverter.start_voltage.v(), case.inverter.tracking_min.v());
        let wanted = highest_v > low_v
            && (case.conditions.was_running != Some(false) || highest_v >= start_v);
        let operation = case.operate();
        prop_assert_eq!(operation.limit != Some(Limit::Asleep), wanted);
        if !wanted {
            prop_assert!(operation.inputs.iter().all(|i| i.point.current.a() == 0.0));
        }
    }

    #[test]
    fn the_window_and_the_current_hold_an_input_where_they_say(case in any_case()) {
        let mut free = case;
        free.conditions = InverterConditions { was_running: Some(true), ..Default::default() };
        free.inverter.rated_ac = Power::from_w(1e6);
        let operation = free.operate();
        let (low, high) = (free.inverter.tracking_min, free.inverter.tracking_max);
        let inputs = operation.inputs.iter().zip(&free.inverter.inputs).zip(&free.curves);
        for ((input, of), curve) in inputs {
            let (peak, v) = (curve.max_power(), input.point.voltage);
            let most_a = of.max_operating_current.a();
            match input.limit {
                None => {
                    let inside = (low.v()..=high.v()).contains(&v.v());
                    prop_assert!(inside || operation.limit == Some(Limit::Asleep));
                }
                Some(Limit::TrackingLow) => {
                    let rests = curve.open_circuit().v() <= low.v();
                    prop_assert!(peak.voltage.v() < low.v() && (rests || v == low));
                }
                Some(Limit::TrackingHigh) => prop_assert!(peak.voltage.v() > high.v() && v == high),
                Some(Limit::InputCurrent) => {
                    let a = input.point.current.a();
                    let over_the_peak = peak.voltage.v() > high.v();
                    prop_assert!((a / most_a - 1.0).abs() < SOLVED_RATIO || over_the_peak);
                    prop_assert!(v.v() > peak.voltage.v().max(low.v()));
                }
                other => prop_assert!(false, "{:?} on an input", other),
            }
        }
    }
}

#[test]
fn curves_that_do_not_fit_the_inverter_are_refused() {
    let curves = [curve(&[10], 800.0, 40.0)];
    let conditions = InverterConditions::default();
    let refused = operate(&curves, &inverter(5000.0, 2), &[], &conditions);
    let wanted = OperationError::Curves {
        found: 1,
        wanted: 2,
    };
    assert_eq!(refused, Err(wanted));
}

#[test]
fn a_curve_without_power_is_refused() {
    struct Flat(f64);
    impl Characteristic for Flat {
        fn current_at(&self, _: Voltage) -> Current {
            Current::from_a(self.0)
        }
        fn max_power(&self) -> OperatingPoint {
            OperatingPoint {
                voltage: Voltage::from_v(400.0),
                current: Current::from_a(self.0),
            }
        }
    }
    for amps in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let conditions = InverterConditions::default();
        let refused = operate(&[Flat(amps)], &inverter(5000.0, 1), &[], &conditions);
        assert!(
            matches!(refused, Err(OperationError::Peak { index: 0, .. })),
            "{amps}: {refused:?}"
        );
    }
}
