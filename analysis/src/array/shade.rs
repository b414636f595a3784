//! The curve of a string whose sections stand in different light, each under its bypass diode.
//!
//! Model:   V(I) = sum over sections of max(V_k(I), -0.5 V) - R I; without a diode V_k(I) alone
//!          Between the currents at which diodes begin to conduct V(I) is concave and falls, so
//!          P = V I has at most one peak in each stretch, where dP/dI = V + I dV/dI = 0; at such a
//!          current dV/dI jumps up, so there is none (`peaks`).
//!          I(V): in the stretch in which V lies, by Newton's steps from its end of larger current:
//!          from there the tangents of a concave curve lead down to the root without overshoot. A
//!          stretch without that end takes one step from anywhere to get beyond the root.
//! Symbols: I [A], V [V], R cable loop [ohm]
//! Range:   sections with a shunt (G_sh > 0); a diode is a fixed drop; cells do not break down in
//!          reverse, so a string with an open diode is an upper bound there. Above its open circuit
//!          it takes current, as its curve says. Below the drop of all its diodes the cable alone
//!          limits the current: without resistance there is no limit, and the current infinite.
//! Source:  Kirchhoff; the drop is common practice (0.3 to 0.7 V); the order of solving is own.
//! Check:   tests/data/reference/shade.csv, 35 strings, every peak to the seventh digit that is
//!          stored (tests/reference/array.rs); `tests` below.
//!
//! Not used by the chain yet.

use super::peaks::peaks_between;
use super::{Curve, OperatingPoint};
use crate::reading::{Current, Resistance, Voltage};
use thiserror::Error;

/// Voltage across a section whose bypass diode conducts [V].
const BYPASSED_V: f64 = -0.5;
/// How near to an edge a peak is not told from one on its other side [A].
const NEAR_A: f64 = 1e-8;
/// Newton's steps end here at the latest.
const MAX_STEPS: u32 = 60;
/// Step after which a current is good to its last digits, relative to the largest photocurrent.
const SMALL_STEP: f64 = 1e-11;

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
    parts: Vec<Part>,
    cable_loop: Resistance,
    /// Where diodes begin to conduct, by rising current: the voltages fall.
    edges: Vec<OperatingPoint>,
    /// Where no section gives voltage [A].
    last_a: f64,
}

