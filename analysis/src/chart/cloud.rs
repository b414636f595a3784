//! The I-V plane of an input: where it worked, beside the curve that weather and datasheet give.
//!
//! Voltage and current are shares of those at the expected peak of the same moment, so that all
//! light and all heat lie on one curve.

use super::ChartError;
use super::canvas::{Fill, Point, Rect, Side};
use super::panel::{dashed, value_y};
use super::sheet::{self, Mark, Picture, Sheet};
use super::style::*;
use super::value_axis::ValueAxis;

/// How often the points of a cell were measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CloudCell {
    /// Voltage over expected voltage at the middle of the cell [-].
    pub voltage_ratio: f64,
    /// Current over expected current at the middle of the cell [-].
    pub current_ratio: f64,
    /// How many slots.
    pub count: u32,
    /// Whether a finding stood on the input in most of them.
    pub in_finding: bool,
}

/// The median of a level of light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CloudLevel {
    /// Lower end of the level [W/m2].
    pub from_w_m2: f64,
    /// Median of voltage over expected voltage [-].
    pub voltage_ratio: f64,
    /// Median of current over expected current [-].
    pub current_ratio: f64,
}

/// Everything that the picture shows.
#[derive(Debug, Clone, PartialEq)]
pub struct CloudInput<'a> {
    /// Whose points: `inv-1 input 2`.
    pub name: &'a str,
    /// Size of a cell [-].
    pub cell_ratio: f64,
    /// Cells that have points.
    pub cells: &'a [CloudCell],
    /// By rising light.
    pub levels: &'a [CloudLevel],
    /// Voltage and current of the healthy curve over those of its peak.
    pub curve: &'a [(f64, f64)],
    /// Width of the picture [pixel].
    pub width_px: u32,
}

const HIGH: f64 = 300.0;
const LEAST_RATIO: f64 = 1.25;
/// The voltage begins here where nothing lies lower: a lost section is a sixtieth.
const FROM_RATIO: f64 = 0.6;
const LIGHT: Rgb = (190, 197, 210);
const MIDDLE: Rgb = (125, 134, 152);
const DARK: Rgb = (60, 68, 84);
const FAULT_LIGHT: Rgb = (240, 190, 140);
const FAULT_DARK: Rgb = (196, 96, 20);

/// The cloud; `None` without a point.
pub fn cloud_picture(input: &CloudInput) -> Result<Option<Picture>, ChartError> {
    let Some(most) = input.cells.iter().map(|cell| cell.count).max() else {
        return Ok(None);
    };
    let mut key = vec![
        (Mark::Patch(Fill::Solid(DARK), DARK), "often"),
        (Mark::Patch(Fill::Solid(LIGHT), LIGHT), "seldom"),
    ];
    if input.cells.iter().any(|cell| cell.in_finding) {
        let mark = Mark::Patch(Fill::Solid(FAULT_DARK), FAULT_DARK);
        key.push((mark, "while a finding stood"));
    }
    key.push((Mark::Dashed, "healthy curve"));
    if !input.levels.is_empty() {
        key.push((Mark::Ring(INK), "median by light, W/m²"));
    }
    let title = format!("{}: where it worked on its curve", input.name);
    let sheet = Sheet::of_width(input.width_px, &title, &key)?;
    let plot = sheet.plot(sheet.top, HIGH);
    let svg = sheet.drawn(plot.bottom + sheet::LEVEL_HEIGHT, |canvas| {
        let far = |of: fn(&CloudCell) -> f64| {
            let most = input.cells.iter().map(of).fold(LEAST_RATIO, f64::max);
            most + input.cell_ratio
        };
        let lowest = input.cells.iter().map(|c| c.voltage_ratio);
        let is_low = lowest.fold(f64::INFINITY, f64::min) < FROM_RATIO + input.cell_ratio;
        let from = if is_low { 0.0 } else { FROM_RATIO };
        let volts = sheet::level_axis(from, far(|c| c.voltage_ratio), plot);
        let amps = ValueAxis::over(0.0, far(|c| c.current_ratio), HIGH);
        let at = |v: f64, i: f64| -> Point {
            (sheet::level_x(plot, &volts, v), value_y(plot, &amps, i))
        };
        sheet::level(plot, &volts, "voltage, share of expected", canvas)?;
        sheet::values(plot, &amps, "current, share of expected", canvas)?;
        for cell in input.cells {
            let half = input.cell_ratio / 2.0;
            let (left, bottom) = at(cell.voltage_ratio - half, cell.current_ratio - half);
            let (right, top) = at(cell.voltage_ratio + half, cell.current_ratio + half);
            let rect = Rect {
                left: left.max(plot.left),
                top,
                right,
                bottom: bottom.min(plot.bottom),
            };
            let ink = ink(cell, most);
            canvas.fill(rect, Fill::Solid(ink), ink)?;
        }
        let curve: Vec<Point> = input
            .curve
            .iter()
            .filter(|(v, i)| volts.low <= *v && *v <= volts.high && *i <= amps.high && *i >= 0.0)
            .map(|(v, i)| at(*v, *i))
            .collect();
        dashed(&curve, 1.0, canvas)?;
        cross(at(1.0, 1.0), canvas)?;
        levels(input.levels, &at, sheet.width, canvas)?;
        canvas.frame(plot, STRONG_GRID, HAIRLINE)
    })?;
    let reading = "The cross is the expected best point. Points under the curve: current is missing \
                   (a string, dirt, shade). Points left of it: voltage is missing (modules; more with \
                   more light: a joint). Points further along the curve: the inverter worked there, \
                   by a limit or by its own choice, and the array is well."
        .to_owned();
    Ok(Some(Picture {
        svg,
        title,
        reading,
    }))
}

