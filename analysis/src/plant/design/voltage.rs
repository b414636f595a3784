//! Voltages of a string against the limits of its inverter.
//!
//! Model:   Voc_cold = N Voc (1 + beta (T_min - 25))                                         (1)
//!          Voc_cold = N Voc F(T_min), F from a table of temperature bands                    (2)
//!          Vmp(T) = N Vmp (1 + (gamma - alpha) (T - 25))                                     (3)
//!          Voc_low = N (Voc (1 + beta (T_low - 25)) + n Ns k T / q ln(G_low / 1000))         (4)
//! Symbols: N  modules in series [-]   Voc, Vmp  of one module at 25 degC, 1000 W/m2 [V]
//!          alpha, beta, gamma  temperature coefficients of Isc, Voc, Pmax over their value [1/K]
//!          T  cell temperature [degC]; in k T / q [K]   k / q  8.617333e-5 V/K   n  ideality [-]
//!          Ns  cells in series [-]   G  irradiance [W/m2]   F  factor [-]
//! Range:   crystalline silicon; (2) from 25 degC down to -40 degC, below it no line.
//! Source:  (1) as printed in module manuals; (2) table of AS/NZS 5033, IEC 62548, NEC 690.7,
//!          from memory, verify; (3), (4) first order of the one-diode model, common practice.
//! Check:   tests below, against numbers computed with a one-diode model and by hand.

use super::{ASSUMED_COLDEST_DEGC, Check, Line, Verdict, line, of_string};
use crate::plant::{Input, Inverter, Module, Plant, PvString};

const STC_DEGC: f64 = 25.0;

/// All voltage lines of one string.
pub(super) fn string(
    plant: &Plant,
    inverter: &Inverter,
    input: &Input,
    string: &PvString,
) -> Vec<Line> {
    let module = &plant.modules[string.module];
    let n = f64::from(string.count);
    let subject = || of_string(inverter, input, string);
    let site = &plant.site;
    let coldest = site.design_coldest.map(|t| t.degc());
    let (t_min, assumed) = (coldest.unwrap_or(ASSUMED_COLDEST_DEGC), coldest.is_none());
    let t_max = site.design_hottest_cell.degc();
    let max_dc = inverter.max_dc_voltage.v();
    let mut lines = Vec::new();

    let up_to_max_dc = (max_dc, Verdict::Wrong);
    let voc = n * voc_at(module, t_min);
    lines.push(line(subject(), Check::ColdestVoc, voc, up_to_max_dc));
    if let Some(factor) = coldest_factor(t_min) {
        let voc = n * module.voc.v() * factor; // eq. (2)
        let limit = (max_dc, Verdict::Look);
        lines.push(line(subject(), Check::ColdestVocByFactor, voc, limit));
    }
    let window_max = (inverter.tracking_max.v(), Verdict::Look);
    let vmp_cold = n * vmp_at(module, t_min);
    lines.push(line(subject(), Check::ColdestVmp, vmp_cold, window_max));
    if assumed {
        // On an assumed temperature nothing is simply ok, and nothing simply wrong.
        lines.iter_mut().for_each(|l| l.verdict = Verdict::Look);
    }
    let window_min = (inverter.tracking_min.v(), Verdict::Wrong);
    let vmp_hot = n * vmp_at(module, t_max);
    lines.push(line(subject(), Check::HottestVmp, vmp_hot, window_min));
    let start = (inverter.start_voltage.v(), Verdict::Wrong);
    let voc_low = n * low_light_voc(module);
    lines.push(line(subject(), Check::StartVoltage, voc_low, start));
    lines
}

/// Eq. (1), one module.
fn voc_at(module: &Module, t: f64) -> f64 {
    module.voc.v() * (1.0 + module.voc_temp_ratio_per_k * (t - STC_DEGC))
}

/// Eq. (3), one module.
fn vmp_at(module: &Module, t: f64) -> f64 {
    let per_k = module.pmax_temp_ratio_per_k - module.isc_temp_ratio_per_k;
    module.vmp.v() * (1.0 + per_k * (t - STC_DEGC))
}

/// Early light in which an inverter should start.
const LOW_IRRADIANCE_W_M2: f64 = 50.0;
const LOW_LIGHT_DEGC: f64 = 10.0;
const BOLTZMANN_OVER_CHARGE_V_K: f64 = 8.617333e-5;

