//! The curve of one input: strings in parallel at one voltage, each in even light or shaded.
//!
//! Model:   I(V) = sum of I_j(V). Equal strings are one curve, multiplied.
//!          Of strings in even light the peak is the root of dP/dV = I + V dI/dV between the
//!          strings' own peaks: each P_j(V) is concave, so their sum has its peak between theirs.
//!          With shaded ones: V_j(I) falls and is concave between the currents at which diodes
//!          begin to conduct, so I_j(V), its inverse, is too between the voltages there. Between
//!          neighbouring edges of all strings together I(V) is a sum of such curves and
//!          P'' = 2 I' + V I'' < 0: at most one peak. As V rises through an edge a section begins
//!          to give voltage, dI/dV jumps up, and dP/dV with it: no peak there. At 0 V the slope is
//!          I > 0, at open circuit V I' < 0: at least one peak (`peaks`).
//! Symbols: as in `curve`; primes are derivatives by V, an edge is the voltage at which a section's
//!          bypass diode starts or stops conducting.
//! Range:   at least one string. Without blocking diodes a short string takes reverse current above
//!          its own open-circuit voltage, as its curve says.
//! Source:  Kirchhoff; own.
//! Check:   tests/reference/array.rs: 30 pairs of strings in even light, 60 inputs with
//!          shaded ones, to the seventh digit that is stored; `parallel_property_tests`.
//!
//! Shaded strings, the open circuit and sampled curves are not used by the chain yet.

use super::curve::sample;
use super::peaks::{falling_root, peaks_between};
use super::shade::largest_first;
use super::{ArrayError, Curve, OperatingPoint, ShadedString};
use crate::reading::{Current, Voltage};

/// How near to an edge a peak is not told from one on its other side [V].
const NEAR_V: f64 = 1e-6;

/// One string of an input, its cable included.
#[derive(Debug, Clone, PartialEq)]
pub enum StringCurve {
    /// All modules in the same light.
    Even(Curve),
    /// Sections in light of their own.
    Shaded(ShadedString),
}

/// The curve of one input.
#[derive(Debug, Clone, PartialEq)]
pub struct InputCurve {
    /// Equal strings together, each group as one curve.
    groups: Vec<StringCurve>,
}

impl InputCurve {
    /// From the curves of its strings, cables included.
    ///
    /// # Errors
    /// If there are no strings.
    pub fn new(strings: &[Curve]) -> Result<Self, ArrayError> {
        Self::of_groups(strings, |curve, count| {
            StringCurve::Even(curve.in_parallel(count))
        })
    }

    /// From strings of which some are shaded.
    ///
    /// # Errors
    /// If there are no strings.
    pub fn with_shade(strings: &[StringCurve]) -> Result<Self, ArrayError> {
        Self::of_groups(strings, StringCurve::in_parallel)
    }

    fn of_groups<S: PartialEq>(
        strings: &[S],
        in_parallel: impl Fn(&S, usize) -> StringCurve,
    ) -> Result<Self, ArrayError> {
        let mut different: Vec<(&S, usize)> = Vec::new();
        for string in strings {
            match different.iter_mut().find(|(curve, _)| *curve == string) {
                Some((_, count)) => *count += 1,
                None => different.push((string, 1)),
            }
        }
        if different.is_empty() {
            return Err(ArrayError::NoStrings);
        }
        let groups = different
            .into_iter()
            .map(|(string, count)| in_parallel(string, count));
        Ok(Self {
            groups: groups.collect(),
        })
    }

    /// Current at a voltage.
    pub fn current_at(&self, voltage: Voltage) -> Current {
        Current::from_a(self.groups.iter().map(|g| g.current_at(voltage).a()).sum())
    }

    /// Slope dI/dV at a voltage [A/V], below zero.
    pub fn slope_at(&self, voltage: Voltage) -> f64 {
        self.current_and_slope_at(voltage).1
    }

    /// Current [A] and slope dI/dV [A/V] at a voltage.
    pub fn current_and_slope_at(&self, voltage: Voltage) -> (f64, f64) {
        let own = self.groups.iter().map(|g| g.current_and_slope(voltage));
        own.fold((0.0, 0.0), |(i, di), (own, slope)| (i + own, di + slope))
    }

