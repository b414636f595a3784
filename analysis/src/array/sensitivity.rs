//! How the peak of an input moves with light and with heat.
//!
//! Model:   the strings of an input share V, so at the peak f = I + V I' = 0 with I = sum I_k(V),
//!          I' = dI/dV; with a parameter p, dV/dp = -(I_p + V I'_p) / (2 I' + V I''),
//!          dI/dp = I_p + I' dV/dp, all at a fixed V.
//!          Of one string, with E = I_0 exp(x), D = E + G_sh a, W = a + R_s D:
//!          I' = -D / W,  I'' = -E a / W3;
//!          at a fixed x: i = I_L,p - I_0,p (exp(x) - 1) - (G_sh a)_p x,  v = a_p x - R_s i;
//!          at a fixed V: x_p = -v / W,  I_p = i - D x_p,  I'_p = (D a_p - a D_p) / W2 with
//!          D_p = E (x_p + I_0,p / I_0) + (G_sh a)_p
//! Symbols: as in `curve`; p  ln G, or T [K]; an index p is a derivative
//! Range:   as in `diode`. All strings' light changes by one ratio and all their heat by one step;
//!          strings between whose peaks the input has one (see `parallel`).
//! Source:  own, from the equations of `curve` and `diode`.
//! Check:   tests/data/reference/module_slopes.csv (tests/reference/array.rs), and differences of
//!          peaks below.

use super::diode::{BAND_GAP_AT_0_K_EV, BOLTZMANN_EV_PER_K, REFERENCE_K};
use super::{Curve, ModuleModel, OperatingPoint};
use crate::reading::Temperature;

/// Relative change of a curve's parameters with the light or the heat. Series and parallel do not
/// change it, nor does a cable.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurveChange {
    photo: f64,
    saturation: f64,
    ideality: f64,
    shunt: f64,
}

/// Per unit of ln G.
const BY_LIGHT: CurveChange = CurveChange {
    photo: 1.0,
    saturation: 0.0,
    ideality: 0.0,
    shunt: 1.0,
};

/// Relative change of a peak.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PeakSensitivity {
    /// d ln V / d ln G [-].
    pub voltage_by_light: f64,
    /// d ln I / d ln G [-].
    pub current_by_light: f64,
    /// d ln V / dT [1/K].
    pub voltage_per_k: f64,
    /// d ln I / dT [1/K].
    pub current_per_k: f64,
}

impl ModuleModel {
    /// Relative change of the parameters per kelvin at a cell temperature.
    pub fn change_per_k(&self, cell: Temperature) -> CurveChange {
        let t = cell.degc() + 273.15;
        let per_t = 1.0 / t;
        let alpha = self.isc_a_per_k * (1.0 - self.adjust_ratio);
        CurveChange {
            photo: alpha / (self.photo_ref_a + alpha * (t - REFERENCE_K)),
            saturation: per_t * (3.0 + BAND_GAP_AT_0_K_EV / BOLTZMANN_EV_PER_K * per_t),
            ideality: per_t,
            shunt: 0.0,
        }
    }
}

/// How the peak of an input moves: of all its strings at once, each as its curve and its
/// [`change_per_k`](ModuleModel::change_per_k). Equal ones may stand as one, in parallel.
pub fn peak_sensitivity(
    strings: &[(Curve, CurveChange)],
    peak: &OperatingPoint,
) -> PeakSensitivity {
    let (v, i) = (peak.voltage.v(), peak.current.a());
    let (mut slope, mut bend) = (0.0, 0.0);
    let (mut light, mut heat) = (Moved::default(), Moved::default());
    for (curve, per_k) in strings {
        let own_a = if strings.len() == 1 {
            i
        } else {
            curve.current_at(peak.voltage).a()
        };
        let at = Place::new(curve, v, own_a);
        slope += at.slope();
        bend += at.bend();
        light = light.and(at.moved(&BY_LIGHT));
        heat = heat.and(at.moved(per_k));
    }
    let (per_v, per_i, fall) = (1.0 / v, 1.0 / i, 1.0 / (2.0 * slope + v * bend));
    let relative = |moved: Moved| {
        let dv = -(moved.current + v * moved.slope) * fall;
        (dv * per_v, (moved.current + slope * dv) * per_i)
    };
    let (voltage_by_light, current_by_light) = relative(light);
    let (voltage_per_k, current_per_k) = relative(heat);
    PeakSensitivity {
        voltage_by_light,
        current_by_light,
        voltage_per_k,
        current_per_k,
    }
}