/// Eq. (4), one module, with n = 1.
fn low_light_voc(module: &Module) -> f64 {
    let thermal_v = BOLTZMANN_OVER_CHARGE_V_K * (LOW_LIGHT_DEGC + 273.15);
    let cells = f64::from(module.cells_in_series);
    voc_at(module, LOW_LIGHT_DEGC) + cells * thermal_v * (LOW_IRRADIANCE_W_M2 / 1000.0).ln()
}

/// Lower end of each temperature band [degC] and its factor; table of the header, eq. (2).
const COLD_FACTORS: [(f64, f64); 14] = [
    (25.0, 1.00),
    (20.0, 1.02),
    (15.0, 1.04),
    (10.0, 1.06),
    (5.0, 1.08),
    (0.0, 1.10),
    (-5.0, 1.12),
    (-10.0, 1.14),
    (-15.0, 1.16),
    (-20.0, 1.18),
    (-25.0, 1.20),
    (-30.0, 1.21),
    (-35.0, 1.23),
    (-40.0, 1.25),
];

/// The factor of the band that holds a temperature; nothing below the table.
fn coldest_factor(t: f64) -> Option<f64> {
    // The bands are printed in whole degrees: -5.5 belongs to the colder one.
    let band = COLD_FACTORS.iter().find(|(low, _)| t >= *low)?;
    Some(band.1)
}

#[cfg(test)]
mod tests {
    use super::super::example::reference_module;
    use super::*;

    /// Numbers of the worked example are printed to a millivolt.
    const PRINTED_V: f64 = 5e-4;

    /// Worked by hand: 18 x 37.4 V at -3 degC with -0.28 %/K is 725.979 V; by factor 753.984 V.
    #[test]
    fn coldest_voltage_by_coefficient_and_by_factor() {
        let module = reference_module();
        assert!((18.0 * voc_at(&module, -3.0) - 725.979).abs() <= PRINTED_V);
        let by_factor = 18.0 * module.voc.v() * coldest_factor(-3.0).expect("in the table");
        assert!((by_factor - 753.984).abs() <= PRINTED_V);
    }

    /// The longest strings of the worked example: limit, by coefficient, by factor.
    #[test]
    fn longest_strings_of_the_worked_example() {
        let module = reference_module();
        let factor = coldest_factor(-3.0).expect("in the table");
        for (limit_v, by_coefficient, by_factor) in [(1100.0, 27.0, 26.0), (1000.0, 24.0, 23.0)] {
            let longest = |voc: f64| (limit_v / voc).floor();
            assert_eq!(longest(voc_at(&module, -3.0)), by_coefficient);
            assert_eq!(longest(module.voc.v() * factor), by_factor);
        }
    }

    #[test]
    fn factor_bands_end_where_the_table_prints_them() {
        for (t, factor) in [
            (24.0, 1.02),
            (20.0, 1.02),
            (19.0, 1.04),
            (4.0, 1.10),
            (-1.0, 1.12),
            (-5.0, 1.12),
            (-5.5, 1.14),
            (-6.0, 1.14),
            (-21.0, 1.20),
            (-26.0, 1.21),
            (-40.0, 1.25),
        ] {
            assert_eq!(coldest_factor(t), Some(factor), "{t} degC");
        }
        assert_eq!(coldest_factor(-40.5), None);
    }

    /// The one-diode model gives 469.63 V for 18 modules at 70 degC, 1000 W/m2 (invented module,
    /// computed with an open photovoltaic modelling library). The estimate must be on the careful
    /// side of it, and near.
    #[test]
    fn hottest_voltage_is_near_the_one_diode_value_and_under_it() {
        const ONE_DIODE_V: f64 = 469.63;
        // 2 % of it: the estimate takes the current to rise with alpha, which Imp hardly does.
        const CAREFUL_V: f64 = 9.4;
        let estimate = 18.0 * vmp_at(&reference_module(), 70.0);
        assert!(estimate <= ONE_DIODE_V, "{estimate}");
        assert!(ONE_DIODE_V - estimate <= CAREFUL_V, "{estimate}");
    }

    /// The one-diode model needs 5.70 modules for 200 V at 50 W/m2 and 10 degC, so 6.
    #[test]
    fn shortest_string_that_starts() {
        // Printed to two decimals; the ideality fitted there is not exactly 1.
        const MODULES: f64 = 0.02;
        let shortest = 200.0 / low_light_voc(&reference_module());
        assert!((shortest - 5.70).abs() <= MODULES, "{shortest}");
        assert_eq!(shortest.ceil(), 6.0);
    }
}
