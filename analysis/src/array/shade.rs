//! The curve of a string whose sections stand in different light, each under its bypass diode.
//!
//! Model:   V(I) = sum over sections of max(V_k(I), -0.5 V) - R I; without a diode V_k(I) alone
//!          Between the currents at which diodes begin to conduct V(I) is concave and falls, so
//!          P = V I has at most one peak in each stretch, where dP/dI = V + I dV/dI = 0; at such a
//!          current dV/dI jumps up, so there is none.
//! Symbols: I [A], V [V], R cable loop [ohm]
//! Range:   sections with a shunt (G_sh > 0); a diode is a fixed drop; cells do not break down in
//!          reverse, so a string with an open diode is an upper bound there.
//! Source:  Kirchhoff; the drop is common practice (0.3 to 0.7 V); the order of solving is own.
//! Check:   tests/data/reference/shade.csv, 35 strings, every peak to the seventh digit that is
//!          stored (tests/reference/array.rs); `tests` below.
//!
//! Not used by the chain yet.

use super::{Curve, OperatingPoint};
use crate::reading::{Current, Resistance, Voltage};
use thiserror::Error;

/// Voltage across a section whose bypass diode conducts [V].
const BYPASSED_V: f64 = -0.5;
/// Halvings of the stretch in which a peak lies: 2^-60 of its width.
const HALVINGS: u32 = 60;

/// Why sections make no string.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ShadeError {
    /// No sections.
    #[error("a string without sections has no curve")]
    NoSections,
    /// A section that no voltage drives beyond its photocurrent.
    #[error("section {index} has no shunt, wanted a shunt conductance above 0 S")]
    NoShunt {
        /// Place among the sections.
        index: usize,
    },
}

/// Equal sections of a string.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    /// The curve of one.
    pub curve: Curve,
    /// How many.
    pub count: u16,
    /// Whether the bypass diode works; an open one does not.
    pub bypassed: bool,
}

/// A string of sections.
#[derive(Debug, Clone, PartialEq)]
pub struct ShadedString {
    sections: Vec<Section>,
    cable_loop: Resistance,
}

impl ShadedString {
    /// From its sections and its cable.
    ///
    /// # Errors
    /// If there are none, or one has no shunt.
    pub fn new(sections: Vec<Section>, cable_loop: Resistance) -> Result<Self, ShadeError> {
        let leaks = |s: &Section| s.curve.shunt_s > 0.0;
        if let Some(index) = sections.iter().position(|s| !leaks(s)) {
            return Err(ShadeError::NoShunt { index });
        }
        if sections.iter().all(|s| s.count == 0) {
            return Err(ShadeError::NoSections);
        }
        Ok(Self {
            sections,
            cable_loop,
        })
    }

    /// Voltage at a current.
    pub fn voltage_at(&self, current: Current) -> Voltage {
        Voltage::from_v(self.voltage_and_slope(current.a()).0)
    }

    /// Voltage without current.
    pub fn open_circuit(&self) -> Voltage {
        self.voltage_at(Current::from_a(0.0))
    }

    /// All peaks of the power, the largest first: a tracker may sit on any of them.
    pub fn peaks(&self) -> Vec<OperatingPoint> {
        let edges = self.edges();
        let mut peaks: Vec<OperatingPoint> = edges
            .windows(2)
            .filter_map(|pair| self.peak_between(pair[0], pair[1]))
            .collect();
        peaks.sort_by(|a, b| b.power().w().total_cmp(&a.power().w()));
        peaks
    }

    /// Currents between which V(I) is smooth, from 0 to where no section gives voltage.
    fn edges(&self) -> Vec<f64> {
        let bypassed_at = |s: &Section| s.curve.current_at(Voltage::from_v(BYPASSED_V)).a();
        let last = self.sections.iter().map(bypassed_at).fold(0.0, f64::max);
        let diodes = self.sections.iter().filter(|s| s.bypassed);
        let mut edges: Vec<f64> = diodes.map(bypassed_at).chain([0.0, last]).collect();
        edges.sort_by(f64::total_cmp);
        edges.dedup();
        edges
    }

