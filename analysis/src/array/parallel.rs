//! The curve of one input: strings in parallel at one voltage.
//!
//! Model:   I(V) = sum of I_k(V). Equal strings are one curve, multiplied. Of unequal ones the peak
//!          is the root of dP/dV = I + V dI/dV between the strings' own peaks: each P_k(V) is
//!          concave there, so their sum has its peak between theirs.
//! Symbols: as in `curve`.
//! Range:   at least one string. Without blocking diodes a short string takes reverse current above
//!          its own open-circuit voltage, as its diode curve says.
//! Source:  Kirchhoff; own.
//! Check:   tests/reference/array.rs, 30 pairs of strings to the seventh digit that is stored.
//!
//! The open circuit and sampled curves are not used by the chain yet.

use super::curve::sample;
use super::{ArrayError, Curve, OperatingPoint};
use crate::reading::{Current, Voltage};

/// Halvings of the bracket of the peak: 2^-50 of its width.
const HALVINGS: u32 = 50;

/// The curve of one input.
#[derive(Debug, Clone, PartialEq)]
pub struct InputCurve {
    /// Equal strings together, each group as one curve.
    groups: Vec<Curve>,
}

impl InputCurve {
    /// From the curves of its strings, cables included.
    ///
    /// # Errors
    /// If there are no strings.
    pub fn new(strings: &[Curve]) -> Result<Self, ArrayError> {
        let mut different: Vec<(Curve, usize)> = Vec::new();
        for string in strings {
            match different.iter_mut().find(|(curve, _)| curve == string) {
                Some((_, count)) => *count += 1,
                None => different.push((*string, 1)),
            }
        }
        if different.is_empty() {
            return Err(ArrayError::NoStrings);
        }
        let groups = different
            .into_iter()
            .map(|(curve, count)| curve.in_parallel(count));
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
        self.groups.iter().map(|g| g.slope_at(voltage)).sum()
    }

    /// Voltage without current.
    pub fn open_circuit(&self) -> Voltage {
        // Between the open circuits of its strings: above all of them every string takes current.
        let open = |g: &Curve| g.open_circuit().v();
        let mut low = self.groups.iter().map(open).fold(f64::INFINITY, f64::min);
        let mut high = self.groups.iter().map(open).fold(0.0, f64::max);
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            if self.current_at(Voltage::from_v(middle)).a() > 0.0 {
                low = middle;
            } else {
                high = middle;
            }
        }
        Voltage::from_v(f64::midpoint(low, high))
    }

    /// Points from short to open circuit at even steps of voltage.
    pub fn sampled(&self, count: u16) -> Vec<OperatingPoint> {
        sample(self.open_circuit(), count, |v| self.current_at(v))
    }

    /// Where the power is largest.
    pub fn max_power(&self) -> OperatingPoint {
        if let [only] = self.groups.as_slice() {
            return only.max_power();
        }
        let peaks: Vec<f64> = self
            .groups
            .iter()
            .map(|g| g.max_power().voltage.v())
            .collect();
        let mut low = peaks.iter().copied().fold(f64::INFINITY, f64::min);
        let mut high = peaks.iter().copied().fold(0.0, f64::max);
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            let voltage = Voltage::from_v(middle);
            if self.current_at(voltage).a() + middle * self.slope_at(voltage) > 0.0 {
                low = middle;
            } else {
                high = middle;
            }
        }
        let voltage = Voltage::from_v(f64::midpoint(low, high));
        OperatingPoint {
            voltage,
            current: self.current_at(voltage),
        }
    }
}
