//! Counts of where an input worked, in the plane of voltage and current over those of the expected
//! peak: cells for a picture, and the medians by level of light.

use crate::chart::{CloudCell, CloudLevel};
use crate::reading::Irradiance;
use std::collections::BTreeMap;

/// Size of a cell in both directions [-].
pub const CELL_RATIO: f64 = 0.01;
/// Beyond this nothing is drawn; what lies there counts at the edge [-].
const MOST_RATIO: f64 = 1.6;
/// Lower ends of the levels of light [W/m2].
const LEVELS_W_M2: [f64; 5] = [100.0, 300.0, 500.0, 700.0, 900.0];
/// Finer than a meter is right [-].
const STEP_RATIO: f64 = 0.0025;
/// Fewer slots make no median of a level.
const LEAST_SLOTS: u32 = 6;

/// Where one input worked.
#[derive(Debug, Clone, Default)]
pub struct Cloud {
    /// By voltage and current: slots without and with a finding.
    cells: BTreeMap<(u16, u16), [u32; 2]>,
    /// Without and with a finding, by level: counts by voltage and by current.
    levels: [[Marginals; LEVELS_W_M2.len()]; 2],
}

#[derive(Debug, Clone, Default)]
struct Marginals {
    slots: u32,
    voltage: BTreeMap<u16, u32>,
    current: BTreeMap<u16, u32>,
}

impl Cloud {
    /// Counts a slot; `light` where the test was valid.
    pub(super) fn add(
        &mut self,
        voltage_ratio: f64,
        current_ratio: f64,
        in_finding: bool,
        light: Option<Irradiance>,
    ) {
        let finding = usize::from(in_finding);
        let cell = (
            step(voltage_ratio, CELL_RATIO),
            step(current_ratio, CELL_RATIO),
        );
        self.cells.entry(cell).or_default()[finding] += 1;
        let level =
            light.and_then(|light| LEVELS_W_M2.iter().rposition(|from| light.w_m2() >= *from));
        if let Some(level) = level {
            let of = &mut self.levels[finding][level];
            of.slots += 1;
            *of.voltage
                .entry(step(voltage_ratio, STEP_RATIO))
                .or_default() += 1;
            *of.current
                .entry(step(current_ratio, STEP_RATIO))
                .or_default() += 1;
        }
    }

    /// The cells that have slots.
    pub fn cells(&self) -> Vec<CloudCell> {
        let middle = |n: u16| (f64::from(n) + 0.5) * CELL_RATIO;
        let cells = self.cells.iter();
        cells
            .map(|((v, i), [without, with])| CloudCell {
                voltage_ratio: middle(*v),
                current_ratio: middle(*i),
                count: without + with,
                in_finding: with > without,
            })
            .collect()
    }

    /// Medians by rising light, of slots with or without a finding.
    pub fn levels(&self, in_finding: bool) -> Vec<CloudLevel> {
        let levels = LEVELS_W_M2
            .iter()
            .zip(&self.levels[usize::from(in_finding)]);
        levels
            .filter(|(_, of)| of.slots >= LEAST_SLOTS)
            .map(|(from_w_m2, of)| CloudLevel {
                from_w_m2: *from_w_m2,
                voltage_ratio: median_of(&of.voltage, of.slots),
                current_ratio: median_of(&of.current, of.slots),
            })
            .collect()
    }
}

fn step(ratio: f64, size: f64) -> u16 {
    (ratio.clamp(0.0, MOST_RATIO) / size) as u16
}

/// The value in the middle of counts by step.
fn median_of(counts: &BTreeMap<u16, u32>, all: u32) -> f64 {
    let mut seen = 0;
    for (at, count) in counts {
        seen += count;
        if 2 * seen >= all {
            return (f64::from(*at) + 0.5) * STEP_RATIO;
        }
    }
    0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Half a step is what counting in steps can leave.
    const HALF_STEP: f64 = STEP_RATIO / 2.0 + 1e-12;

    #[test]
    fn the_medians_of_a_level_are_those_of_its_slots() {
        let mut cloud = Cloud::default();
        for n in 0..11 {
            let at = f64::from(n) / 100.0;
            let light = Irradiance::from_w_m2(800.0);
            cloud.add(0.9 + at, 0.4 + at, true, Some(light));
        }
        let levels = cloud.levels(true);
        assert_eq!(levels.len(), 1);
        assert_eq!(levels[0].from_w_m2, 700.0);
        assert!((levels[0].voltage_ratio - 0.95).abs() <= HALF_STEP);
        assert!((levels[0].current_ratio - 0.45).abs() <= HALF_STEP);
        assert!(cloud.levels(false).is_empty());
        assert!(cloud.cells().iter().all(|cell| cell.in_finding));
        assert_eq!(cloud.cells().iter().map(|cell| cell.count).sum::<u32>(), 11);
    }
}
