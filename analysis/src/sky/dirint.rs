//! Beam from the light on the ground, guided by how it changes and by the water in the air.
//!
//! Model:   DNI = DNI of DISC x a ratio from a table over kt', z, d, w
//!          kt' = kt / (1.031 exp(-1.4 / (0.9 + 9.4 / AM)) + 0.1), 0 to 1
//!          d = mean of |kt' - kt' of the reading before|, |kt' - kt' of the one after|
//!          w = exp(0.07 Td - 0.075)
//! Symbols: kt, kt'  clearness, and made independent of zenith [-]    z  true zenith    AM  as in
//!          `disc`    d  change of clearness [-]    w  precipitable water [cm]    Td  dew point [degC]
//! Range:   as `disc`; neighbours at most 1.5 h away. Without a neighbour or a dew point the table
//!          has a column of its own.
//! Source:  R. Perez, P. Ineichen, E. Maxwell, R. Seals, A. Zelenka, ASHRAE Transactions 98 (1),
//!          1992 (from memory, verify), as coded in pvlib 0.16.1 `irradiance.dirint`
//! Check:   tests/data/reference/dirint.csv, 1e-10 relative (tests/reference/sky.rs).
//!
//! Not used by the chain, which takes `decomposition`.

use super::decomposition::Components;
use super::dirint_ratio::RATIO;
use super::disc::Global;
use crate::reading::Temperature;

/// Upper ends of all columns of the table but the last of each.
const CLEARNESS_UP_TO: [f64; 5] = [0.24, 0.4, 0.56, 0.7, 0.8];
const ZENITH_UP_TO_DEG: [f64; 5] = [25.0, 40.0, 55.0, 70.0, 80.0];
const CHANGE_UP_TO: [f64; 5] = [0.015, 0.035, 0.07, 0.15, 0.3];
const WATER_UP_TO_CM: [f64; 3] = [1.0, 2.0, 3.0];
/// Columns for what is not known.
const NO_CHANGE_KNOWN: usize = CHANGE_UP_TO.len() + 1;
const NO_WATER_KNOWN: usize = WATER_UP_TO_CM.len() + 1;

/// Parts of a global horizontal irradiance by the model DIRINT.
///
/// `neighbours` are the readings before and after; those with the sun down tell nothing.
pub fn dirint(
    global: &Global,
    neighbours: [Option<&Global>; 2],
    dew_point: Option<Temperature>,
) -> Components {
    let (Some(dni), Some(clearness)) = (global.disc_dni(), even_clearness(global)) else {
        return global.with_beam(0.0);
    };
    let around: Vec<f64> = neighbours
        .into_iter()
        .flatten()
        .filter_map(even_clearness)
        .map(|other| (clearness - other).abs())
        .collect();
    let k = column(&CLEARNESS_UP_TO, clearness);
    let z = column(&ZENITH_UP_TO_DEG, global.zenith.deg());
    let d = mean(&around).map_or(NO_CHANGE_KNOWN, |d| column(&CHANGE_UP_TO, d));
    let w = dew_point.map_or(NO_WATER_KNOWN, |t| column(&WATER_UP_TO_CM, water_cm(t)));
    global.with_beam(dni.max(0.0) * RATIO[k][z][d][w])
}

/// Clearness that does not fall with the sun [-].
fn even_clearness(global: &Global) -> Option<f64> {
    let am = global.air_mass()?;
    let clear = 1.031 * (-1.4 / (0.9 + 9.4 / am)).exp() + 0.1;
    Some((global.clearness() / clear).min(1.0))
}

fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

fn water_cm(dew_point: Temperature) -> f64 {
    (0.07 * dew_point.degc() - 0.075).exp()
}

/// A value at an end belongs to the column above.
fn column(up_to: &[f64], value: f64) -> usize {
    up_to.partition_point(|&end| end <= value)
}