/// I_p and I'_p.
#[derive(Default, Clone, Copy)]
struct Moved {
    current: f64,
    slope: f64,
}

impl Moved {
    fn and(self, other: Self) -> Self {
        Self {
            current: self.current + other.current,
            slope: self.slope + other.slope,
        }
    }
}

/// A point on a string's curve.
struct Place<'a> {
    curve: &'a Curve,
    x: f64,
    /// E.
    diode_a: f64,
    /// G_sh a.
    shunt_a: f64,
    /// D.
    both_a: f64,
    /// 1 / W.
    per_rise: f64,
}

impl<'a> Place<'a> {
    #[inline]
    fn new(curve: &'a Curve, v: f64, i: f64) -> Self {
        let x = (v + curve.series_ohm * i) / curve.ideality_v;
        let shunt_a = curve.shunt_s * curve.ideality_v;
        // The curve's own equation: an exponential less, and no other digits.
        let diode_a = curve.photo_a + curve.saturation_a - shunt_a * x - i;
        let both_a = diode_a + shunt_a;
        Self {
            curve,
            x,
            diode_a,
            shunt_a,
            both_a,
            per_rise: 1.0 / (curve.ideality_v + curve.series_ohm * both_a),
        }
    }

    fn slope(&self) -> f64 {
        -self.both_a * self.per_rise
    }

    fn bend(&self) -> f64 {
        let cube = self.per_rise * self.per_rise * self.per_rise;
        -self.diode_a * self.curve.ideality_v * cube
    }

