//! What must hold of any array: strings of unequal length side by side, refusals outside the range,
//! and datasheets of modules that could exist.

use super::diode::{BOLTZMANN_EV_PER_K, REFERENCE_K};
use super::*;
use crate::plant::{Ageing, Module};
use crate::reading::{Current, Irradiance, Resistance, Temperature, Voltage};
use proptest::prelude::*;

/// Roots and peaks are solved to a few last digits; sums of strings keep most of them.
const SOLVED_RATIO: f64 = 1e-9;

fn module_curve(w_m2: f64, degc: f64) -> Curve {
    ModuleModel::OF_54_CELLS
        .at(Irradiance::from_w_m2(w_m2), Temperature::from_degc(degc))
        .expect("in range")
}

fn string(count: u16, w_m2: f64, cable_ohm: f64) -> Curve {
    module_curve(w_m2, 45.0).in_series(count, Resistance::from_ohm(cable_ohm))
}

#[test]
fn light_outside_the_range_is_refused_with_its_number() {
    for w_m2 in [-1.0, 0.0, 0.49, 1600.1, f64::INFINITY, f64::NAN] {
        let refused =
            ModuleModel::OF_54_CELLS.at(Irradiance::from_w_m2(w_m2), Temperature::from_degc(25.0));
        let Err(ArrayError::Irradiance { found_w_m2 }) = refused else {
            panic!("{w_m2} W/m2 gave {refused:?}");
        };
        assert_eq!(found_w_m2.to_bits(), w_m2.to_bits());
    }
}

#[test]
fn heat_outside_the_range_is_refused_with_its_number() {
    for degc in [-60.1, 120.1, f64::NEG_INFINITY, f64::INFINITY, f64::NAN] {
        let refused =
            ModuleModel::OF_54_CELLS.at(Irradiance::from_w_m2(800.0), Temperature::from_degc(degc));
        let Err(ArrayError::Cell { found_degc }) = refused else {
            panic!("{degc} degC gave {refused:?}");
        };
        assert_eq!(found_degc.to_bits(), degc.to_bits());
    }
}

#[test]
fn the_edges_of_the_range_belong_to_it() {
    for (w_m2, degc) in [(0.5, -60.0), (0.5, 120.0), (1600.0, -60.0), (1600.0, 120.0)] {
        let curve = module_curve(w_m2, degc);
        let peak = curve.max_power();
        assert!(peak.power().w() > 0.0, "{w_m2} {degc} {peak:?}");
        assert!(peak.voltage.v() < curve.open_circuit().v());
        assert!(peak.current.a() < curve.short_circuit().a());
    }
}

#[test]
fn an_input_without_strings_is_refused() {
    assert_eq!(InputCurve::new(&[]), Err(ArrayError::NoStrings));
}

/// Every kind of not-a-number in a datasheet ends in the same refusal.
#[test]
fn a_datasheet_with_nan_is_refused() {
    let good = datasheet(&ModuleModel::OF_54_CELLS, 54, 0.00045, 0.0, (0.0, 0.0));
    let nan = (Voltage::from_v(f64::NAN), Current::from_a(f64::NAN));
    let bad = [
        Module {
            voc: nan.0,
            ..good.clone()
        },
        Module {
            vmp: nan.0,
            ..good.clone()
        },
        Module {
            isc: nan.1,
            ..good.clone()
        },
        Module {
            imp: nan.1,
            ..good.clone()
        },
        Module {
            voc: Voltage::from_v(f64::INFINITY),
            ..good.clone()
        },
        Module {
            isc_temp_ratio_per_k: f64::NAN,
            ..good.clone()
        },
        Module {
            voc_temp_ratio_per_k: f64::NAN,
            ..good.clone()
        },
        Module {
            cells_in_series: 0,
            ..good
        },
    ];
    for module in bad {
        let fitted = fit_datasheet(&module);
        assert!(fitted.is_err(), "{module:?} gave {fitted:?}");
    }
}

/// Above every ideal diode: nothing is near such a sheet.
#[test]
fn a_datasheet_beyond_an_ideal_diode_is_refused() {
    let mut module = datasheet(&ModuleModel::OF_54_CELLS, 54, 0.00045, 0.0, (0.0, 0.0));
    module.vmp = Voltage::from_v(0.95 * module.voc.v());
    module.imp = Current::from_a(0.99 * module.isc.a());
    assert!(matches!(
        fit_datasheet(&module),
        Err(FitError::NoCurve { .. })
    ));
}

