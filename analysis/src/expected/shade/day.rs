//! One day of one input by the position of the sun: what shade took in each cell of the sky.
//!
//! Model:   a slot gives  i = I / min(I_curve(V), I_mp) / c  and  v = V / V_mp,  c the common factor of
//!          the siblings. What the input loses all day long is no shade: both are divided by the
//!          day's 65th percentile, reached where the sun is free. Means of a cell's slots with beam:
//!          p = 1 - i v;  p below the floor max(6 %, 2 s): clean;  else
//!          beam missing = (1 - i) / beam share,  voltage missing = 1 - v.
//! Symbols: i, v, p, beam share dimensionless, s standard deviation of i.
//! Range:   days with an hour and a half of beam; shade of less than two thirds of the valid light.
//! Source:  own; signs of shade as in the project's reference: shallow shade lowers the current,
//!          deep shade of sections the voltage, and overcast light shows neither.
//! Check:   tests in `map`; tests/acceptance/engine/shade.rs.

use super::{Shade, SkyCell};
use crate::reading::{SolarDay, Span, Time};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Share of beam from which a slot shows shade [-].
const LEAST_BEAM: f64 = 0.5;
/// Light with beam that a day must have [h].
const MIN_BEAM_H: f64 = 1.5;
/// The part of the day's ratios below what the day is measured by [-].
const FREE_QUANTILE: f64 = 0.65;
/// Least loss of power that is taken for shade [-], and the same in standard deviations.
const FLOOR_RATIO: f64 = 0.06;
const FLOOR_SIGMAS: f64 = 2.0;
/// Below this a part of a loss is none [-]: the voltage follows the heat as well.
const LEAST_PART: f64 = 0.025;

/// One valid slot of an input beside what it would give without any shade.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ShadeSample {
    /// Start of the slot.
    pub start: Time,
    /// Where the sun stands.
    pub cell: SkyCell,
    /// Share of the light that is beam [-].
    pub beam_share: f32,
    /// Current over what is expected without shade [-].
    pub current_ratio: f32,
    /// Voltage over that of the peak without shade [-].
    pub voltage_ratio: f32,
    /// Standard deviation of the current ratio [-].
    pub sigma: f32,
    /// Energy expected without shade, on the AC side [Wh].
    pub expected_wh: f32,
}

/// What a day said of one cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CellDay {
    /// Which.
    pub cell: SkyCell,
    /// First slot in it.
    pub began: Time,
    /// How long the sun was in it, unclouded.
    pub lit: Span,
    /// What shade took; none where it is clean.
    pub shade: Shade,
    /// The same, of the power [-].
    pub loss_ratio: f64,
    /// What the map had expected of that before the day [-].
    pub known_ratio: f64,
    /// Energy lost [Wh].
    pub lost_wh: f64,
    /// What the days before have to say.
    pub past: Past,
}

/// What is known of a cell before a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Past {
    /// It, or one beside it, lost when the sun was last there.
    pub repeats: bool,
    /// It was clean on several days.
    pub was_clean: bool,
    /// Once shade was known there.
    pub was_shaded: bool,
    /// Shade is known beside it.
    pub beside_shade: bool,
}

/// What a clear day said.
#[derive(Debug, Clone, PartialEq)]
pub struct ShadeDay {
    /// Which.
    pub day: SolarDay,
    /// Cells that the sun went through unclouded.
    pub cells: Vec<CellDay>,
}

/// What the slots of a day make of each cell: `None` of a day without enough beam.
pub(super) fn cells_of(samples: &[ShadeSample], slot: Span) -> Option<Vec<CellDay>> {
    let in_beam = || {
        samples
            .iter()
            .filter(|s| f64::from(s.beam_share) >= LEAST_BEAM)
    };
    if in_beam().count() as f64 * slot.hours() < MIN_BEAM_H {
        return None;
    }
    let free_current = quantile(samples.iter().map(|s| s.current_ratio))?;
    let free_voltage = quantile(samples.iter().map(|s| s.voltage_ratio))?;
    let mut by_cell: BTreeMap<SkyCell, Vec<&ShadeSample>> = BTreeMap::new();
    for sample in in_beam() {
        by_cell.entry(sample.cell).or_default().push(sample);
    }
    let of_cell = |(cell, samples): (SkyCell, Vec<&ShadeSample>)| {
        let n = samples.len() as f64;
        let mean =
            |of: fn(&ShadeSample) -> f32| samples.iter().map(|s| f64::from(of(s))).sum::<f64>() / n;
        let current = mean(|s| s.current_ratio) / free_current;
        let voltage = mean(|s| s.voltage_ratio) / free_voltage;
        let beam_share = mean(|s| s.beam_share);
        let loss_ratio = 1.0 - current * voltage;
        let is_clean = loss_ratio < FLOOR_RATIO.max(FLOOR_SIGMAS * mean(|s| s.sigma));
        let part = |lost: f64| if lost < LEAST_PART { 0.0 } else { lost };
        CellDay {
            cell,
            began: samples[0].start,
            lit: slot * samples.len() as i64,
            shade: if is_clean {
                Shade::NONE
            } else {
                Shade {
                    // An error of the split of the light may ask for more than there is.
                    beam_ratio: part((1.0 - current) / beam_share).min(1.0),
                    voltage_ratio: part(1.0 - voltage),
                }
            },
            loss_ratio: if is_clean { 0.0 } else { loss_ratio },
            known_ratio: 0.0,
            lost_wh: if is_clean {
                0.0
            } else {
                loss_ratio * n * mean(|s| s.expected_wh)
            },
            past: Past {
                repeats: false,
                was_clean: false,
                was_shaded: false,
                beside_shade: false,
            },
        }
    };
    Some(by_cell.into_iter().map(of_cell).collect())
}

fn quantile(ratios: impl Iterator<Item = f32>) -> Option<f64> {
    let mut sorted: Vec<f64> = ratios.map(f64::from).collect();
    sorted.sort_by(f64::total_cmp);
    let rank = (FREE_QUANTILE * sorted.len().checked_sub(1)? as f64).round();
    sorted.get(rank as usize).copied().filter(|r| *r > 0.0)
}
