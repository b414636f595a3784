//! Strings alone and side by side, whole and with faults that the curves of whole sections express.

use super::{CABLE_OHM, OWN_MODULE, SECTIONS, amps, assert_all, curve};
use analysis::array::{Curve, InputCurve, ModuleModel};
use analysis::reading::{Resistance, Voltage};
use serde::Deserialize;
use tests::{assert_close, load_reference};

/// The table is computed otherwise, voltages of sections summed at one current. Half a unit of the
/// seventh digit that is stored, and 2e-8 of the golden section that finds its peaks: power changes
/// by less than the last bit of a double there.
const SEVEN_DIGITS: f64 = 5e-7 + 2e-8;

#[derive(Deserialize)]
struct Row {
    case: String,
    irradiance_w_m2: f64,
    cell_degc: f64,
    /// 18 modules are 54 sections.
    sections_a: u16,
    light_a_ratio: f64,
    extra_a_ohm: f64,
    /// 0 where there is no second string.
    sections_b: u16,
    light_b_ratio: f64,
    extra_b_ohm: f64,
    shunt_ratio: f64,
    vmp_v: f64,
    imp_a: f64,
    pmp_w: f64,
    voc_v: f64,
    /// Of string a at the peak of both.
    peak_a_a: f64,
    /// Of string a far beyond its open circuit.
    at_690_v_a_a: f64,
}

impl Row {
    fn string(&self, sections: u16, light_ratio: f64, extra_ohm: f64) -> Curve {
        let section = ModuleModel {
            series_ohm: OWN_MODULE.series_ohm / SECTIONS,
            shunt_ref_ohm: OWN_MODULE.shunt_ref_ohm * self.shunt_ratio / SECTIONS,
            ideality_ref_v: OWN_MODULE.ideality_ref_v / SECTIONS,
            ..OWN_MODULE
        };
        let cable = Resistance::from_ohm(CABLE_OHM + extra_ohm);
        curve(&section, light_ratio * self.irradiance_w_m2, self.cell_degc)
            .in_series(sections, cable)
    }

    fn string_a(&self) -> Curve {
        self.string(self.sections_a, self.light_a_ratio, self.extra_a_ohm)
    }

    fn input(&self) -> InputCurve {
        let mut strings = vec![self.string_a()];
        if self.sections_b > 0 {
            strings.push(self.string(self.sections_b, self.light_b_ratio, self.extra_b_ohm));
        }
        InputCurve::new(&strings).expect("at least one string")
    }
}

/// 18 cases in 5 lights.
const STRING_ROWS: usize = 90;

#[test]
fn strings_alone_and_side_by_side_match_another_code() {
    for row in load_reference::<Row>("strings.csv", STRING_ROWS) {
        let (input, string_a) = (row.input(), row.string_a());
        let peak = input.max_power();
        let pairs = [
            ("Vmp", peak.voltage.v(), row.vmp_v),
            ("Imp", peak.current.a(), row.imp_a),
            ("Pmp", peak.power().w(), row.pmp_w),
            ("string a", amps(&string_a, row.vmp_v), row.peak_a_a),
            ("backwards", amps(&string_a, 690.0), row.at_690_v_a_a),
        ];
        let label = format!("{} at {} W/m2", row.case, row.irradiance_w_m2);
        assert_all(&pairs, SEVEN_DIGITS, &label);
        assert_open_circuit(&input, row.voc_v, &label);
    }
}

/// At the open-circuit voltage of the table the current is that of the error in voltage.
fn assert_open_circuit(input: &InputCurve, voc_v: f64, label: &str) {
    let voltage = Voltage::from_v(voc_v);
    let tolerance_a = SEVEN_DIGITS * voc_v * input.slope_at(voltage).abs();
    assert_close!(
        input.current_at(voltage).a(),
        0.0,
        tolerance_a,
        format!("{label}: Voc")
    );
}

/// The case for which the rule for the bracket of the peak exists: 16 beside 18 modules pull each
/// other off their own peaks, and the input has less than both together.
#[test]
fn unequal_strings_lose_as_much_as_another_code_says() {
    /// Two powers of seven digits each.
    const LOSS_RATIO: f64 = 2.0 * SEVEN_DIGITS;
    let rows = load_reference::<Row>("strings.csv", STRING_ROWS);
    let at_1000 = |case: &str| {
        let row = rows
            .iter()
            .find(|r| r.case == case && r.irradiance_w_m2 == 1000.0);
        row.expect("in the table")
    };
    let (whole, unequal) = (at_1000("two healthy"), at_1000("16 beside 18 modules"));
    let power = |row: &Row| row.input().max_power().power().w();
    let computed = power(unequal) / power(whole);
    assert_close!(
        computed,
        unequal.pmp_w / whole.pmp_w,
        LOSS_RATIO,
        "16 beside 18"
    );
    // Both strings at their own peak would lose 2 of 36 modules only.
    assert!(computed < 34.0 / 36.0);
}
