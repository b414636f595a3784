//! Shade that nothing has told yet, from what clear days show of the sky cell by cell.
//!
//! Model:   a cell of the sky counts on a day if the input loses 10 % or more in it, if the map expects
//!          less than half of that, and if it is no continuation of what is known: shade was never
//!          known there, and a cell that was never clean before lies beside no known shade. A day
//!          counts if cells that lost when the sun was last there hold 30 min of such loss. A first
//!          day and two counting ones are a finding; a day on which the same cells are clean again
//!          starts over. It ends on the first clear day on which the map expects it: from then on it
//!          is known, and in the ledger.
//! Symbols: losses of power [-], energies [Wh].
//! Range:   days of [`ShadeDay`].
//! Source:  own; 10 % for 30 min a day within five clear days is the project's design. No sequential
//!          test: what guards against clouds is that the same cells return on three days. False
//!          alarms are measured, not derived.
//! Check:   tests/acceptance/engine/shade.rs: sizes against days, months of clouds.

use super::Edge;
use crate::expected::shade::{CellDay, ShadeDay};
use crate::reading::{SolarDay, Span, Time};
use serde::{Deserialize, Serialize};

/// Loss of power in a cell that counts [-].
const LEAST_LOSS_RATIO: f64 = 0.1;
/// Share of a loss that the map may have expected [-].
const EXPECTED_SHARE: f64 = 0.5;
/// How long the sun must be in cells that count, for a day to count; and at most, for it to be over.
const LEAST_LIT: Span = Span::from_min(30);
const OVER_UNDER: Span = Span::from_min(15);
/// Counting days after the first.
const DAYS: usize = 2;
/// Counting days further apart than this do not belong together.
const APART_DAYS: i64 = 21;
/// An obstacle no wider than this is a pole, a chimney, an aerial [deg].
const NARROW_DEG: f64 = 14.0;
/// Elevation of the middle of the lowest cells in which an input is tested [deg].
const LOW_DEG: f64 = 15.0;

/// What an obstacle looks like from the array.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum ShadeShape {
    /// Beside shade that was known.
    Widening,
    /// Down to where the sun is low.
    DownToTheHorizon,
    /// Narrow in azimuth.
    Narrow,
    /// None of these.
    Wide,
}

/// Shade that was found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FoundShade {
    /// What it looks like.
    pub shape: ShadeShape,
    /// Whether the input was free there before.
    pub is_new: bool,
    /// Clear days that show it.
    pub days: u32,
    /// Mean loss of power while it lasts [-].
    pub loss_ratio: f64,
    /// Part of that which the voltage shows [-]: sections passed by.
    pub voltage_ratio: f64,
    /// How long it lasts on a day.
    pub lasts: Span,
    /// Lost since it began [Wh].
    pub lost_wh: f64,
    /// Lost in a year with as many clear days as so far and the sun's path as now [Wh].
    pub yearly_wh: f64,
    /// From and to: azimuths of the sun, clockwise [deg].
    pub azimuth_deg: (f64, f64),
    /// From and to: elevations of the sun [deg].
    pub elevation_deg: (f64, f64),
}

/// The clear days of one input.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ShadeWatch {
    /// The first day of a loss, and those that confirm it.
    row: Vec<DayLoss>,
    stands: bool,
    first: Option<SolarDay>,
    clear_days: u32,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct DayLoss {
    day: SolarDay,
    began: Time,
    lasts: Span,
    lost_wh: f64,
}

impl ShadeWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a clear day that has ended; `found` is when it could be said.
    pub fn take(&mut self, of: &ShadeDay, found: Time) -> Option<Edge<FoundShade>> {
        let first = *self.first.get_or_insert(of.day);
        self.clear_days += 1;
        let fresh: Vec<&CellDay> = of.cells.iter().filter(is_fresh).collect();
        let lasts = lit(&fresh);
        if self.stands {
            let expected = of.cells.iter().filter(|c| c.known_ratio > 0.0);
            let at = expected
                .map(|c| c.began)
                .min()
                .or(of.cells.first().map(|c| c.began));
            let is_over = lasts < OVER_UNDER;
            self.stands = !is_over;
            return at.filter(|_| is_over).map(|at| Edge::Ended { at });
        }
        let latest = self.row.last().map(|day| day.day);
        if latest.is_some_and(|latest| of.day.days_since(latest) > APART_DAYS) || is_clean_again(of)
        {
            self.row.clear();
        }
        let repeated: Vec<&CellDay> = fresh.iter().copied().filter(|c| c.past.repeats).collect();
        let counts = if self.row.is_empty() {
            lasts
        } else {
            lit(&repeated)
        } >= LEAST_LIT;
        let began = fresh.iter().map(|c| c.began).min();
        if let Some(began) = began.filter(|_| counts) {
            self.row.push(DayLoss {
                day: of.day,
                began,
                lasts,
                lost_wh: fresh.iter().map(|c| c.lost_wh).sum(),
            });
        }
        if self.row.len() <= DAYS || !counts {
            return None;
        }
        let row = std::mem::take(&mut self.row);
        self.stands = true;
        let days = of.day.days_since(first) + 1;
        let clear_share = (f64::from(self.clear_days) / days as f64).min(1.0);
        Some(Edge::Found {
            began: row[0].began,
            found,
            seen: found_shade(&repeated, &row, clear_share),
        })
    }
}

