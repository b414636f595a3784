//! Inputs whose strings stand in unequal light.

use super::{CABLE_OHM, OWN_MODULE, SECTIONS, assert_all, curve};
use analysis::array::{
    InputCurve, ModuleModel, OperatingPoint, Section, ShadedString, StringCurve,
};
use analysis::reading::{Resistance, Voltage};
use serde::Deserialize;
use tests::{assert_close, load_reference, relative};

/// Half a unit of the seventh digit that is stored, and what a grid leaves of the place of a peak:
/// power changes by less than the last bit of a double there.
const SEVEN_DIGITS: f64 = 5e-7 + 3e-8;

#[derive(Deserialize)]
struct Row {
    case: String,
    irradiance_w_m2: f64,
    cell_degc: f64,
    string_a: String,
    string_b: String,
    /// Empty where there are two.
    string_c: String,
    voc_v: f64,
    peaks: usize,
    vmp_v: f64,
    imp_a: f64,
    pmp_w: f64,
    /// 0 where there is none.
    second_vmp_v: f64,
    second_imp_a: f64,
    third_vmp_v: f64,
    third_imp_a: f64,
    /// Of string a at the largest peak.
    peak_a_a: f64,
    at_0_v_a: f64,
    at_150_v_a: f64,
    at_300_v_a: f64,
    at_450_v_a: f64,
    at_560_v_a: f64,
    /// Beyond every open circuit: all strings take current.
    at_650_v_a: f64,
}

impl Row {
    fn input(&self) -> InputCurve {
        let all = [&self.string_a, &self.string_b, &self.string_c];
        let written: Vec<&str> = all.into_iter().map(String::as_str).collect();
        input(&written, self.irradiance_w_m2, self.cell_degc)
    }
}

/// The input of strings as the tables write them; an empty one is none.
pub fn input(written: &[&str], w_m2: f64, cell_degc: f64) -> InputCurve {
    let there = written.iter().filter(|text| !text.is_empty());
    let strings: Vec<_> = there.map(|text| string(text, w_m2, cell_degc)).collect();
    InputCurve::with_shade(&strings).expect("at least one string")
}

/// `45x1 9x0.3-open 3ohm`: sections by light, with open diodes, and cable beyond the usual one. A
/// string whose sections are all alike has one curve.
fn string(written: &str, w_m2: f64, cell_degc: f64) -> StringCurve {
    let number = |text: &str| text.parse::<f64>().expect("a number");
    let mut cable_ohm = CABLE_OHM;
    let mut sections = Vec::new();
    for part in written.split(' ') {
        if let Some(more) = part.strip_suffix("ohm") {
            cable_ohm += number(more);
            continue;
        }
        let (count, light) = part.split_once('x').expect("sections by light");
        let open = light.strip_suffix("-open");
        sections.push(Section {
            curve: curve(&section(), w_m2 * number(open.unwrap_or(light)), cell_degc),
            count: count.parse().expect("a count"),
            bypassed: open.is_none(),
        });
    }
    let cable = Resistance::from_ohm(cable_ohm);
    match sections.as_slice() {
        [alike] => StringCurve::Even(alike.curve.in_series(alike.count, cable)),
        _ => {
            let shaded = ShadedString::new(sections, cable).expect("sections with shunts");
            StringCurve::Shaded(shaded)
        }
    }
}

fn section() -> ModuleModel {
    ModuleModel {
        series_ohm: OWN_MODULE.series_ohm / SECTIONS,
        shunt_ref_ohm: OWN_MODULE.shunt_ref_ohm / SECTIONS,
        ideality_ref_v: OWN_MODULE.ideality_ref_v / SECTIONS,
        ..OWN_MODULE
    }
}

/// 20 cases in 3 lights.
const ROWS: usize = 60;

