//! One panel: ground, grid, band, lines, and the names left of it.

use super::canvas::{Canvas, Fill, Point, Rect, Side};
use super::layout::{Layout, Panel};
use super::path;
use super::period::TimeAxis;
use super::series::{self, Run, Source, Traces};
use super::style::*;
use super::value_axis::ValueAxis;
use super::{ChartError, SummaryInput, gates, names};
use plotters_backend::DrawingBackend;

/// Draws a panel with its names and labels.
pub fn panel<DB: DrawingBackend>(
    panel: &Panel,
    input: &SummaryInput,
    layout: &Layout,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    ground(panel, input, layout, canvas)?;
    match &panel.values {
        Some(values) => {
            let scale = Scale {
                plot: panel.plot,
                values,
                axis: &layout.axis,
            };
            content(panel.source, input, &scale, canvas)?;
        }
        None => {
            let middle = (panel.plot.left + panel.plot.right) / 2.0;
            let at = (middle, (panel.plot.top + panel.plot.bottom) / 2.0 + 4.0);
            canvas.text("no value in this period", DETAIL, at, Side::Middle)?;
        }
    }
    canvas.frame(panel.plot, STRONG_GRID, HAIRLINE)?;
    describe(panel, input, canvas)
}

/// Grey where the input was not tested.
fn ground<DB: DrawingBackend>(
    panel: &Panel,
    input: &SummaryInput,
    layout: &Layout,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    let (Source::Voltage(inverter, number) | Source::Current(inverter, number)) = panel.source
    else {
        return Ok(());
    };
    // One ground for all reasons; the strip tells them apart.
    let mut merged: Vec<(f64, f64)> = Vec::new();
    for stretch in gates::untested(inverter, number, input.slots, &layout.axis) {
        match merged.last_mut() {
            Some((_, right)) if *right == stretch.left => *right = stretch.right,
            _ => merged.push((stretch.left, stretch.right)),
        }
    }
    merged.into_iter().try_for_each(|(left, right)| {
        let rect = Rect {
            left,
            right,
            ..panel.plot
        };
        canvas.fill(rect, Fill::Solid(UNTESTED), UNTESTED)
    })
}

/// Upright lines at the ticks of the time axis.
pub fn time_grid<DB: DrawingBackend>(
    plot: Rect,
    axis: &TimeAxis,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    axis.ticks.iter().try_for_each(|tick| {
        let colour = if tick.strong { STRONG_GRID } else { GRID };
        canvas.line(
            &[(tick.x, plot.top), (tick.x, plot.bottom)],
            colour,
            HAIRLINE,
        )
    })
}

/// Level lines at the ticks of the value axis, and their labels left of the plot.
pub fn value_grid<DB: DrawingBackend>(
    plot: Rect,
    values: &ValueAxis,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    for (value, label) in &values.ticks {
        let y = value_y(plot, values, *value);
        canvas.line(&[(plot.left, y), (plot.right, y)], GRID, HAIRLINE)?;
        canvas.text(label, TICK, (plot.left - 6.0, y + 4.0), Side::Right)?;
    }
    Ok(())
}

/// The height of a value in a plot.
pub fn value_y(plot: Rect, values: &ValueAxis, value: f64) -> f64 {
    let share = (value - values.low) / (values.high - values.low);
    plot.bottom - share * (plot.bottom - plot.top)
}

/// From time and value to a point.
pub(super) struct Scale<'s> {
    pub plot: Rect,
    pub values: &'s ValueAxis,
    pub axis: &'s TimeAxis,
}

