//! Ratios within the day by the conditions under which they were measured.
//! Never in here: whole days.

use super::observe::Observation;
use super::structure::{quantile, scatter};

/// Observations that a class takes.
const LEAST_A_CLASS: usize = 5;
const LIGHT_W_M2: [f64; 5] = [100.0, 200.0, 400.0, 700.0, 1600.0];
/// Diffuse shares of a clear and of a cloudy sky [-].
const CLEAR_BELOW: f64 = 0.35;
const CLOUDY_ABOVE: f64 = 0.6;

/// One class of a condition.
#[derive(Debug, Clone, PartialEq)]
pub struct Class {
    /// Condition with its edges.
    pub name: String,
    /// Observations.
    pub count: usize,
    /// Median of the ratio over its day's, less 1 [-].
    pub shape: f64,
    /// Scatter of it [-].
    pub scatter: f64,
}

/// What is asked, of what, between which edges.
type Condition = (&'static str, fn(&Observation) -> f64, &'static [f64]);

const CONDITIONS: [Condition; 5] = [
    ("light W/m2", |o| o.poa_w_m2, &LIGHT_W_M2),
    (
        "light, clear",
        |o| light_if(o.diffuse_ratio < CLEAR_BELOW, o),
        &LIGHT_W_M2,
    ),
    (
        "light, cloudy",
        |o| light_if(o.diffuse_ratio > CLOUDY_ABOVE, o),
        &LIGHT_W_M2,
    ),
    (
        "incidence deg",
        |o| o.incidence_deg,
        &[0.0, 30.0, 50.0, 60.0, 75.0],
    ),
    ("diffuse", |o| o.diffuse_ratio, &[0.0, 0.25, 0.5, 0.9, 1.01]),
];

/// NaN, which no class takes, where it is not asked.
fn light_if(asked: bool, o: &Observation) -> f64 {
    if asked { o.poa_w_m2 } else { f64::NAN }
}

/// Medians and scatters of ratios over their day's, less 1.
pub(super) fn classes(within: &[(&Observation, f64)]) -> Vec<Class> {
    let mut classes = Vec::new();
    for (name, value, edges) in CONDITIONS {
        for edge in edges.windows(2) {
            let inside = within
                .iter()
                .filter(|(o, _)| (edge[0]..edge[1]).contains(&value(o)));
            let ratios: Vec<f64> = inside.map(|(_, r)| *r).collect();
            if ratios.len() >= LEAST_A_CLASS {
                classes.push(Class {
                    name: format!("{name} {}-{}", edge[0], edge[1]),
                    count: ratios.len(),
                    shape: quantile(ratios.clone(), 0.5),
                    scatter: scatter(ratios),
                });
            }
        }
    }
    classes
}