    #[inline]
    fn moved(&self, change: &CurveChange) -> Moved {
        let c = self.curve;
        let a_p = c.ideality_v * change.ideality;
        let shunt_p = self.shunt_a * (change.shunt + change.ideality);
        let diode_p = (self.diode_a - c.saturation_a) * change.saturation;
        let i_p = c.photo_a * change.photo - diode_p - shunt_p * self.x;
        let x_p = (c.series_ohm * i_p - a_p * self.x) * self.per_rise;
        let both_p = self.diode_a * (x_p + change.saturation) + shunt_p;
        Moved {
            current: i_p - self.both_a * x_p,
            slope: (self.both_a * a_p - c.ideality_v * both_p) * self.per_rise * self.per_rise,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::array::InputCurve;
    use crate::reading::{Irradiance, Resistance};
    use proptest::prelude::*;

    const MODULE: ModuleModel = ModuleModel {
        adjust_ratio: 0.007,
        ..ModuleModel::OF_54_CELLS
    };

    /// A string: modules, light over the input's, kelvin over the input's, cable.
    type Drawn = (u16, f64, f64, f64);

    fn curves(strings: &[Drawn], w_m2: f64, degc: f64) -> Vec<(Curve, CurveChange)> {
        let string = |&(count, light, warmer, cable_ohm): &Drawn| {
            let cell = Temperature::from_degc(degc + warmer);
            let module = MODULE.at(Irradiance::from_w_m2(light * w_m2), cell);
            let module = module.expect("in range");
            let string = module.in_series(count, Resistance::from_ohm(cable_ohm));
            (string, MODULE.change_per_k(cell))
        };
        strings.iter().map(string).collect()
    }

    fn peak(strings: &[Drawn], w_m2: f64, degc: f64) -> OperatingPoint {
        let curves = curves(strings, w_m2, degc);
        let curves: Vec<Curve> = curves.iter().map(|(curve, _)| *curve).collect();
        InputCurve::new(&curves).expect("strings").max_power()
    }

    /// Differences of ln V and ln I between peaks at one and at two steps either way.
    fn by_differences(strings: &[Drawn], w_m2: f64, degc: f64) -> [f64; 4] {
        const LIGHT: f64 = 0.01;
        const HEAT_K: f64 = 0.5;
        let slopes = |at: &dyn Fn(f64) -> OperatingPoint, step: f64| {
            let [far_low, low, high, far_high] = [-2.0, -1.0, 1.0, 2.0].map(|n| at(n * step));
            let slope = |of: fn(&OperatingPoint) -> f64| {
                let (near, far) = (of(&high) / of(&low), of(&far_high) / of(&far_low));
                (8.0 * near.ln() - far.ln()) / (12.0 * step)
            };
            [slope(|p| p.voltage.v()), slope(|p| p.current.a())]
        };
        let [v_light, i_light] = slopes(&|dg| peak(strings, w_m2 * dg.exp(), degc), LIGHT);
        let [v_heat, i_heat] = slopes(&|dt| peak(strings, w_m2, degc + dt), HEAT_K);
        [v_light, i_light, v_heat, i_heat]
    }

    fn compare(strings: &[Drawn], w_m2: f64, degc: f64) -> Result<(), TestCaseError> {
        /// A peak's V and I are good to 1e-9: over steps of 1 % and 0.5 K.
        const OFF: [f64; 4] = [2e-7, 2e-7, 4e-9, 4e-9];
        let found = peak_sensitivity(&curves(strings, w_m2, degc), &peak(strings, w_m2, degc));
        let found = [
            found.voltage_by_light,
            found.current_by_light,
            found.voltage_per_k,
            found.current_per_k,
        ];
        let wanted = by_differences(strings, w_m2, degc);
        for n in 0..4 {
            let off = (found[n] - wanted[n]).abs();
            prop_assert!(off <= OFF[n], "{}: {:?} {:?}", n, found, wanted);
        }
        Ok(())
    }

    proptest! {
        #[test]
        fn of_equal_strings_it_is_the_difference_of_two_peaks(
            w_m2 in 5.0..1300.0f64,
            degc in -30.0..95.0f64,
            count in 1u16..25,
            strings in 1usize..4,
            cable_ohm in 0.0..2.0f64,
        ) {
            compare(&vec![(count, 1.0, 0.0, cable_ohm); strings], w_m2, degc)?;
        }

        #[test]
        fn of_unequal_strings_it_is_the_difference_of_two_peaks(
            w_m2 in 20.0..1100.0f64,
            degc in -20.0..80.0f64,
            strings in prop::collection::vec(
                (14u16..20, 0.8..1.15f64, -5.0..5.0f64, 0.0..2.0f64), 2..5,
            ),
        ) {
            compare(&strings, w_m2, degc)?;
        }
    }

    #[test]
    fn equal_strings_may_stand_as_one() {
        const ROUNDING: f64 = 1e-9;
        let string = (18, 1.0, 0.0, 0.4);
        let apart = curves(&[string; 3], 700.0, 45.0);
        let (curve, per_k) = apart[0];
        let peak = peak(&[string; 3], 700.0, 45.0);
        let (one, all) = (
            peak_sensitivity(&[(curve.in_parallel(3), per_k)], &peak),
            peak_sensitivity(&apart, &peak),
        );
        assert!((one.voltage_by_light - all.voltage_by_light).abs() < ROUNDING);
        assert!((one.current_by_light - all.current_by_light).abs() < ROUNDING);
        assert!((one.voltage_per_k - all.voltage_per_k).abs() < ROUNDING);
        assert!((one.current_per_k - all.current_per_k).abs() < ROUNDING);
    }
}