impl Scale<'_> {
    /// A run through the middles of its pieces; one piece alone as a short level line.
    fn points(&self, run: &Run<f64>) -> Vec<Point> {
        let y = |value| value_y(self.plot, self.values, value);
        match run.as_slice() {
            [only] => vec![
                (self.axis.x(only.from), y(only.value)),
                (self.axis.x(only.to), y(only.value)),
            ],
            many => many
                .iter()
                .map(|p| ((self.axis.x(p.from) + self.axis.x(p.to)) / 2.0, y(p.value)))
                .collect(),
        }
    }

    /// The outline between the lower and the upper value, cut at the panel.
    pub fn outline(&self, run: &Run<(f64, f64)>) -> Vec<Point> {
        let side = |pick: fn(&(f64, f64)) -> f64| {
            let run = run.iter().map(|p| p.with(pick(&p.value)));
            path::thinned(&self.points(&run.collect()))
        };
        let mut outline = side(|v| v.1);
        outline.extend(side(|v| v.0).into_iter().rev());
        path::area_between(&outline, self.plot.top, self.plot.bottom)
    }

    /// The parts of a run inside the panel.
    pub fn parts(&self, run: &Run<f64>) -> Vec<Vec<Point>> {
        let thin = path::thinned(&self.points(run));
        path::line_between(&thin, self.plot.top, self.plot.bottom)
    }
}

/// Areas, over them the grid, over that the lines.
fn content<DB: DrawingBackend>(
    source: Source,
    input: &SummaryInput,
    scale: &Scale,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    let traces = series::traces(source, input.slots, scale.axis, input.utc_offset);
    areas(source, &traces, scale, canvas)?;
    time_grid(scale.plot, scale.axis, canvas)?;
    value_grid(scale.plot, scale.values, canvas)?;
    lines(source, &traces, scale, canvas)
}

fn areas<DB: DrawingBackend>(
    source: Source,
    traces: &Traces,
    scale: &Scale,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    for run in &traces.range {
        canvas.area(&scale.outline(run), DAY_RANGE)?;
    }
    for run in &traces.band {
        canvas.area(&scale.outline(run), BAND)?;
    }
    if let Source::Irradiance(_) = source {
        for run in &traces.measured {
            let from_zero = run.iter().map(|p| p.with((0.0, p.value)));
            canvas.area(&scale.outline(&from_zero.collect()), LIGHT_FILL)?;
        }
    }
    Ok(())
}

fn lines<DB: DrawingBackend>(
    source: Source,
    traces: &Traces,
    scale: &Scale,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    let parts =
        |runs: &[Run<f64>]| -> Vec<_> { runs.iter().flat_map(|r| scale.parts(r)).collect() };
    let expected = parts(&traces.expected);
    let length: f64 = expected.iter().map(|part| path::length(part)).sum();
    let stretch = (length / (MOST_DASHES * (DASH.0 + DASH.1))).max(1.0);
    for part in &expected {
        dashed(part, stretch, canvas)?;
    }
    let colour = match source {
        Source::Irradiance(_) => LIGHT_EDGE,
        _ => INK,
    };
    let measured = parts(&traces.measured);
    measured
        .iter()
        .try_for_each(|part| canvas.line(part, colour, MEASURED_WIDTH))
}

/// The line of expected values, its dashes `stretch` times as long as usual.
pub fn dashed<DB: DrawingBackend>(
    points: &[Point],
    stretch: f64,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    path::dashes(points, (DASH.0 * stretch, DASH.1 * stretch))
        .iter()
        .try_for_each(|dash| canvas.line(dash, EXPECTED, EXPECTED_WIDTH))
}

/// The names in the gutter, as many lines as the panel is high.
fn describe<DB: DrawingBackend>(
    panel: &Panel,
    input: &SummaryInput,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    let room = GUTTER - TICK_ROOM;
    let starts_at_zero = panel.values.as_ref().is_none_or(ValueAxis::shows_zero);
    let mut y = panel.plot.top;
    for (text, typ) in names::of(panel.source, input, starts_at_zero) {
        for line in canvas.fonts.wrapped(&text, typ, room) {
            y += typ.size + 3.0;
            // The gap under the panel is free left of the plots.
            if y > panel.plot.bottom + GROUP_GAP / 2.0 {
                return Ok(());
            }
            canvas.text(&line, typ, (MARGIN, y - 2.0), Side::Left)?;
        }
    }
    Ok(())
}