/// Equal sections, and when they are passed by.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Part {
    section: Section,
    /// Current beyond which the diode conducts; infinite for an open one [A].
    bypassed_from_a: f64,
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
        let parts: Vec<Part> = sections
            .into_iter()
            .filter(|s| s.count > 0)
            .map(Part::new)
            .collect();
        if parts.is_empty() {
            return Err(ShadeError::NoSections);
        }
        let reversed = parts.iter().map(|part| reversed_from_a(&part.section));
        let mut string = Self {
            last_a: reversed.fold(0.0, f64::max),
            parts,
            cable_loop,
            edges: Vec::new(),
        };
        string.edges = string.computed_edges();
        Ok(string)
    }

    /// This string `count` times in parallel.
    pub fn in_parallel(&self, count: usize) -> Self {
        let m = count as f64;
        let times_current = |point: &OperatingPoint| OperatingPoint {
            voltage: point.voltage,
            current: Current::from_a(m * point.current.a()),
        };
        let part = |part: &Part| Part {
            section: Section {
                curve: part.section.curve.in_parallel(count),
                ..part.section
            },
            bypassed_from_a: m * part.bypassed_from_a,
        };
        Self {
            parts: self.parts.iter().map(part).collect(),
            cable_loop: Resistance::from_ohm(self.cable_loop.ohm() / m),
            edges: self.edges.iter().map(times_current).collect(),
            last_a: m * self.last_a,
        }
    }

    /// Voltage at a current.
    pub fn voltage_at(&self, current: Current) -> Voltage {
        let i = current.a();
        Voltage::from_v(self.voltage_and_slope(i, i).0)
    }

    /// Current at a voltage.
    pub fn current_at(&self, voltage: Voltage) -> Current {
        Current::from_a(self.current_and_slope_at(voltage).0)
    }

    /// Slope dI/dV at a voltage [A/V], below zero; where a diode begins to conduct either side's.
    pub fn slope_at(&self, voltage: Voltage) -> f64 {
        self.current_and_slope_at(voltage).1
    }

    /// Voltage without current.
    pub fn open_circuit(&self) -> Voltage {
        self.voltage_at(Current::from_a(0.0))
    }

    /// Current without voltage.
    pub fn short_circuit(&self) -> Current {
        self.current_at(Voltage::from_v(0.0))
    }

    /// All peaks of the power, the largest first: a tracker may sit on any of them.
    pub fn peaks(&self) -> Vec<OperatingPoint> {
        let edges = self.edges.iter().map(|edge| edge.current.a());
        let currents = peaks_between(edges, self.last_a, NEAR_A, |i| {
            let (v, dv) = self.voltage_and_slope(i, i);
            v + i * dv
        });
        let point = |i: f64| OperatingPoint {
            voltage: self.voltage_at(Current::from_a(i)),
            current: Current::from_a(i),
        };
        largest_first(currents.into_iter().map(point).collect())
    }

    /// Places at which V(I) is not smooth, by falling voltage.
    pub(super) fn edges(&self) -> &[OperatingPoint] {
        &self.edges
    }

    fn computed_edges(&self) -> Vec<OperatingPoint> {
        let from_a = self.parts.iter().map(|part| part.bypassed_from_a);
        let mut currents: Vec<f64> = from_a.filter(|i| i.is_finite()).collect();
        currents.sort_by(f64::total_cmp);
        currents.dedup();
        let point = |i: f64| OperatingPoint {
            voltage: self.voltage_at(Current::from_a(i)),
            current: Current::from_a(i),
        };
        currents.into_iter().map(point).collect()
    }

    /// I [A] and dI/dV [A/V] at a voltage.
    pub(super) fn current_and_slope_at(&self, voltage: Voltage) -> (f64, f64) {
        let wanted = voltage.v();
        let passed = self.edges.partition_point(|edge| edge.voltage.v() > wanted);
        let (before, after) = self.edges.split_at(passed);
        let stretch_a = before.last().map_or(f64::NEG_INFINITY, |e| e.current.a());
        let start = after.first().or(before.last());
        let mut i = start.map_or(0.0, |edge| edge.current.a());
        let mut slope = f64::NEG_INFINITY;
        let small_a = SMALL_STEP * self.last_a;
        for _ in 0..MAX_STEPS {
            let (v, dv) = self.voltage_and_slope(i, stretch_a);
            let step = (v - wanted) / dv;
            (i, slope) = (i - step, dv.recip());
            // All diodes conduct and nothing resists: the current is infinite.
            if step.abs() <= small_a || i == f64::INFINITY {
                break;
            }
        }
        (i, slope)
    }

    /// V [V] and dV/dI [V/A] at a current [A], in the stretch that begins at or holds another.
    fn voltage_and_slope(&self, i: f64, stretch_a: f64) -> (f64, f64) {
        let loop_ohm = self.cable_loop.ohm();
        let cable = (-loop_ohm * i, -loop_ohm);
        self.parts.iter().fold(cable, |(v, slope), part| {
            let n = f64::from(part.section.count);
            if part.bypassed_from_a <= stretch_a {
                (v + n * BYPASSED_V, slope)
            } else {
                let (own_v, own_slope) = part.section.curve.voltage_and_slope_at(i);
                (v + n * own_v, slope + n * own_slope)
            }
        })
    }
}

impl Part {
    fn new(section: Section) -> Self {
        let bypassed_from_a = if section.bypassed {
            reversed_from_a(&section)
        } else {
            f64::INFINITY
        };
        Self {
            section,
            bypassed_from_a,
        }
    }
}

/// Current at which a section's voltage is that of a conducting diode [A].
fn reversed_from_a(section: &Section) -> f64 {
    section.curve.current_at(Voltage::from_v(BYPASSED_V)).a()
}

/// Points by falling power.
pub(super) fn largest_first(mut points: Vec<OperatingPoint>) -> Vec<OperatingPoint> {
    points.sort_by(|a, b| b.power().w().total_cmp(&a.power().w()));
    points
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