fn is_fresh(cell: &&CellDay) -> bool {
    let past = cell.past;
    let is_continuation = past.was_shaded || (!past.was_clean && past.beside_shade);
    cell.loss_ratio >= LEAST_LOSS_RATIO
        && cell.known_ratio < EXPECTED_SHARE * cell.loss_ratio
        && !is_continuation
}

/// Whether cells that lost when the sun was last there are clean again.
fn is_clean_again(of: &ShadeDay) -> bool {
    let come_back = |lost: bool| {
        let cells = of.cells.iter();
        let cells: Vec<&CellDay> = cells
            .filter(|c| c.past.repeats && (c.loss_ratio > 0.0) == lost)
            .collect();
        lit(&cells)
    };
    // The neighbours of what is lost are clean anyway.
    come_back(true) < OVER_UNDER && come_back(false) >= LEAST_LIT
}

fn lit(cells: &[&CellDay]) -> Span {
    cells.iter().fold(Span::ZERO, |sum, c| sum + c.lit)
}

fn found_shade(cells: &[&CellDay], row: &[DayLoss], clear_share: f64) -> FoundShade {
    let minutes = |c: &CellDay| c.lit.seconds();
    let all: f64 = cells.iter().map(|c| minutes(c)).sum();
    let mean =
        |of: &dyn Fn(&CellDay) -> f64| cells.iter().map(|c| minutes(c) * of(c)).sum::<f64>() / all;
    let share = |of: &dyn Fn(&CellDay) -> bool| mean(&|c| f64::from(u8::from(of(c))));
    let elevations = || cells.iter().map(|c| c.cell.elevation_deg());
    let elevation_deg = (
        elevations().fold(90.0, f64::min),
        elevations().fold(0.0, f64::max),
    );
    let azimuth_deg = azimuths(cells);
    let width_deg = (azimuth_deg.1 - azimuth_deg.0).rem_euclid(360.0);
    let n = row.len() as f64;
    let lost_wh = row.iter().map(|day| day.lost_wh).sum();
    FoundShade {
        shape: if share(&|c| c.past.beside_shade) > 0.5 {
            ShadeShape::Widening
        } else if elevation_deg.0 < LOW_DEG {
            ShadeShape::DownToTheHorizon
        } else if width_deg <= NARROW_DEG {
            ShadeShape::Narrow
        } else {
            ShadeShape::Wide
        },
        is_new: share(&|c| c.past.was_clean) > 0.5,
        days: row.len() as u32,
        loss_ratio: mean(&|c| c.loss_ratio),
        voltage_ratio: mean(&|c| c.shade.voltage_ratio),
        lasts: Span::from_ms(row.iter().map(|day| day.lasts.ms()).sum::<i64>() / row.len() as i64),
        lost_wh,
        yearly_wh: lost_wh / n * 365.0 * clear_share,
        azimuth_deg,
        elevation_deg,
    }
}

/// The arc that holds all cells: the widest gap between neighbours is outside it.
fn azimuths(cells: &[&CellDay]) -> (f64, f64) {
    let mut sorted: Vec<f64> = cells.iter().map(|c| c.cell.azimuth_deg()).collect();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    let gap = |i: &usize| (sorted[(i + 1) % n] - sorted[*i]).rem_euclid(360.0);
    let widest = (0..n).max_by(|a, b| gap(a).total_cmp(&gap(b)));
    widest.map_or((0.0, 0.0), |i| (sorted[(i + 1) % n], sorted[i]))
}
