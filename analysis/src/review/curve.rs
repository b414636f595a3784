//! The I-V curve of a healthy input by its datasheet, over its peak: the shape that the cloud of
//! measured points is held against.

use crate::array::{InputCurve, fit_datasheet};
use crate::plant::{Input, Plant};
use crate::reading::{Irradiance, Temperature};

/// Light and heat in which most energy is made; the shape over the peak changes little with both
/// (convention).
const LIGHT: Irradiance = Irradiance::from_w_m2(800.0);
const CELL: Temperature = Temperature::from_degc(45.0);
const POINTS: u16 = 60;

/// Voltage and current over those of the peak, from short circuit to open circuit; `None` where the
/// datasheet allows no curve.
pub fn healthy_curve(plant: &Plant, input: &Input) -> Option<Vec<(f64, f64)>> {
    let mut strings = Vec::new();
    for string in &input.strings {
        let fitted = fit_datasheet(&plant.modules[string.module]).ok()?;
        let module = fitted.model.at(LIGHT, CELL).ok()?;
        strings.push(module.in_series(string.count, string.cable_loop));
    }
    let curve = InputCurve::new(&strings).ok()?;
    let peak = curve.max_power();
    let over_peak = curve.sampled(POINTS).into_iter().map(|point| {
        (
            point.voltage.v() / peak.voltage.v(),
            point.current.a() / peak.current.a(),
        )
    });
    Some(over_peak.collect())
}