/// A sheet of a module almost without shunt, its values means over a class: the peak asks for less
/// than none.
#[test]
fn a_peak_that_asks_for_less_than_no_shunt_is_fitted_without() {
    let leakless = ModuleModel {
        shunt_ref_ohm: 1e6,
        series_ohm: 0.25,
        ..ModuleModel::OF_54_CELLS
    };
    let sheet = datasheet(&leakless, 54, 0.00045, 0.0, (-PEAK_MOVED, PEAK_MOVED));
    let fitted = fit_datasheet(&sheet).expect("near a curve");
    assert_eq!(fitted.model.shunt_ref_ohm, f64::INFINITY);
    assert!(
        (0.0005..0.01).contains(&fitted.vmp_error_ratio),
        "{fitted:?}"
    );
    let light = Irradiance::from_w_m2(200.0);
    let dim = fitted.model.at(light, Temperature::from_degc(40.0));
    assert!(dim.expect("in range").max_power().power().w() > 0.0);
}

proptest! {
    /// The point must be on the curve as the equation has it, however far beyond open circuit.
    #[test]
    fn current_solves_the_diode_equation(
        w_m2 in 0.5..1600.0f64,
        degc in -40.0..100.0f64,
        count in 1u16..25,
        cable_ohm in 0.0..2.0f64,
        share in -0.2..25.0f64,
    ) {
        let curve = module_curve(w_m2, degc).in_series(count, Resistance::from_ohm(cable_ohm));
        let v = share * curve.open_circuit().v();
        let i = curve.current_at(Voltage::from_v(v)).a();
        let x = (v + curve.series_ohm * i) / curve.ideality_v;
        let diode = curve.saturation_a * x.exp_m1();
        let shunt = curve.shunt_s * curve.ideality_v * x;
        // The exponent carries the last digits of V and I R_s, which the diode enlarges.
        let scale = curve.photo_a + (diode + shunt).abs() * (1.0 + v.abs() / curve.ideality_v);
        let off = curve.photo_a - diode - shunt - i;
        prop_assert!(off.abs() <= SOLVED_RATIO * scale, "{} of {}", off, scale);
    }

    #[test]
    fn the_peak_of_unequal_strings_is_inside_their_own_peaks(
        counts in prop::collection::vec(4u16..25, 2..5),
        w_m2 in 20.0..1300.0f64,
        shade in 0.3..1.0f64,
        cable_ohm in 0.0..3.0f64,
        share in 0.0..1.0f64,
    ) {
        let mut strings: Vec<Curve> = counts.iter().map(|&n| string(n, w_m2, 0.4)).collect();
        strings[0] = string(counts[0], shade * w_m2, cable_ohm);
        let input = InputCurve::new(&strings).expect("strings");
        let peak = input.max_power();
        let own: Vec<_> = strings.iter().map(Curve::max_power).collect();
        let volts = || own.iter().map(|p| p.voltage.v());
        let (low, high) = (volts().fold(f64::MAX, f64::min), volts().fold(0.0, f64::max));
        let rounding = SOLVED_RATIO * high;
        prop_assert!((low - rounding..=high + rounding).contains(&peak.voltage.v()));
        // All strings at one voltage never do better than each at its own.
        let sum: f64 = own.iter().map(|p| p.power().w()).sum();
        prop_assert!(peak.power().w() <= sum * (1.0 + SOLVED_RATIO));
        // And no other voltage between does better than the peak.
        let v = low + share * (high - low);
        let there = v * input.current_at(Voltage::from_v(v)).a();
        prop_assert!(there <= peak.power().w() * (1.0 + SOLVED_RATIO), "{} {:?}", there, peak);
    }

    /// Beside longer strings at open circuit, a short one takes what they give.
    #[test]
    fn a_short_string_takes_reverse_current(
        short in 4u16..20,
        missing in 1u16..4,
        w_m2 in 20.0..1300.0f64,
        others in 1usize..4,
    ) {
        let long = string(short + missing, w_m2, 0.4);
        let short = string(short, w_m2, 0.4);
        let mut strings = vec![long; others];
        strings.push(short);
        let input = InputCurve::new(&strings).expect("strings");
        let (low, high) = (short.open_circuit(), long.open_circuit());
        let at = |v: Voltage| input.current_at(v).a();
        prop_assert!(at(low) > 0.0 && at(high) < 0.0, "open circuit lies between");
        prop_assert!(short.current_at(high).a() < 0.0);
        prop_assert!((at(high) - short.current_at(high).a()).abs() < SOLVED_RATIO * at(low).abs()
            + SOLVED_RATIO * short.current_at(high).a().abs());
        prop_assert!(input.slope_at(high) < 0.0);
    }
}

