//! Which inputs are shown when not all fit: those with the most urgent findings first.

use crate::diagnose::Finding;
use crate::plant::Plant;
use std::collections::BTreeSet;

/// More inputs in one picture than this are no summary.
pub const MOST_INPUTS: usize = 12;

/// Indices of what is shown, in the plant's order.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Selection {
    /// Inverter and input.
    pub inputs: BTreeSet<(usize, usize)>,
    /// Inverters with a shown input.
    pub inverters: BTreeSet<usize>,
    /// Planes of a shown input.
    pub planes: BTreeSet<usize>,
}

impl Selection {
    /// As many inputs as `fits` lets in, at least one if the plant has any; `None` where not even
    /// that one fits.
    pub fn new(
        plant: &Plant,
        findings: &[Finding],
        fits: impl Fn(&Selection) -> bool,
    ) -> Option<Self> {
        let mut selection = Selection::default();
        for (inverter, input) in most_urgent_first(plant, findings)
            .into_iter()
            .take(MOST_INPUTS)
        {
            let mut larger = selection.clone();
            larger.add(plant, inverter, input);
            if !fits(&larger) {
                break;
            }
            selection = larger;
        }
        let shows_something = !selection.inputs.is_empty() || all_inputs(plant).is_empty();
        (shows_something && fits(&selection)).then_some(selection)
    }

    /// The smallest selection that shows something.
    pub fn smallest(plant: &Plant, findings: &[Finding]) -> Self {
        let mut selection = Selection::default();
        if let Some(&(inverter, input)) = most_urgent_first(plant, findings).first() {
            selection.add(plant, inverter, input);
        }
        selection
    }

    /// How many inputs of the plant are not shown.
    pub fn left_out(&self, plant: &Plant) -> usize {
        all_inputs(plant).len() - self.inputs.len()
    }

    fn add(&mut self, plant: &Plant, inverter: usize, input: usize) {
        self.inputs.insert((inverter, input));
        self.inverters.insert(inverter);
        let strings = &plant.inverters[inverter].inputs[input].strings;
        let planes = strings.iter().map(|s| s.plane);
        self.planes
            .extend(planes.filter(|&plane| plane < plant.planes.len()));
    }
}

fn all_inputs(plant: &Plant) -> Vec<(usize, usize)> {
    let inverters = plant.inverters.iter().enumerate();
    inverters
        .flat_map(|(i, inverter)| (0..inverter.inputs.len()).map(move |j| (i, j)))
        .collect()
}

fn most_urgent_first(plant: &Plant, findings: &[Finding]) -> Vec<(usize, usize)> {
    let mut inputs = all_inputs(plant);
    // Stable: equal ones stay in the plant's order.
    inputs.sort_by_key(|&(i, j)| std::cmp::Reverse(urgency(plant, findings, i, j)));
    inputs
}

/// The most urgent finding, one on the input itself before one on its whole inverter.
fn urgency(
    plant: &Plant,
    findings: &[Finding],
    inverter: usize,
    input: usize,
) -> Option<(crate::detect::Severity, bool)> {
    let inverter = &plant.inverters[inverter];
    let number = inverter.inputs[input].number;
    findings
        .iter()
        .filter(|f| f.subject.device == inverter.id)
        .filter(|f| f.subject.input.is_none_or(|n| n == number))
        .map(|f| (f.severity, f.subject.input.is_some()))
        .max()
}
