//! The one-diode I-V curve of anything from a module to an input of equal strings.
//!
//! Model:   I = I_L - I_0 (exp(x) - 1) - G_sh a x,  V = a x - R_s I,  x = (V + R_s I) / a.
//!          Both are explicit in x; I falls and V rises with x, so every question is one root in x.
//!          N in series through a cable R: a -> N a, R_s -> N R_s + R, G_sh -> G_sh / N.
//!          M in parallel: I_L, I_0, G_sh -> M times, R_s -> R_s / M.
//!          Newton from the side on which the function is convex or concave converges without
//!          overshoot: V(x) is convex and I(x) concave, and each start lies beyond the root.
//!          Peak: E = I_0 exp(x), D = E + G_sh a, k = 2 R_s / a, J = I_L + I_0 + G_sh a (1 - x);
//!          dP/dx = 0 is (J - D) (1 + k D) = x D. Of its positive root D(x), the logarithm
//!          x = ln((D - G_sh a) / I_0) is a fixed point of slope -r near -1 / x. Its second
//!          derivative is r2 (1 - 2 k D r) but for the shunt: Halley's step on the difference gains
//!          five digits. Where the shunt takes the peak, D - G_sh a is a difference of near numbers
//!          or below zero; then dP/dx, which changes its sign once up to open circuit, is halved.
//! Symbols: I_L, I_0 [A], a modified ideality n N_s k T / q [V], R_s [ohm], G_sh [S], x [-].
//! Range:   I_L > 0, I_0 > 0, a > 0, R_s >= 0, G_sh >= 0.
//! Source:  W. De Soto, S. Klein, W. Beckman, Solar Energy 80 (2006) 78; the substitution is own.
//! Check:   tests/reference/array.rs, three module grids and one curve to the ninth digit that is
//!          stored; `property_tests`, the equation itself to far beyond open circuit.
//!
//! Sampled curves are not used by the chain yet; `shade` takes the voltage at a current.

use crate::reading::{Current, Power, Resistance, Voltage};
use crate::sky::{exp, ln};

/// Newton's steps end here at the latest; from these starts it takes six to nine.
const MAX_STEPS: u32 = 60;
/// Step in x at which a root is good to the last digits.
const SMALL_STEP: f64 = 1e-13;

/// x of a usual peak over that of the ideal open circuit, a line; any start will do.
const USUAL_PEAK: (f64, f64) = (0.963, 2.05);
/// Steps to a peak at the diode's bend: more than it ever takes where it is one.
const MAX_PEAK_STEPS: u32 = 6;
/// Change of the logarithm in a last step [-] after which x is good to 1e-8: what is left is of the
/// third order in it, and a part of its square that is the shunt's share of the current.
const LAST_TURN: f64 = 5e-4;
const LAST_BY_SHUNT: f64 = 2e-9;
/// Fall of the fixed point [-] above which the shunt has a hand in the peak.
const STEEPEST: f64 = 0.5;
/// Halvings of the bracket of any peak: 2^-60 of its width.
const PEAK_HALVINGS: u32 = 60;

/// A point on a curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OperatingPoint {
    /// Voltage.
    pub voltage: Voltage,
    /// Current.
    pub current: Current,
}

impl OperatingPoint {
    /// Power.
    pub fn power(&self) -> Power {
        self.voltage * self.current
    }
}

/// A one-diode curve at one irradiance and temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    pub(super) photo_a: f64,
    pub(super) saturation_a: f64,
    pub(super) ideality_v: f64,
    pub(super) series_ohm: f64,
    pub(super) shunt_s: f64,
}

impl Curve {
    /// This curve `count` times in series, through a cable.
    pub fn in_series(&self, count: u16, cable_loop: Resistance) -> Self {
        let n = f64::from(count);
        Self {
            ideality_v: n * self.ideality_v,
            series_ohm: n * self.series_ohm + cable_loop.ohm(),
            shunt_s: self.shunt_s / n,
            ..*self
        }
    }

    /// This curve `count` times in parallel.
    pub fn in_parallel(&self, count: usize) -> Self {
        let m = count as f64;
        Self {
            photo_a: m * self.photo_a,
            saturation_a: m * self.saturation_a,
            shunt_s: m * self.shunt_s,
            series_ohm: self.series_ohm / m,
            ..*self
        }
    }

    /// Current at a voltage.
    pub fn current_at(&self, voltage: Voltage) -> Current {
        Current::from_a(self.current(self.x_at_voltage(voltage.v())))
    }

    /// Current [A] and slope dI/dV [A/V], below zero, at a voltage.
    pub(super) fn current_and_slope_at(&self, voltage: Voltage) -> (f64, f64) {
        let x = self.x_at_voltage(voltage.v());
        let current_slope = self.current_slope(x);
        let slope = current_slope / self.voltage_slope(current_slope);
        (self.current(x), slope)
    }