    fn peak_between(&self, from: f64, to: f64) -> Option<OperatingPoint> {
        let rises = |i: f64| {
            let (v, dv) = self.voltage_and_slope(i);
            v + i * dv > 0.0
        };
        // An edge itself belongs to neither stretch.
        let inset = (to - from) * f64::EPSILON.sqrt();
        let (mut low, mut high) = (from + inset, to - inset);
        if !rises(low) || rises(high) {
            return None;
        }
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            if rises(middle) {
                low = middle;
            } else {
                high = middle;
            }
        }
        let current = Current::from_a(f64::midpoint(low, high));
        Some(OperatingPoint {
            voltage: self.voltage_at(current),
            current,
        })
    }

    /// V [V] and dV/dI [V/A] at a current [A].
    fn voltage_and_slope(&self, i: f64) -> (f64, f64) {
        let loop_ohm = self.cable_loop.ohm();
        let cable = (-loop_ohm * i, -loop_ohm);
        self.sections.iter().fold(cable, |(v, slope), section| {
            let n = f64::from(section.count);
            let (own_v, own_slope) = section.voltage_and_slope(i);
            (v + n * own_v, slope + n * own_slope)
        })
    }
}

impl Section {
    fn voltage_and_slope(&self, i: f64) -> (f64, f64) {
        let (v, slope) = self.curve.voltage_and_slope_at(i);
        if self.bypassed && v < BYPASSED_V {
            (BYPASSED_V, 0.0)
        } else {
            (v, slope)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CURVE: Curve = Curve {
        photo_a: 10.0,
        saturation_a: 1e-10,
        ideality_v: 0.5,
        series_ohm: 0.05,
        shunt_s: 0.01,
    };

    fn section(light: f64, count: u16) -> Section {
        Section {
            curve: Curve {
                photo_a: light * CURVE.photo_a,
                ..CURVE
            },
            count,
            bypassed: true,
        }
    }

    #[test]
    fn in_equal_light_it_is_the_curve_in_series() {
        const ROOTS_RATIO: f64 = 1e-7;
        let cable = Resistance::from_ohm(0.3);
        let string = ShadedString::new(vec![section(1.0, 54)], cable).expect("sections");
        let peaks = string.peaks();
        let whole = CURVE.in_series(54, cable).max_power();
        assert_eq!(peaks.len(), 1);
        assert!((peaks[0].voltage.v() / whole.voltage.v() - 1.0).abs() < ROOTS_RATIO);
        assert!((peaks[0].current.a() / whole.current.a() - 1.0).abs() < ROOTS_RATIO);
    }

    #[test]
    fn no_point_of_a_fine_grid_has_more_power_than_the_first_peak() {
        let sections = vec![section(1.0, 30), section(0.6, 12), section(0.3, 12)];
        let string = ShadedString::new(sections, Resistance::from_ohm(0.3)).expect("sections");
        let peaks = string.peaks();
        assert_eq!(peaks.len(), 3, "{peaks:?}");
        for step in 0..=10_000 {
            let current = Current::from_a(f64::from(step) * 1e-3);
            let power = (string.voltage_at(current) * current).w();
            assert!(power <= peaks[0].power().w() * (1.0 + 1e-12));
        }
    }

    #[test]
    fn what_is_no_string_is_refused() {
        let cable = Resistance::from_ohm(0.3);
        let none = ShadedString::new(Vec::new(), cable);
        assert_eq!(none, Err(ShadeError::NoSections));
        let tight = Section {
            curve: Curve {
                shunt_s: 0.0,
                ..CURVE
            },
            ..section(1.0, 3)
        };
        let refused = ShadedString::new(vec![section(1.0, 3), tight], cable);
        assert_eq!(refused, Err(ShadeError::NoShunt { index: 1 }));
    }
}