    /// Voltage without current.
    pub fn open_circuit(&self) -> Voltage {
        // Between the open circuits of its strings: above all of them every string takes current.
        let own = self.groups.iter().map(|g| g.open_circuit().v());
        let (low, high) = ends(own);
        let current = |v: f64| self.current_at(Voltage::from_v(v)).a();
        Voltage::from_v(falling_root(low, high, current))
    }

    /// Current without voltage.
    pub fn short_circuit(&self) -> Current {
        self.current_at(Voltage::from_v(0.0))
    }

    /// Points from short to open circuit at even steps of voltage.
    pub fn sampled(&self, count: u16) -> Vec<OperatingPoint> {
        sample(self.open_circuit(), count, |v| self.current_at(v))
    }

    /// Where the power is largest.
    pub fn max_power(&self) -> OperatingPoint {
        self.peak_in_even_light()
            .unwrap_or_else(|| self.peaks_in_shade()[0])
    }

    /// All peaks of the power, the largest first, at least one: a tracker may sit on any of them.
    pub fn peaks(&self) -> Vec<OperatingPoint> {
        self.peak_in_even_light()
            .map_or_else(|| self.peaks_in_shade(), |peak| vec![peak])
    }

    /// The only peak, unless a string is shaded.
    fn peak_in_even_light(&self) -> Option<OperatingPoint> {
        if let [StringCurve::Even(only)] = self.groups.as_slice() {
            return Some(only.max_power());
        }
        let own = self.groups.iter().map(|group| match group {
            StringCurve::Even(curve) => Some(curve.max_power().voltage.v()),
            StringCurve::Shaded(_) => None,
        });
        let own: Vec<f64> = own.collect::<Option<_>>()?;
        let (low, high) = ends(own.into_iter());
        Some(self.point_at(falling_root(low, high, |v| self.power_slope(v))))
    }

    fn peaks_in_shade(&self) -> Vec<OperatingPoint> {
        if let [StringCurve::Shaded(only)] = self.groups.as_slice() {
            return only.peaks();
        }
        let edges = self.groups.iter().flat_map(StringCurve::edges);
        let edges = edges.map(|edge| edge.voltage.v());
        let open = self.open_circuit().v();
        let voltages = peaks_between(edges, open, NEAR_V, |v| self.power_slope(v));
        largest_first(voltages.into_iter().map(|v| self.point_at(v)).collect())
    }

    /// dP/dV [A] at a voltage [V].
    fn power_slope(&self, v: f64) -> f64 {
        let voltage = Voltage::from_v(v);
        let own = self.groups.iter().map(|g| g.current_and_slope(voltage));
        own.map(|(i, di)| i + v * di).sum()
    }

    fn point_at(&self, v: f64) -> OperatingPoint {
        let voltage = Voltage::from_v(v);
        OperatingPoint {
            voltage,
            current: self.current_at(voltage),
        }
    }
}

impl StringCurve {
    fn in_parallel(&self, count: usize) -> Self {
        match self {
            Self::Even(curve) => Self::Even(curve.in_parallel(count)),
            Self::Shaded(string) => Self::Shaded(string.in_parallel(count)),
        }
    }

    fn current_at(&self, voltage: Voltage) -> Current {
        match self {
            Self::Even(curve) => curve.current_at(voltage),
            Self::Shaded(string) => string.current_at(voltage),
        }
    }

    /// I [A] and dI/dV [A/V].
    fn current_and_slope(&self, voltage: Voltage) -> (f64, f64) {
        match self {
            Self::Even(curve) => curve.current_and_slope_at(voltage),
            Self::Shaded(string) => string.current_and_slope_at(voltage),
        }
    }

    fn open_circuit(&self) -> Voltage {
        match self {
            Self::Even(curve) => curve.open_circuit(),
            Self::Shaded(string) => string.open_circuit(),
        }
    }

    fn edges(&self) -> &[OperatingPoint] {
        match self {
            Self::Even(_) => &[],
            Self::Shaded(string) => string.edges(),
        }
    }
}

/// Least and largest of voltages.
fn ends(voltages: impl Iterator<Item = f64>) -> (f64, f64) {
    voltages.fold((f64::INFINITY, 0.0), |(low, high), v| {
        (low.min(v), high.max(v))
    })
}