    /// Voltage [V] and slope dV/dI [V/A] at a current [A]; needs a shunt beyond the photocurrent.
    pub(super) fn voltage_and_slope_at(&self, current: f64) -> (f64, f64) {
        let x = self.x_at_current(current);
        let current_slope = self.current_slope(x);
        let slope = self.voltage_slope(current_slope) / current_slope;
        (self.voltage(x), slope)
    }

    /// Points from short to open circuit at even steps of voltage.
    pub fn sampled(&self, count: u16) -> Vec<OperatingPoint> {
        sample(self.open_circuit(), count, |v| self.current_at(v))
    }

    /// Voltage without current.
    pub fn open_circuit(&self) -> Voltage {
        Voltage::from_v(self.ideality_v * self.x_open())
    }

    /// Current without voltage.
    pub fn short_circuit(&self) -> Current {
        self.current_at(Voltage::from_v(0.0))
    }

    /// Where the power is largest.
    pub fn max_power(&self) -> OperatingPoint {
        let x = self.x_max_power();
        let current = self.current(x);
        OperatingPoint {
            voltage: Voltage::from_v(self.ideality_v * x - self.series_ohm * current),
            current: Current::from_a(current),
        }
    }

    fn current(&self, x: f64) -> f64 {
        // Not exp_m1: what is lost near 0 is a rounding of I_0, beside I_L.
        self.photo_a - self.saturation_a * (exp(x) - 1.0) - self.shunt_s * self.ideality_v * x
    }

    fn voltage(&self, x: f64) -> f64 {
        self.ideality_v * x - self.series_ohm * self.current(x)
    }

    fn current_slope(&self, x: f64) -> f64 {
        -self.saturation_a * exp(x) - self.shunt_s * self.ideality_v
    }

    fn voltage_slope(&self, current_slope: f64) -> f64 {
        self.ideality_v - self.series_ohm * current_slope
    }

    fn x_open(&self) -> f64 {
        self.x_at_current(0.0)
    }

    fn x_at_current(&self, current: f64) -> f64 {
        // I(x) is concave and falls; this start is beyond its root.
        let start = ((self.photo_a - current).max(0.0) / self.saturation_a).ln_1p();
        newton(start, |x| {
            (self.current(x) - current, self.current_slope(x))
        })
    }

    fn x_at_voltage(&self, voltage: f64) -> f64 {
        // V(x) is convex and rises; I <= I_L puts this start beyond its root.
        let most_v = voltage + self.series_ohm * self.photo_a;
        let start = (most_v / self.ideality_v).min(self.x_in_reverse(most_v));
        newton(start, |x| {
            (
                self.voltage(x) - voltage,
                self.voltage_slope(self.current_slope(x)),
            )
        })
    }

    /// Where the diode's current alone makes this voltage across R_s: beyond the root as well, and
    /// far above open circuit, where a short string is driven backwards by longer ones, so near it
    /// that Newton need not come down from there one step of 1 at a time.
    fn x_in_reverse(&self, most_v: f64) -> f64 {
        if self.series_ohm > 0.0 && most_v > 0.0 {
            (most_v / (self.series_ohm * self.saturation_a)).ln_1p()
        } else {
            f64::INFINITY
        }
    }

    fn x_max_power(&self) -> f64 {
        self.x_of_diode_peak()
            .unwrap_or_else(|| self.x_of_any_peak())
    }

    /// The peak, if it is where the diode bends; one step does for a module, two for dim light.
    #[inline]
    fn x_of_diode_peak(&self) -> Option<f64> {
        let shunt_a = self.shunt_s * self.ideality_v;
        let k = 2.0 * self.series_ohm / self.ideality_v;
        let open = ln(self.photo_a / self.saturation_a);
        let per_photo = 1.0 / self.photo_a;
        let mut x = usual_peak(open, k * self.photo_a, shunt_a * per_photo);
        for _ in 0..MAX_PEAK_STEPS {
            let j = self.photo_a + self.saturation_a + shunt_a * (1.0 - x);
            let b = 1.0 + x - k * j;
            let root = (b * b + 4.0 * k * j).sqrt();
            let d = 2.0 * j / (b + root);
            let diode_a = d - shunt_a;
            // The slope of the fixed point is -falls / rises.
            let (falls, rises) = (shunt_a + d * (1.0 + k * shunt_a), root * diode_a);
            let lacks = ln(diode_a * per_photo) + open - x;
            let per_both = 1.0 / (rises + falls);
            let (newton, slope) = (lacks * rises * per_both, falls * per_both);
            let turned = newton * slope;
            x += newton + 0.5 * turned * turned * (1.0 - 2.0 * k * d * slope);
            let by_shunt = turned * turned * shunt_a;
            if turned.abs() <= LAST_TURN
                && by_shunt <= LAST_BY_SHUNT * diode_a
                && falls < STEEPEST * rises
            {
                return Some(x);
            }
        }
        None
    }

