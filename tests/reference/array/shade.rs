//! Strings whose sections stand in different light.

use super::{CABLE_OHM, OWN_MODULE, SECTIONS, assert_all, curve};
use analysis::array::{ModuleModel, OperatingPoint, Section, ShadedString};
use analysis::reading::Resistance;
use serde::Deserialize;
use tests::load_reference;

/// Half a unit of the seventh digit that is stored, and what a golden section leaves of the place
/// of a peak: power changes by less than the last bit of a double there.
const SEVEN_DIGITS: f64 = 5e-7 + 3e-8;
/// Of 18 modules.
const SECTIONS_OF_STRING: u16 = 54;

#[derive(Deserialize)]
struct Row {
    irradiance_w_m2: f64,
    cell_degc: f64,
    shaded_sections: u16,
    light_ratio: f64,
    /// 1 or 0.
    bypass_works: u8,
    voc_v: f64,
    vmp_v: f64,
    imp_a: f64,
    pmp_w: f64,
    peaks: usize,
    /// The second peak, 0 where there is none.
    local_vmp_v: f64,
    local_imp_a: f64,
}

impl Row {
    fn string(&self) -> ShadedString {
        let section = ModuleModel {
            series_ohm: OWN_MODULE.series_ohm / SECTIONS,
            shunt_ref_ohm: OWN_MODULE.shunt_ref_ohm / SECTIONS,
            ideality_ref_v: OWN_MODULE.ideality_ref_v / SECTIONS,
            ..OWN_MODULE
        };
        let some = |count, light_ratio, bypassed| Section {
            curve: curve(&section, light_ratio * self.irradiance_w_m2, self.cell_degc),
            count,
            bypassed,
        };
        let sections = vec![
            some(SECTIONS_OF_STRING - self.shaded_sections, 1.0, true),
            some(
                self.shaded_sections,
                self.light_ratio,
                self.bypass_works == 1,
            ),
        ];
        ShadedString::new(sections, Resistance::from_ohm(CABLE_OHM)).expect("sections with shunts")
    }
}

#[test]
fn every_peak_of_a_shaded_string_matches_another_code() {
    for row in load_reference::<Row>("shade.csv", 35) {
        let string = row.string();
        let label = format!(
            "{} sections at {} of {} W/m2",
            row.shaded_sections, row.light_ratio, row.irradiance_w_m2
        );
        let peaks = string.peaks();
        assert_eq!(peaks.len(), row.peaks, "{label}: {peaks:?}");
        let best = peaks[0];
        let mut pairs = vec![
            ("Voc", string.open_circuit().v(), row.voc_v),
            ("Vmp", best.voltage.v(), row.vmp_v),
            ("Imp", best.current.a(), row.imp_a),
            ("Pmp", best.power().w(), row.pmp_w),
        ];
        if let Some(OperatingPoint { voltage, current }) = peaks.get(1) {
            pairs.push(("local Vmp", voltage.v(), row.local_vmp_v));
            pairs.push(("local Imp", current.a(), row.local_imp_a));
        }
        assert_all(&pairs, SEVEN_DIGITS, &label);
    }
}