#[test]
fn every_peak_of_shaded_strings_side_by_side_matches_another_code() {
    for row in load_reference::<Row>("shade_parallel.csv", ROWS) {
        let input = row.input();
        let label = format!("{} at {} W/m2", row.case, row.irradiance_w_m2);
        let peaks = input.peaks();
        assert_eq!(peaks.len(), row.peaks, "{label}: {peaks:?}");
        assert_eq!(input.max_power(), peaks[0], "{label}");
        let mut pairs = vec![
            ("Vmp", peaks[0].voltage.v(), row.vmp_v),
            ("Imp", peaks[0].current.a(), row.imp_a),
            ("Pmp", peaks[0].power().w(), row.pmp_w),
        ];
        let others = [
            (row.second_vmp_v, row.second_imp_a),
            (row.third_vmp_v, row.third_imp_a),
        ];
        for (OperatingPoint { voltage, current }, wanted) in peaks.iter().skip(1).zip(others) {
            pairs.push(("further Vmp", voltage.v(), wanted.0));
            pairs.push(("further Imp", current.a(), wanted.1));
        }
        assert_all(&pairs, SEVEN_DIGITS, &label);
    }
}

#[test]
fn currents_of_shaded_strings_side_by_side_match_another_code() {
    for row in load_reference::<Row>("shade_parallel.csv", ROWS) {
        let (input, label) = (
            row.input(),
            format!("{} at {} W/m2", row.case, row.irradiance_w_m2),
        );
        let at = |v: f64| input.current_at(Voltage::from_v(v)).a();
        let alone = self::input(&[&row.string_a], row.irradiance_w_m2, row.cell_degc);
        let peak = input.max_power().voltage;
        let pairs = [
            ("Isc", input.short_circuit().a(), row.at_0_v_a),
            ("at 150 V", at(150.0), row.at_150_v_a),
            ("at 300 V", at(300.0), row.at_300_v_a),
            ("at 450 V", at(450.0), row.at_450_v_a),
            ("at 560 V", at(560.0), row.at_560_v_a),
            ("at 650 V", at(650.0), row.at_650_v_a),
            ("string a", alone.current_at(peak).a(), row.peak_a_a),
        ];
        assert_all(&pairs, SEVEN_DIGITS, &label);
        assert!(row.at_650_v_a < 0.0, "{label}: all strings take current");
        let tolerance = relative(SEVEN_DIGITS, row.voc_v);
        let open = input.open_circuit().v();
        assert_close!(open, row.voc_v, tolerance, format!("{label}: Voc"));
    }
}

#[derive(Deserialize)]
struct Signature {
    case: String,
    irradiance_w_m2: f64,
    cell_degc: f64,
    string_a: String,
    /// Empty where string a is alone.
    string_b: String,
    vmp_change_ratio: f64,
    imp_change_ratio: f64,
    pmp_change_ratio: f64,
}

/// Source: the table of fault signatures; against two healthy strings.
#[test]
fn faults_of_one_string_of_two_move_the_peak_as_the_signatures_say() {
    /// Half a unit of the last digit of four, for changes above a tenth.
    const FOUR_DIGITS: f64 = 5e-5;
    /// Half a step of the grid, once for the fault and once for what it is compared with.
    const PLACE: f64 = FOUR_DIGITS + 2.0 * 2.6e-5;
    /// Power near a peak is flat: what a half step of 2.6e-5 loses is below 1e-7.
    const POWER: f64 = FOUR_DIGITS + 2e-7;
    for row in load_reference::<Signature>("fault_signatures_parallel.csv", 35) {
        let at = |written: &[&str]| input(written, row.irradiance_w_m2, row.cell_degc).max_power();
        let (healthy, fault) = (at(&["54x1", "54x1"]), at(&[&row.string_a, &row.string_b]));
        let change = |of: fn(&OperatingPoint) -> f64| of(&fault) / of(&healthy) - 1.0;
        for (name, computed, wanted, tolerance) in [
            (
                "Vmp",
                change(|p| p.voltage.v()),
                row.vmp_change_ratio,
                PLACE,
            ),
            (
                "Imp",
                change(|p| p.current.a()),
                row.imp_change_ratio,
                PLACE,
            ),
            (
                "Pmp",
                change(|p| p.power().w()),
                row.pmp_change_ratio,
                POWER,
            ),
        ] {
            let label = format!("{} at {} W/m2: {name}", row.case, row.irradiance_w_m2);
            assert_close!(computed, wanted, tolerance, label);
        }
    }
}
