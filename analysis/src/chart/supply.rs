//! The supply: voltage at an inverter against what it exports, and trips by the hour of the day.

use super::ChartError;
use super::canvas::{Fill, Rect, Side};
use super::panel::{dashed, value_y};
use super::sheet::{self, Mark, Picture, Sheet};
use super::style::*;
use super::value_axis::ValueAxis;
use crate::reading::median;

/// Export and the highest phase voltage in the same span of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SupplyPoint {
    /// AC power [kW].
    pub export_kw: f64,
    /// Highest phase voltage [V].
    pub voltage_v: f64,
}

/// Everything that the picture of the voltage shows.
#[derive(Debug, Clone, PartialEq)]
pub struct SupplyInput<'a> {
    /// Whose points.
    pub name: &'a str,
    /// `minute`, `hour`: over which each point is a mean.
    pub span: &'a str,
    /// In any order.
    pub points: &'a [SupplyPoint],
    /// Limit of the sustained voltage, if the rules have one [V].
    pub limit_v: Option<f64>,
    /// Rated power [kW].
    pub rated_kw: f64,
}

const HIGH: f64 = 190.0;
const COLUMNS: usize = 72;
const ROWS: usize = 38;
const LEVELS: usize = 8;
/// Fewer points in a column say nothing of its median.
const LEAST_POINTS: usize = 5;
const SELDOM: Rgb = (190, 197, 210);
const OFTEN: Rgb = (60, 68, 84);

/// Voltage against export; `None` with fewer than twenty points.
pub fn supply_picture(input: &SupplyInput) -> Result<Option<Picture>, ChartError> {
    if input.points.len() < 20 {
        return Ok(None);
    }
    let mut key = vec![
        (Mark::Patch(Fill::Solid(OFTEN), OFTEN), "often"),
        (Mark::Patch(Fill::Solid(SELDOM), SELDOM), "seldom"),
        (Mark::Ring(INK), "median at this export"),
    ];
    if input.limit_v.is_some() {
        key.push((Mark::Dashed, "sustained limit"));
    }
    let title = format!(
        "{}: voltage of the highest phase against export, means of {}s",
        input.name, input.span
    );
    let sheet = Sheet::new(&title, &key)?;
    let plot = sheet.plot(sheet.top, HIGH);
    let volts = input
        .points
        .iter()
        .map(|p| p.voltage_v)
        .chain(input.limit_v);
    let (low, high) = extent(volts);
    let room = (0.05 * (high - low)).max(0.5);
    let y_axis = ValueAxis::over(low - room, high + room, HIGH);
    let (_, most_kw) = extent(input.points.iter().map(|p| p.export_kw));
    let x_axis = sheet::level_axis(0.0, most_kw.max(input.rated_kw), plot);
    let svg = sheet.drawn(plot.bottom + sheet::LEVEL_HEIGHT, |canvas| {
        sheet::level(plot, &x_axis, "export, kW", canvas)?;
        sheet::values(plot, &y_axis, "voltage, V (axis not from zero)", canvas)?;
        for (rect, is_often) in cells(input.points, &x_axis, &y_axis, plot) {
            let ink = if is_often { OFTEN } else { SELDOM };
            canvas.fill(rect, Fill::Solid(ink), ink)?;
        }
        if let Some(limit) = input.limit_v {
            let y = value_y(plot, &y_axis, limit);
            dashed(&[(plot.left, y), (plot.right, y)], 2.0, canvas)?;
        }
        let medians: Vec<_> = medians(input.points, x_axis.high)
            .map(|(kw, v)| (sheet::level_x(plot, &x_axis, kw), value_y(plot, &y_axis, v)))
            .collect();
        canvas.line(&medians, INK, HAIRLINE)?;
        for at in medians {
            sheet::ring(at, INK, canvas)?;
        }
        canvas.frame(plot, STRONG_GRID, HAIRLINE)
    })?;
    let reading = "Where the medians rise with the export, the inverter lifts the voltage by itself: \
                   the steeper, the more resistance the supply has. High at no export: the network is \
                   high by itself. At the dashed line the inverter has to let go."
        .to_owned();
    Ok(Some(Picture {
        svg,
        title,
        reading,
    }))
}

fn extent(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    })
}

