//! Where a limited output puts a module: right of its peak, as another code has it.

use super::{OWN_MODULE, assert_all, curve};
use analysis::array::{InputCurve, InverterConditions, Limit, operate};
use analysis::detect::lost_along_curve;
use analysis::plant::{Input, Inverter};
use analysis::reading::{ApparentPower, Current, DeviceId, Power, Resistance, Span, Voltage};
use serde::Deserialize;
use tests::{assert_close, load_reference};

/// 4 weathers times 9 shares.
const ROWS: usize = 36;
/// Half a unit of the seventh digit that is stored, of a number that begins with 1.
const LOCUS: f64 = 5.1e-7;

#[derive(Deserialize)]
struct Row {
    irradiance_w_m2: f64,
    cell_degc: f64,
    peak_share_ratio: f64,
    voltage_v: f64,
    current_a: f64,
    voltage_ratio: f64,
    current_ratio: f64,
}

/// One input, no losses, and nothing but a rated power that could limit it.
fn lossless(rated_w: f64) -> Inverter {
    Inverter {
        id: DeviceId::new("inv"),
        rated_ac: Power::from_w(rated_w),
        max_apparent: ApparentPower::from_va(rated_w),
        max_dc_voltage: Voltage::from_v(60.0),
        start_voltage: Voltage::from_v(10.0),
        tracking_min: Voltage::from_v(10.0),
        tracking_max: Voltage::from_v(60.0),
        phases: 1,
        efficiency: Vec::new(),
        derating: None,
        isolation_limit: Resistance::from_ohm(2000.0),
        inputs: vec![Input {
            number: 1,
            max_operating_current: Current::from_a(20.0),
            max_short_circuit_current: Current::from_a(20.0),
            strings: Vec::new(),
        }],
        every: Span::from_s(10),
    }
}

#[test]
fn a_limited_output_moves_the_point_as_another_code_does() {
    for row in load_reference::<Row>("curtailment_locus.csv", ROWS) {
        let module = curve(&OWN_MODULE, row.irradiance_w_m2, row.cell_degc);
        let peak = module.max_power();
        let inverter = lossless(row.peak_share_ratio * peak.power().w());
        let input = InputCurve::new(&[module]).expect("one string");
        let conditions = InverterConditions::default();
        let operation = operate(&[input], &inverter, &[], &conditions).expect("in range");
        assert_eq!(operation.limit, Some(Limit::RatedPower));
        let point = operation.inputs[0].point;
        let (v, a) = (point.voltage.v(), point.current.a());
        assert_all(
            &[
                ("voltage", v, row.voltage_v),
                ("current", a, row.current_a),
                ("over Vmp", v / peak.voltage.v(), row.voltage_ratio),
                ("over Imp", a / peak.current.a(), row.current_ratio),
            ],
            LOCUS,
            format!(
                "{} of the peak at {} W/m2 and {} degC",
                row.peak_share_ratio, row.irradiance_w_m2, row.cell_degc
            ),
        );
    }
}

/// The same points, read the other way: what being there costs.
#[test]
fn a_point_right_of_the_peak_costs_what_another_code_says() {
    // Half a unit of the seventh digit of the voltage, times a power that falls by 20 per voltage.
    const LOST: f64 = 20.0 * LOCUS;
    for row in load_reference::<Row>("curtailment_locus.csv", ROWS) {
        let module = curve(&OWN_MODULE, row.irradiance_w_m2, row.cell_degc);
        let input = InputCurve::new(&[module]).expect("one string");
        let lost = lost_along_curve(&input, row.voltage_v);
        let wanted = 1.0 - row.peak_share_ratio;
        let label = format!("{} at {} W/m2", row.peak_share_ratio, row.irradiance_w_m2);
        assert_close!(lost, wanted, LOST, label);
    }
}
