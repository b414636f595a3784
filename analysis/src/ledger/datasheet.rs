//! What an inverter should give by its datasheets alone, at stated conditions: what was learned of
//! its inputs takes no part, or a loss that was there from the beginning would be expected.
//!
//! Model:   cells by Faiman and the offset of cell over back; strings of an input by the one-diode
//!          model, aged, less their cables; peaks of the inputs added up; efficiency, without a
//!          limit. The light is a clear day's: 85 % beam at 30 degrees of incidence, the rest from
//!          the sky, each with its incidence modifier.
//! Symbols: [W/m2], [degC], [m/s] -> [W].
//! Range:   of the one-diode model.
//! Source:  `array`, `sky`; the two numbers of the light are engineering judgement: between 10 and
//!          20 % from the sky and 20 to 40 degrees the power changes by less than half a percent.
//! Check:   tests/acceptance/engine/performance.rs, against a twin of a plant as described.

use super::capacity::{CapacityError, ReportingConditions};
use crate::array::{self, Curve, InputCurve};
use crate::plant::{Inverter, Plant, PvString};
use crate::reading::{Angle, Irradiance, Power, Speed, Temperature, Time};
use crate::sky;

/// Share of the beam in the light of a clear day in a plane [-], and its incidence.
const BEAM_RATIO: f64 = 0.85;
const INCIDENCE: Angle = Angle::from_deg(30.0);
/// Assumed where no wind is measured, as in the expected chain.
const ASSUMED_WIND: Speed = Speed::from_m_s(1.0);

pub(super) fn by_datasheet(
    plant: &Plant,
    inverter: &Inverter,
    at: Time,
    conditions: &ReportingConditions,
) -> Result<Power, CapacityError> {
    let mut dc_w = 0.0;
    for input in &inverter.inputs {
        let curves = input
            .strings
            .iter()
            .map(|string| curve(plant, string, at, conditions))
            .collect::<Result<Vec<_>, _>>()?;
        let curve = InputCurve::new(&curves).map_err(CapacityError::OutsideModel)?;
        dc_w += curve.max_power().power().w();
    }
    Ok(inverter.ac_without_limit(Power::from_w(dc_w)))
}

fn curve(
    plant: &Plant,
    string: &PvString,
    at: Time,
    conditions: &ReportingConditions,
) -> Result<Curve, CapacityError> {
    let (module, plane) = (&plant.modules[string.module], &plant.planes[string.plane]);
    let fitted = array::fit_datasheet(module).map_err(CapacityError::Datasheet)?;
    let from_sky = sky::diffuse_modifiers(plane.tilt).sky;
    let reaching = BEAM_RATIO * sky::incidence_modifier(INCIDENCE) + (1.0 - BEAM_RATIO) * from_sky;
    let left = module.ageing.left_ratio(at - plant.site.commissioned);
    let poa = conditions.poa;
    let wind = conditions.wind.unwrap_or(ASSUMED_WIND);
    let back = array::faiman(poa, conditions.air, wind, &plane.mounting);
    let cell: Temperature = array::cell_from_back(back, poa, &plane.mounting);
    let effective = Irradiance::from_w_m2(poa.w_m2() * reaching * left);
    let curve = fitted
        .model
        .at(effective, cell)
        .map_err(CapacityError::OutsideModel)?;
    Ok(curve.in_series(string.count, string.cable_loop))
}