    /// The peak of any curve: the end of what dP/dx > 0 holds for.
    fn x_of_any_peak(&self) -> f64 {
        let (mut low, mut high) = (0.0, self.x_open());
        for _ in 0..PEAK_HALVINGS {
            let x = f64::midpoint(low, high);
            let (i, di) = (self.current(x), self.current_slope(x));
            if self.voltage_slope(di) * i + self.voltage(x) * di > 0.0 {
                low = x;
            } else {
                high = x;
            }
        }
        f64::midpoint(low, high)
    }
}

/// About where a module has its peak, in x: one step of the fixed point from `USUAL_PEAK`, with D
/// as the ratio that it nearly is. From ln(I_L / I_0), k I_L and G_sh a / I_L.
#[inline]
fn usual_peak(open: f64, series: f64, shunt: f64) -> f64 {
    let (slope, below) = USUAL_PEAK;
    let x = slope * open - below;
    let v = ((1.0 + x - series) * (1.0 + shunt * (x - 1.0))).max(1.0);
    open - ln(v) - series / (v * v)
}

/// Points of a curve at even steps of voltage, both ends among them.
pub(super) fn sample(
    open_circuit: Voltage,
    count: u16,
    current_at: impl Fn(Voltage) -> Current,
) -> Vec<OperatingPoint> {
    let steps = f64::from(count.saturating_sub(1).max(1));
    let point = |n: u16| {
        let voltage = Voltage::from_v(open_circuit.v() * f64::from(n) / steps);
        OperatingPoint {
            voltage,
            current: current_at(voltage),
        }
    };
    (0..count).map(point).collect()
}

/// Newton's iteration from a start beyond the root, towards it.
fn newton(start: f64, value_and_slope: impl Fn(f64) -> (f64, f64)) -> f64 {
    let mut x = start;
    for _ in 0..MAX_STEPS {
        let (value, slope) = value_and_slope(x);
        let step = value / slope;
        x -= step;
        if step.abs() <= SMALL_STEP * (1.0 + x.abs()) {
            break;
        }
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::array::ModuleModel;
    use crate::reading::{Irradiance, Temperature};
    use proptest::prelude::*;

    /// What a last step leaves, and as much again: a hundredth of 1e-6 of V or I at the least x
    /// here, 10.
    const PEAK_X: f64 = 2e-8;

    fn any_curve() -> impl Strategy<Value = Curve> {
        (
            0.05..20.0f64,
            -28.0..-16.0f64,
            0.8..3.0f64,
            0.0..0.8f64,
            0.0..0.02f64,
        )
            .prop_map(
                |(photo_a, ln_saturation, ideality_v, series_ohm, shunt_s)| Curve {
                    photo_a,
                    saturation_a: ln_saturation.exp(),
                    ideality_v,
                    series_ohm,
                    shunt_s,
                },
            )
    }

    proptest! {
        #[test]
        fn current_falls_from_short_to_open_circuit(curve in any_curve(), share in 0.0..1.0f64) {
            let open = curve.open_circuit().v();
            let (low, high) = (share * open, open);
            let at = |v| curve.current_at(Voltage::from_v(v)).a();
            prop_assert!(at(low) >= at(high));
            prop_assert!(at(high).abs() < 1e-9 * curve.photo_a);
        }

        #[test]
        fn no_point_has_more_power_than_the_peak(curve in any_curve(), share in 0.0..1.0f64) {
            let peak = curve.max_power().power().w();
            let v = share * curve.open_circuit().v();
            let power = v * curve.current_at(Voltage::from_v(v)).a();
            prop_assert!(power <= peak * (1.0 + 1e-12), "{} > {}", power, peak);
        }

        #[test]
        fn a_module_in_the_range_has_its_peak_where_the_diode_bends(
            light in 0.5..1600.0f64, cell in -60.0..120.0f64,
        ) {
            let module = ModuleModel {
                photo_ref_a: 14.0,
                saturation_ref_a: 2e-11,
                series_ohm: 0.16,
                shunt_ref_ohm: 330.0,
                ideality_ref_v: 1.37,
                isc_a_per_k: 0.006,
                adjust_ratio: 0.0,
            };
            let (light, cell) = (Irradiance::from_w_m2(light), Temperature::from_degc(cell));
            let curve = module.at(light, cell).expect("in range");
            prop_assert!(curve.x_of_diode_peak().is_some(), "{:?}", curve);
        }

        #[test]
        fn both_ways_to_the_peak_end_at_the_same(curve in any_curve()) {
            let by_halving = curve.x_of_any_peak();
            if let Some(x) = curve.x_of_diode_peak() {
                prop_assert!((x - by_halving).abs() <= PEAK_X, "{} {}", x, by_halving);
            }
        }

        #[test]
        fn series_and_parallel_scale_voltage_and_current(curve in any_curve()) {
            let input = curve.in_series(14, Resistance::from_ohm(0.0)).in_parallel(2);
            let (one, all) = (curve.max_power(), input.max_power());
            prop_assert!((all.voltage.v() / one.voltage.v() - 14.0).abs() < 1e-7);
            prop_assert!((all.current.a() / one.current.a() - 2.0).abs() < 1e-7);
        }
    }
}
