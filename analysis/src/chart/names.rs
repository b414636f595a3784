//! What stands left of a panel: whose values, which quantity and unit, and what else helps.

use super::SummaryInput;
use super::series::Source;
use super::style::{DETAIL, LABEL, NAME, Type};
use super::words;
use crate::plant::{Input, Plant};
use std::collections::BTreeMap;

type Line = (String, Type);

/// The lines, most important first.
pub fn of(source: Source, input: &SummaryInput, starts_at_zero: bool) -> Vec<Line> {
    let plant = input.plant;
    match source {
        Source::Irradiance(plane) => irradiance(plane, input),
        Source::Ac(inverter) => ac(inverter, plant),
        Source::Voltage(inverter, number) => voltage(inverter, number, plant, starts_at_zero),
        Source::Current(..) => vec![("current, A".to_owned(), LABEL)],
    }
}

fn irradiance(plane: usize, input: &SummaryInput) -> Vec<Line> {
    let fixed = &input.plant.planes[plane];
    let (tilt, azimuth) = (fixed.tilt.deg(), fixed.azimuth.deg());
    let mut lines = vec![
        (words::plain(&fixed.id), NAME),
        ("irradiance, W/m²".to_owned(), LABEL),
    ];
    lines.extend(rungs(plane, input).into_iter().map(|rung| (rung, DETAIL)));
    lines.push((format!("tilt {tilt:.0}°, azimuth {azimuth:.0}°"), DETAIL));
    lines
}

/// Where the irradiance came from, with the share of each source where there are several.
fn rungs(plane: usize, input: &SummaryInput) -> Vec<String> {
    let mut counts = BTreeMap::new();
    for (_, rung) in input.slots.iter().filter_map(|slot| slot.planes[plane].poa) {
        *counts.entry(rung).or_insert(0usize) += 1;
    }
    let total: usize = counts.values().sum();
    let several = counts.len() > 1;
    counts
        .into_iter()
        .map(|(rung, n)| match several {
            false => format!("from {}", words::rung(rung)),
            true => format!("{} {}", share(n, total), words::rung(rung)),
        })
        .collect()
}

/// `91 %`; a share that is there but rounds to nothing is said to be under one.
fn share(n: usize, total: usize) -> String {
    match (100.0 * n as f64 / total as f64).round() {
        0.0 => "< 1 %".to_owned(),
        percent => format!("{percent} %"),
    }
}

fn ac(inverter: usize, plant: &Plant) -> Vec<Line> {
    let fixed = &plant.inverters[inverter];
    let rated_kw = fixed.rated_ac.w() / 1000.0;
    vec![
        (words::plain(fixed.id.as_str()), NAME),
        ("AC power, kW".to_owned(), LABEL),
        (format!("rated {rated_kw} kW"), DETAIL),
    ]
}

fn voltage(inverter: usize, number: usize, plant: &Plant, starts_at_zero: bool) -> Vec<Line> {
    let fixed = &plant.inverters[inverter];
    let input = &fixed.inputs[number];
    let name = format!("{} input {}", fixed.id, input.number);
    let mut lines = vec![
        (words::plain(&name), NAME),
        ("voltage, V".to_owned(), LABEL),
        (strings(input), DETAIL),
    ];
    if !starts_at_zero {
        lines.push(("axis not from zero".to_owned(), DETAIL));
    }
    lines
}

fn strings(input: &Input) -> String {
    let labels: Vec<_> = input.strings.iter().map(|s| s.label.as_str()).collect();
    let word = if labels.len() == 1 {
        "string"
    } else {
        "strings"
    };
    words::plain(&format!("{word} {}", labels.join(", ")))
}
