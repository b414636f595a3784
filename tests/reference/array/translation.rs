//! Points of a curve carried to standard conditions, and whole curves.

use super::{OWN_MODULE, assert_all, curve};
use analysis::array::{Conditions, InputCurve, OperatingPoint, Procedure1, Procedure2};
use analysis::reading::{Current, Irradiance, Temperature, Voltage};
use serde::Deserialize;
use tests::load_reference;

/// Half a unit of the ninth digit that is stored, of a number that begins with 1.
const NINE_DIGITS: f64 = 5e-9;

#[derive(Deserialize)]
struct Row {
    procedure: u8,
    kappa: f64,
    a: f64,
    v1_v: f64,
    i1_a: f64,
    isc1_a: f64,
    voc1_v: f64,
    alpha: f64,
    beta: f64,
    series_ohm: f64,
    i2_a: f64,
    v2_v: f64,
}

fn conditions(irradiance_w_m2: f64, cell_degc: f64) -> Conditions {
    Conditions {
        irradiance: Irradiance::from_w_m2(irradiance_w_m2),
        cell: Temperature::from_degc(cell_degc),
    }
}

impl Row {
    fn carried(&self) -> OperatingPoint {
        let (from, to) = (conditions(650.0, 48.0), conditions(1000.0, 25.0));
        let point = OperatingPoint {
            voltage: Voltage::from_v(self.v1_v),
            current: Current::from_a(self.i1_a),
        };
        let first = Procedure1 {
            short_circuit: Current::from_a(self.isc1_a),
            isc_a_per_k: self.alpha,
            voc_v_per_k: self.beta,
            series_ohm: self.series_ohm,
            series_ohm_per_k: self.kappa,
        };
        let second = Procedure2 {
            open_circuit: Voltage::from_v(self.voc1_v),
            isc_per_k: self.alpha,
            voc_per_k: self.beta,
            voc_per_log_light: self.a,
            series_ohm: self.series_ohm,
            series_ohm_per_k: self.kappa,
        };
        let carried = match self.procedure {
            1 => first.carry(&point, &from, &to),
            2 => second.carry(&point, &from, &to),
            other => panic!("procedure {other} is not in the table"),
        };
        carried.expect("light at both ends")
    }
}

#[test]
fn a_measured_peak_is_carried_as_worked_elsewhere() {
    for row in load_reference::<Row>("iv_translation.csv", 4) {
        let point = row.carried();
        let pairs = [
            ("I2", point.current.a(), row.i2_a),
            ("V2", point.voltage.v(), row.v2_v),
        ];
        assert_all(&pairs, NINE_DIGITS, format!("procedure {}", row.procedure));
    }
}

#[test]
fn a_point_is_not_carried_to_or_from_darkness() {
    let row = &load_reference::<Row>("iv_translation.csv", 4)[0];
    let point = row.carried();
    let procedure = Procedure1 {
        short_circuit: Current::from_a(row.isc1_a),
        isc_a_per_k: row.alpha,
        voc_v_per_k: row.beta,
        series_ohm: row.series_ohm,
        series_ohm_per_k: row.kappa,
    };
    for (from, to) in [(0.0, 1000.0), (650.0, 0.0), (f64::NAN, 1000.0)] {
        let carried = procedure.carry(&point, &conditions(from, 48.0), &conditions(to, 25.0));
        assert!(carried.is_err(), "{from} to {to} W/m2");
    }
}

/// A sampled curve runs from short to open circuit and its points are those of the curve.
#[test]
fn a_sampled_curve_has_both_ends_and_holds_the_peak() {
    /// Two roots of one curve.
    const ROOTS: f64 = 1e-9;
    let module = curve(&OWN_MODULE, 800.0, 50.0);
    let input = InputCurve::new(&[module, module]).expect("two strings");
    for (n, points) in [module.sampled(101), input.sampled(101)].iter().enumerate() {
        let doubled = n as f64 + 1.0;
        let (first, last) = (points[0], points[points.len() - 1]);
        assert_eq!((points.len(), first.voltage.v()), (101, 0.0));
        let isc = doubled * module.short_circuit().a();
        let pairs = [
            ("Isc", first.current.a(), isc),
            ("Voc", last.voltage.v(), module.open_circuit().v()),
            ("end", isc + last.current.a(), isc),
        ];
        assert_all(&pairs, ROOTS, "ends");
        let most = points.iter().map(|p| p.power().w()).fold(0.0, f64::max);
        let peak = doubled * module.max_power().power().w();
        // A hundredth of Voc beside the peak costs a few thousandths of it at most.
        assert!(
            most <= peak * (1.0 + ROOTS) && most > 0.99 * peak,
            "{most} of {peak}"
        );
    }
}
