//! What an inverter's modules are rated at, and the light on them in a slot.
//! Never in here: what was measured electrically.

use crate::detect::Slot;
use crate::expected::WeatherRung;
use crate::plant::{Inverter, Plant, PvString};

/// Irradiance of standard test conditions [W/m2].
pub(super) const REFERENCE_W_M2: f64 = 1000.0;
/// Cell temperature of standard test conditions [degC].
const REFERENCE_DEGC: f64 = 25.0;

/// Rated power of an inverter's modules, by string.
#[derive(Debug, Clone)]
pub(super) struct Rating {
    /// Of all [W].
    pub rated_w: f64,
    parts: Vec<Part>,
}

#[derive(Debug, Clone)]
struct Part {
    plane: usize,
    rated_w: f64,
    /// Change of power with temperature [1/K].
    gamma_per_k: f64,
}

/// What the modules would give in a slot's light at their rated efficiency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Reference {
    /// With the cells at 25 degC [W].
    pub power_w: f64,
    /// With the cells as warm as they were [W].
    pub at_cell_w: f64,
}

impl Rating {
    pub fn of(plant: &Plant, inverter: &Inverter) -> Self {
        let part = |s: &PvString| {
            let module = &plant.modules[s.module];
            Part {
                plane: s.plane,
                rated_w: f64::from(s.count) * module.pmp().w(),
                gamma_per_k: module.pmax_temp_ratio_per_k,
            }
        };
        let strings = inverter.inputs.iter().flat_map(|input| &input.strings);
        let parts: Vec<Part> = strings.map(part).collect();
        Self {
            rated_w: parts.iter().map(|part| part.rated_w).sum(),
            parts,
        }
    }

    /// `None` unless light from rungs that `is_wanted` takes, and a cell temperature, are known on
    /// every plane.
    pub fn reference(
        &self,
        slot: &Slot,
        is_wanted: impl Fn(WeatherRung) -> bool,
    ) -> Option<Reference> {
        let mut sum = Reference {
            power_w: 0.0,
            at_cell_w: 0.0,
        };
        for part in &self.parts {
            let plane = slot.planes.get(part.plane)?;
            let (poa, _) = plane.poa.filter(|(_, rung)| is_wanted(*rung))?;
            let above_k = plane.cell?.degc() - REFERENCE_DEGC;
            let watts = part.rated_w * poa.w_m2() / REFERENCE_W_M2;
            sum.power_w += watts;
            sum.at_cell_w += watts * (1.0 + part.gamma_per_k * above_k);
        }
        Some(sum)
    }
}