fn ink(cell: &CloudCell, most: u32) -> Rgb {
    let share = f64::from(cell.count) / f64::from(most);
    match (cell.in_finding, share) {
        (true, share) if share > 0.05 => FAULT_DARK,
        (true, _) => FAULT_LIGHT,
        (false, share) if share > 0.3 => DARK,
        (false, share) if share > 0.03 => MIDDLE,
        (false, _) => LIGHT,
    }
}

fn cross(
    (x, y): Point,
    canvas: &mut super::canvas::Canvas<plotters::prelude::SVGBackend>,
) -> Result<(), ChartError> {
    const HALF: f64 = 9.0;
    canvas.line(&[(x - HALF, y), (x + HALF, y)], EXPECTED, 2.0)?;
    canvas.line(&[(x, y - HALF), (x, y + HALF)], EXPECTED, 2.0)
}

/// Rings joined from little to much light; the first and the last say which light.
fn levels(
    levels: &[CloudLevel],
    at: &dyn Fn(f64, f64) -> Point,
    right: f64,
    canvas: &mut super::canvas::Canvas<plotters::prelude::SVGBackend>,
) -> Result<(), ChartError> {
    let points: Vec<Point> = levels
        .iter()
        .map(|level| at(level.voltage_ratio, level.current_ratio))
        .collect();
    canvas.line(&points, INK, HAIRLINE)?;
    for point in &points {
        sheet::ring(*point, INK, canvas)?;
    }
    // Medians that lie together have one label: that of the most light.
    let Some(((x, y), last)) = points.last().copied().zip(levels.last()) else {
        return Ok(());
    };
    let text = format!("{:.0}+", last.from_w_m2);
    label(&text, (x, y), right, canvas)?;
    if let (Some(&(x0, y0)), Some(first)) = (points.first(), levels.first())
        && (x0 - x).hypot(y0 - y) > 30.0
    {
        let text = format!("{:.0}+", first.from_w_m2);
        label(&text, (x0, y0), right, canvas)?;
    }
    Ok(())
}

/// Beside a ring, on paper, so that cells do not hide it; left of it at the edge.
fn label(
    text: &str,
    (x, y): Point,
    right: f64,
    canvas: &mut super::canvas::Canvas<plotters::prelude::SVGBackend>,
) -> Result<(), ChartError> {
    let width = canvas.fonts.width(text, STRONG_TICK) + 6.0;
    let right_of = x + 12.0;
    let left = if right_of + width < right {
        right_of
    } else {
        x - 12.0 - width
    };
    let plate = Rect {
        left,
        top: y - 7.0,
        right: left + width,
        bottom: y + 7.0,
    };
    canvas.fill(plate, Fill::Solid(PAPER), PAPER)?;
    canvas.text(text, STRONG_TICK, (left + 3.0, y + 4.0), Side::Left)
}
