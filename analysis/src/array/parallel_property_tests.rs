//! What must hold of any input of shaded strings side by side.

use super::*;
use crate::reading::{Irradiance, Resistance, Temperature, Voltage};
use proptest::prelude::*;

/// Roots are solved to a few last digits; sums of strings keep most of them.
const SOLVED_RATIO: f64 = 1e-9;

/// A third of a module of 54 cells, under one bypass diode.
const SECTION: ModuleModel = ModuleModel {
    photo_ref_a: 13.957,
    saturation_ref_a: 2.046e-11,
    series_ohm: 0.1623 / 3.0,
    shunt_ref_ohm: 326.3 / 3.0,
    ideality_ref_v: 1.373 / 3.0,
    isc_a_per_k: 0.006_28,
    adjust_ratio: 0.0,
};

fn section(w_m2: f64, degc: f64, count: u16, bypassed: bool) -> Section {
    let (light, cell) = (Irradiance::from_w_m2(w_m2), Temperature::from_degc(degc));
    Section {
        curve: SECTION.at(light, cell).expect("in range"),
        count,
        bypassed,
    }
}

/// One to three kinds of sections, some of them with an open diode.
fn any_sections() -> impl Strategy<Value = Vec<Section>> {
    let works = prop::bool::weighted(0.9);
    let kind = (20.0..1200.0f64, 0.0..75.0f64, 1u16..30, works)
        .prop_map(|(w_m2, degc, count, works)| section(w_m2, degc, count, works));
    prop::collection::vec(kind, 1..4)
}

fn shaded(sections: Vec<Section>, cable_ohm: f64) -> ShadedString {
    ShadedString::new(sections, Resistance::from_ohm(cable_ohm)).expect("sections with shunts")
}

fn any_string() -> impl Strategy<Value = ShadedString> {
    (any_sections(), 0.0..2.0f64).prop_map(|(sections, cable_ohm)| shaded(sections, cable_ohm))
}

/// Shaded strings, and one in even light in half of the cases.
fn any_strings() -> impl Strategy<Value = Vec<StringCurve>> {
    let even = (any_even(), prop::bool::ANY).prop_map(|(curve, there)| there.then_some(curve));
    (prop::collection::vec(any_string(), 1..4), even).prop_map(|(shaded, even)| {
        let shaded = shaded.into_iter().map(StringCurve::Shaded);
        shaded.chain(even.map(StringCurve::Even)).collect()
    })
}

fn any_even() -> impl Strategy<Value = Curve> {
    (20.0..1200.0f64, 6u16..80).prop_map(|(w_m2, count)| {
        let one = section(w_m2, 45.0, 1, true).curve;
        one.in_series(count, Resistance::from_ohm(0.4))
    })
}

fn input(strings: &[StringCurve]) -> InputCurve {
    InputCurve::with_shade(strings).expect("strings")
}

fn amps(input: &InputCurve, v: f64) -> f64 {
    input.current_at(Voltage::from_v(v)).a()
}

fn watts(input: &InputCurve, v: f64) -> f64 {
    v * amps(input, v)
}

#[test]
fn an_input_without_strings_is_refused() {
    assert_eq!(InputCurve::with_shade(&[]), Err(ArrayError::NoStrings));
}

/// The model's own limit: diodes of a fixed drop and no cable.
#[test]
fn below_the_drop_of_all_diodes_the_cable_alone_limits_the_current() {
    let sections = [
        section(1000.0, 45.0, 4, true),
        section(300.0, 45.0, 2, true),
    ];
    let string = |cable_ohm| shaded(sections.to_vec(), cable_ohm);
    let below = Voltage::from_v(-3.0 - 30.0);
    assert_eq!(string(0.0).current_at(below).a(), f64::INFINITY);
    assert_eq!(string(0.0).slope_at(below), f64::NEG_INFINITY);
    assert!((string(0.5).current_at(below).a() - 60.0).abs() < 1e-9);
    assert!((string(0.5).slope_at(below) + 2.0).abs() < 1e-12);
}