/// Datasheets of modules that could exist: random cells of crystalline silicon with series and
/// shunt losses down to almost none, rounded as datasheets round (0.1 V, 0.01 A, 0.01 %/K), with a
/// Voc coefficient up to 0.03 %/K off and a peak moved by up to 0.5 % in voltage and in current, as
/// where the values are means over a class.
fn any_datasheet() -> impl Strategy<Value = Module> {
    let cells = prop::sample::select(vec![36u16, 48, 54, 60, 66, 72, 78, 96, 108, 120, 144]);
    let diode = (0.95..1.3f64, 0.58..0.74f64, 3.0..20.0f64);
    let losses = (0.006..0.05f64, 0.0..0.06f64);
    let coefficients = (0.0002..0.0007f64, -0.0003..0.0003f64);
    let moved = (-PEAK_MOVED..PEAK_MOVED, -PEAK_MOVED..PEAK_MOVED);
    (cells, diode, losses, coefficients, moved).prop_map(
        |(cells, (n, voc_cell, isc), (series, shunt), (alpha, beta_off), moved)| {
            let a = n * f64::from(cells) * BOLTZMANN_EV_PER_K * REFERENCE_K;
            let voc = voc_cell * f64::from(cells);
            let shunt_s = shunt * isc / voc;
            let model = ModuleModel {
                photo_ref_a: isc,
                saturation_ref_a: (isc - voc * shunt_s) / (voc / a).exp_m1(),
                series_ohm: series * voc / isc,
                shunt_ref_ohm: shunt_s.recip(),
                ideality_ref_v: a,
                isc_a_per_k: alpha * isc,
                adjust_ratio: 0.0,
            };
            datasheet(&model, cells, alpha, beta_off, moved)
        },
    )
}

/// How far a peak on a sheet may be from that of any curve, in voltage and in current.
const PEAK_MOVED: f64 = 0.005;

fn datasheet(
    model: &ModuleModel,
    cells: u16,
    alpha: f64,
    beta_off: f64,
    (moved_v, moved_a): (f64, f64),
) -> Module {
    let at = |degc| {
        let light = Irradiance::from_w_m2(1000.0);
        model
            .at(light, Temperature::from_degc(degc))
            .expect("in range")
    };
    let (cool, warm) = (at(25.0), at(50.0));
    let round = |value: f64, per_unit: f64| (value * per_unit).round() / per_unit;
    let (peak, voc) = (cool.max_power(), cool.open_circuit().v());
    let beta = (warm.open_circuit().v() - voc) / 25.0 / voc + beta_off;
    Module {
        id: "random".to_owned(),
        voc: Voltage::from_v(round(voc, 10.0)),
        isc: Current::from_a(round(cool.short_circuit().a(), 100.0)),
        vmp: Voltage::from_v(round(peak.voltage.v() * (1.0 + moved_v), 10.0)),
        imp: Current::from_a(round(peak.current.a() * (1.0 + moved_a), 100.0)),
        cells_in_series: cells,
        bypass_sections: 3,
        isc_temp_ratio_per_k: round(alpha, 10_000.0),
        voc_temp_ratio_per_k: round(beta, 10_000.0),
        pmax_temp_ratio_per_k: -0.0035,
        power_tolerance_ratio: 0.03,
        ageing: Ageing::NONE,
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]

    #[test]
    fn every_plausible_datasheet_is_fitted_and_given_back(module in any_datasheet()) {
        /// The conditions are met to rounding; the curve is solved to 1e-13 in x.
        const TOLERANCE: f64 = 1e-8;
        /// The peak of an edge is no further away than the sheet was moved and rounded:
        /// 0.05 V of the lowest Vmp here, 16 V.
        const MOST_VMP_ERROR: f64 = PEAK_MOVED + 0.05 / 16.0;
        let fitted = fit_datasheet(&module);
        prop_assert!(fitted.is_ok(), "{:?}", fitted);
        let fitted = fitted.expect("just checked");
        let stc = (Irradiance::from_w_m2(1000.0), Temperature::from_degc(25.0));
        let curve = fitted.model.at(stc.0, stc.1).expect("in range");
        let peak = curve.max_power();
        let pairs = [
            (curve.open_circuit().v(), module.voc.v()),
            (curve.short_circuit().a(), module.isc.a()),
            (peak.voltage.v() * peak.current.a(), module.pmp().w()),
            (peak.voltage.v(), module.vmp.v() * (1.0 + fitted.vmp_error_ratio)),
        ];
        for (found, wanted) in pairs {
            prop_assert!((found / wanted - 1.0).abs() < TOLERANCE, "{} {}", found, wanted);
        }
        prop_assert!(fitted.vmp_error_ratio.abs() < MOST_VMP_ERROR, "{:?}", fitted);
    }
}