/// Cells that have points, and whether they have many.
fn cells(
    points: &[SupplyPoint],
    x_axis: &ValueAxis,
    y_axis: &ValueAxis,
    plot: Rect,
) -> Vec<(Rect, bool)> {
    let mut counts = vec![0u32; COLUMNS * ROWS];
    let place = |share: f64, cells: usize| {
        let cell = (share * cells as f64).floor();
        (cell.max(0.0) as usize).min(cells - 1)
    };
    for point in points {
        let x = (point.export_kw - x_axis.low) / (x_axis.high - x_axis.low);
        let y = (point.voltage_v - y_axis.low) / (y_axis.high - y_axis.low);
        counts[place(y, ROWS) * COLUMNS + place(x, COLUMNS)] += 1;
    }
    // Nights without export are in few cells and would make everything else seldom.
    let usual = median(counts.iter().filter(|n| **n > 0).map(|n| f64::from(*n))).unwrap_or(0.0);
    let (wide, high) = (
        (plot.right - plot.left) / COLUMNS as f64,
        (plot.bottom - plot.top) / ROWS as f64,
    );
    let cell = |(n, count): (usize, &u32)| {
        let (row, column) = (n / COLUMNS, n % COLUMNS);
        let rect = Rect {
            left: plot.left + column as f64 * wide,
            top: plot.bottom - (row + 1) as f64 * high,
            right: plot.left + (column + 1) as f64 * wide,
            bottom: plot.bottom - row as f64 * high,
        };
        (rect, f64::from(*count) >= 2.0 * usual)
    };
    let counts = counts.iter().enumerate();
    counts.filter(|(_, count)| **count > 0).map(cell).collect()
}

/// Medians of the voltage in equal parts of the export.
fn medians(points: &[SupplyPoint], most_kw: f64) -> impl Iterator<Item = (f64, f64)> + '_ {
    (0..LEVELS).filter_map(move |level| {
        let (from, to) = (
            most_kw * level as f64 / LEVELS as f64,
            most_kw * (level + 1) as f64 / LEVELS as f64,
        );
        let inside = |p: &&SupplyPoint| from <= p.export_kw && p.export_kw < to;
        let of: Vec<&SupplyPoint> = points.iter().filter(inside).collect();
        if of.len() < LEAST_POINTS {
            return None;
        }
        let kw = median(of.iter().map(|p| p.export_kw))?;
        Some((kw, median(of.iter().map(|p| p.voltage_v))?))
    })
}

/// Everything that the picture of the hours shows.
#[derive(Debug, Clone, PartialEq)]
pub struct HoursInput<'a> {
    /// Whose trips.
    pub name: &'a str,
    /// Trips by the hour of the site's clock.
    pub trips: &'a [u32; 24],
}

/// Trips by the hour of the day; `None` without one.
pub fn hours_picture(input: &HoursInput) -> Result<Option<Picture>, ChartError> {
    let most = input.trips.iter().copied().max().unwrap_or(0);
    if most == 0 {
        return Ok(None);
    }
    let title = format!("{}: disconnections by the hour of the day", input.name);
    let sheet = Sheet::new(&title, &[])?;
    let plot = sheet.plot(sheet.top, 90.0);
    let axis = ValueAxis::over(0.0, f64::from(most) * 1.35, 40.0);
    let step = (plot.right - plot.left) / 24.0;
    let svg = sheet.drawn(plot.bottom + AXIS_HEIGHT, |canvas| {
        sheet::values(plot, &axis, "how many", canvas)?;
        for (hour, &trips) in input.trips.iter().enumerate().filter(|(_, n)| **n > 0) {
            let left = plot.left + hour as f64 * step;
            let bar = Rect {
                left: left + 0.15 * step,
                top: value_y(plot, &axis, f64::from(trips)),
                right: left + 0.85 * step,
                bottom: plot.bottom,
            };
            canvas.fill(bar, Fill::Solid(INK), INK)?;
            let at = (left + step / 2.0, bar.top - 3.0);
            canvas.text(&trips.to_string(), TICK, at, Side::Middle)?;
        }
        canvas.frame(plot, STRONG_GRID, HAIRLINE)?;
        let hours = (0..24).step_by(3);
        sheet::labels(
            plot,
            hours.map(|h| (plot.left + h as f64 * step, format!("{h:02}:00"), false)),
            canvas,
        )
    })?;
    let reading =
        "Trips about noon come from the own export or that of the neighbours; trips at all \
                   hours from the network."
            .to_owned();
    Ok(Some(Picture {
        svg,
        title,
        reading,
    }))
}