proptest! {
    /// The voltage of the current of a voltage is that voltage, from where all diodes conduct to
    /// far beyond open circuit.
    #[test]
    fn current_at_a_voltage_is_the_inverse_of_voltage_at_a_current(
        string in any_string(),
        share in -0.02..6.0f64,
    ) {
        let v = share * string.open_circuit().v();
        let current = string.current_at(Voltage::from_v(v));
        prop_assume!(current.a().is_finite());
        let again = string.voltage_at(current).v();
        // A rounding of the current, times the slope there.
        let scale = v.abs() + (current.a() / string.slope_at(Voltage::from_v(v))).abs() + 1.0;
        prop_assert!((again - v).abs() <= SOLVED_RATIO * scale, "{} {}", again, v);
    }

    #[test]
    fn current_falls_with_voltage_at_the_slope_that_is_told(
        strings in any_strings(),
        share in 0.0..1.4f64,
    ) {
        /// Second differences of an exponential over this step, relative.
        const CHORD_RATIO: f64 = 1e-3;
        let input = input(&strings);
        let v = share * input.open_circuit().v();
        let step = 1e-5;
        let (low, high) = (amps(&input, v), amps(&input, v + step));
        prop_assert!(high < low);
        let (before, after) = (v, v + step);
        let slopes = [before, after].map(|v| input.slope_at(Voltage::from_v(v)));
        let chord = (high - low) / step;
        // Rounding of two currents, over the step.
        let rounding = 1e-13 * (low.abs() + 100.0) / step;
        let steep = slopes[0].min(slopes[1]) * (1.0 + CHORD_RATIO) - rounding;
        let flat = slopes[0].max(slopes[1]) * (1.0 - CHORD_RATIO) + rounding;
        prop_assert!((steep..=flat).contains(&chord), "{} {:?}", chord, slopes);
    }

    #[test]
    fn equal_strings_are_one_string_times_their_count(
        string in any_string(),
        count in 1usize..5,
        share in 0.0..1.4f64,
    ) {
        let (m, v) = (count as f64, share * string.open_circuit().v());
        let strings = vec![StringCurve::Shaded(string.clone()); count];
        let input = input(&strings);
        let one = string.current_at(Voltage::from_v(v)).a();
        prop_assert!((amps(&input, v) - m * one).abs() <= SOLVED_RATIO * (m * one).abs().max(1.0));
        let (all, own) = (input.peaks(), string.peaks());
        prop_assert_eq!(all.len(), own.len());
        // Peaks are flat: their power keeps all digits that their place loses.
        for (all, own) in all.iter().zip(&own) {
            let wanted = m * own.power().w();
            prop_assert!((all.power().w() - wanted).abs() <= SOLVED_RATIO * wanted);
        }
    }

    /// Nearly equal strings are not one group, and go the other way to the same peaks.
    #[test]
    fn peaks_over_voltage_are_those_over_current(
        sections in any_sections(),
        cable_ohm in 0.0..2.0f64,
    ) {
        const A_LITTLE_OHM: f64 = 1e-9;
        let string = shaded(sections.clone(), cable_ohm);
        let other = shaded(sections, cable_ohm + A_LITTLE_OHM);
        let both = input(&[StringCurve::Shaded(string.clone()), StringCurve::Shaded(other)]);
        let (both, own) = (both.peaks(), string.peaks());
        prop_assert_eq!(both.len(), own.len(), "{:?} {:?}", both, own);
        for (both, own) in both.iter().zip(&own) {
            let wanted = 2.0 * own.power().w();
            prop_assert!((both.power().w() - wanted).abs() <= 1e-7 * wanted);
        }
    }

    #[test]
    fn a_further_string_never_lowers_the_current_below_its_open_circuit(
        strings in any_strings(),
        further in any_string(),
        share in 0.0..1.0f64,
    ) {
        let v = share * further.open_circuit().v();
        let before = amps(&input(&strings), v);
        let mut more = strings;
        more.push(StringCurve::Shaded(further));
        let after = amps(&input(&more), v);
        prop_assert!(after >= before - SOLVED_RATIO * before.abs(), "{} {}", after, before);
    }

    #[test]
    fn no_point_of_a_fine_grid_has_more_power_than_the_first_peak(strings in any_strings()) {
        const POINTS: u16 = 2001;
        let input = input(&strings);
        let peaks = input.peaks();
        let most = peaks[0].power().w() * (1.0 + SOLVED_RATIO);
        let sampled = input.sampled(POINTS);
        prop_assert!(sampled.iter().all(|point| point.power().w() <= most));
        prop_assert_eq!(input.max_power(), peaks[0]);
        prop_assert!(peaks.windows(2).all(|p| p[0].power().w() >= p[1].power().w()));
    }

    /// And the grid has no top that is not among the peaks.
    #[test]
    fn every_top_of_a_fine_grid_is_a_peak_and_the_other_way_round(strings in any_strings()) {
        const POINTS: u16 = 4001;
        let input = input(&strings);
        let step = input.open_circuit().v() / f64::from(POINTS - 1);
        let peaks: Vec<f64> = input.peaks().iter().map(|p| p.voltage.v()).collect();
        let sampled: Vec<f64> = input.sampled(POINTS).iter().map(|p| p.power().w()).collect();
        for (n, three) in sampled.windows(3).enumerate() {
            let (v, most) = ((n + 1) as f64 * step, three[0].max(three[2]));
            if three[1] > most * (1.0 + SOLVED_RATIO) {
                prop_assert!(peaks.iter().any(|p| (p - v).abs() <= step), "{} {:?}", v, peaks);
            }
        }
        for &peak in &peaks {
            let (near, step) = (watts(&input, peak), 1e-6 * peak);
            let beside = [peak - step, peak + step].map(|v| watts(&input, v));
            prop_assert!(beside.into_iter().all(|w| w <= near * (1.0 + 1e-12)), "{}", peak);
        }
    }

    /// At the open circuit of the input the strings feed each other.
    #[test]
    fn currents_at_open_circuit_add_up_to_nothing(strings in any_strings()) {
        let input = input(&strings);
        let open = input.open_circuit();
        let slope = input.slope_at(open).abs();
        let rounding = 1e-12 * (open.v() * slope + input.short_circuit().a());
        prop_assert!(input.current_at(open).a().abs() <= rounding);
        prop_assert!(amps(&input, 0.999 * open.v()) > 0.0);
    }
}
