//! One module: grids of light and heat, one whole curve, and slopes.

use super::{MODEL, OWN_MODULE, amps, assert_all, curve};
use analysis::array::{ModuleModel, peak_sensitivity};
use analysis::reading::Temperature;
use serde::Deserialize;
use tests::{assert_close, load_reference, relative};

/// The same module with the six parameters of the CEC model.
const SIX_PARAMETERS: ModuleModel = ModuleModel {
    photo_ref_a: 13.956_769_784_1,
    saturation_ref_a: 2.234_490_412_99e-11,
    series_ohm: 0.161_592_967_231,
    shunt_ref_ohm: 332.982_839_674,
    ideality_ref_v: 1.377_415_167_05,
    isc_a_per_k: 0.006_277_5,
    adjust_ratio: 0.006_948_500_541_99,
};

/// A row of the CEC database, 72 cells; the database gives the adjustment in percent.
const DATABASE_ROW: ModuleModel = ModuleModel {
    photo_ref_a: 10.106_962,
    saturation_ref_a: 2.257_976e-11,
    series_ohm: 0.341_051,
    shunt_ref_ohm: 494.815_857,
    ideality_ref_v: 1.812_254,
    isc_a_per_k: 0.003_03,
    adjust_ratio: 0.036_548_64,
};

/// 14 irradiances times 14 temperatures.
const GRID_ROWS: usize = 196;

#[derive(Deserialize)]
struct GridRow {
    irradiance_w_m2: f64,
    cell_degc: f64,
    isc_a: f64,
    voc_v: f64,
    imp_a: f64,
    vmp_v: f64,
    pmp_w: f64,
    /// At half of Voc.
    ix_a: f64,
    /// Half way between Vmp and Voc.
    ixx_a: f64,
}

#[test]
fn five_parameters_match_another_code() {
    compare_grid("module_grid_five_parameters.csv", &OWN_MODULE);
}

#[test]
fn six_parameters_match_another_code() {
    compare_grid("module_grid_six_parameters.csv", &SIX_PARAMETERS);
}

#[test]
fn a_row_of_the_database_matches_another_code() {
    compare_grid("module_grid_database_row.csv", &DATABASE_ROW);
}

fn compare_grid(table: &str, module: &ModuleModel) {
    for row in load_reference::<GridRow>(table, GRID_ROWS) {
        let (g, t) = (row.irradiance_w_m2, row.cell_degc);
        let curve = curve(module, g, t);
        let (peak, voc) = (curve.max_power(), curve.open_circuit().v());
        let vmp = peak.voltage.v();
        let pairs = [
            ("Isc", curve.short_circuit().a(), row.isc_a),
            ("Voc", voc, row.voc_v),
            ("Imp", peak.current.a(), row.imp_a),
            ("Vmp", vmp, row.vmp_v),
            ("Pmp", peak.power().w(), row.pmp_w),
            ("Ix", amps(&curve, 0.5 * voc), row.ix_a),
            ("Ixx", amps(&curve, 0.5 * (vmp + voc)), row.ixx_a),
        ];
        assert_all(&pairs, MODEL, format!("{table} {g} W/m2 {t} degC"));
    }
}

#[derive(Deserialize)]
struct CurveRow {
    voltage_v: f64,
    current_a: f64,
}

/// From reverse bias to far beyond open circuit, at 800 W/m2 and 50 degC.
#[test]
fn a_curve_matches_another_code() {
    /// Nine digits of the largest current here, 14 A, and of rows near open circuit, where the
    /// current is small and follows the rounding of parameters with 12 digits by 6 A/V.
    const MODEL_A: f64 = MODEL * 14.0;
    let curve = curve(&OWN_MODULE, 800.0, 50.0);
    for row in load_reference::<CurveRow>("iv_curve.csv", 26) {
        let current = amps(&curve, row.voltage_v);
        assert_close!(current, row.current_a, MODEL_A, row.voltage_v);
    }
}

#[derive(Deserialize)]
struct SlopeRow {
    irradiance_w_m2: f64,
    cell_degc: f64,
    vmp_ratio_per_k: f64,
    imp_ratio_per_k: f64,
    pmp_ratio_per_k: f64,
    /// For 1 % more light.
    vmp_ratio_per_light: f64,
    imp_ratio_per_light: f64,
}

/// Half a unit of the fifth digit that is stored, of a number that begins with 1.
const FIVE_DIGITS: f64 = 5e-5;
/// What two roots leave in the difference of their ratio from one.
const ROUNDING: f64 = 1e-10;

#[test]
fn slopes_of_the_peak_match_another_code() {
    for row in load_reference::<SlopeRow>("module_slopes.csv", 6) {
        let (g, t) = (row.irradiance_w_m2, row.cell_degc);
        let peak = |g, t| curve(&OWN_MODULE, g, t).max_power();
        let (here, warmer, lighter) = (peak(g, t), peak(g, t + 1.0), peak(1.01 * g, t));
        let volts = here.voltage.v();
        let pairs = [
            (warmer.voltage.v() / volts, row.vmp_ratio_per_k),
            (warmer.current.a() / here.current.a(), row.imp_ratio_per_k),
            (warmer.power().w() / here.power().w(), row.pmp_ratio_per_k),
            (lighter.voltage.v() / volts, row.vmp_ratio_per_light),
            (
                lighter.current.a() / here.current.a(),
                row.imp_ratio_per_light,
            ),
        ];
        for (ratio, wanted) in pairs {
            let tolerance = relative(FIVE_DIGITS, wanted) + ROUNDING;
            assert_close!(ratio - 1.0, wanted, tolerance, format!("{g} W/m2 {t} degC"));
        }
    }
}

/// The table has finite steps: summed over one, the sensitivity is what the logarithm changes by.
#[test]
fn sensitivities_add_up_to_the_slopes_of_another_code() {
    let at = |g, t| {
        let (curve, cell) = (curve(&OWN_MODULE, g, t), Temperature::from_degc(t));
        let string = (curve, OWN_MODULE.change_per_k(cell));
        peak_sensitivity(&[string], &curve.max_power())
    };
    for row in load_reference::<SlopeRow>("module_slopes.csv", 6) {
        let (g, t) = (row.irradiance_w_m2, row.cell_degc);
        let light = 1.01_f64.ln();
        let warmer = [0.0, 0.5, 1.0].map(|k| at(g, t + k));
        let lighter = [0.0, 0.5, 1.0].map(|share: f64| at(g * (share * light).exp(), t));
        // Over three points, by Simpson.
        let sum = |[a, b, c]: [f64; 3], step: f64| step * (a + 4.0 * b + c) / 6.0;
        let volts_k = sum(warmer.map(|s| s.voltage_per_k), 1.0);
        let amps_k = sum(warmer.map(|s| s.current_per_k), 1.0);
        let pairs = [
            (volts_k, row.vmp_ratio_per_k),
            (amps_k, row.imp_ratio_per_k),
            (volts_k + amps_k, row.pmp_ratio_per_k),
            (
                sum(lighter.map(|s| s.voltage_by_light), light),
                row.vmp_ratio_per_light,
            ),
            (
                sum(lighter.map(|s| s.current_by_light), light),
                row.imp_ratio_per_light,
            ),
        ];
        for (logarithm, wanted) in pairs {
            let tolerance = relative(FIVE_DIGITS, wanted) + ROUNDING;
            let label = format!("{g} W/m2 {t} degC");
            assert_close!(logarithm.exp_m1(), wanted, tolerance, label);
        }
    }
}
