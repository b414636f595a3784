//! Current and voltage of an input over a period: what each day's median is of what was expected.

use super::ChartError;
use super::canvas::{Fill, Point, Rect};
use super::panel::{time_grid, value_y};
use super::period::TimeAxis;
use super::sheet::{self, Mark, Picture, Sheet};
use super::style::*;
use super::value_axis::ValueAxis;
use crate::reading::{Span, Time};

/// One day of an input.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HistoryDay {
    /// Its noon.
    pub at: Time,
    /// Median of measured over expected current [-].
    pub current_ratio: f64,
    /// Median of measured over expected voltage [-].
    pub voltage_ratio: f64,
}

/// Everything that the picture shows.
#[derive(Clone, Copy)]
pub struct HistoryInput<'a> {
    /// Whose days: `inv-1 input 2`.
    pub name: &'a str,
    /// From when to when.
    pub period: (Time, Time),
    /// In order of time; a day without a valid test is not among them.
    pub days: &'a [HistoryDay],
    /// When findings stood on the input.
    pub findings: &'a [(Time, Time)],
    /// Local time minus UTC.
    pub utc_offset: &'a dyn Fn(Time) -> Span,
}

const HIGH: f64 = 90.0;
/// Days further apart than this are not joined.
const JOINED: Span = Span::from_h(24 * 8);
/// A finding is at least this wide [pixel].
const LEAST_PX: f64 = 2.0;

/// A plot, the name of its values, and the value of a day.
type Shown = (Rect, &'static str, fn(&HistoryDay) -> f64);

/// The history; `None` where it has fewer than three days: the curves of the days say more.
pub fn history_picture(input: &HistoryInput) -> Result<Option<Picture>, ChartError> {
    if input.days.len() < 3 {
        return Ok(None);
    }
    let mut key = vec![
        (Mark::Dot(INK), "median of a day"),
        (Mark::Dashed, "as expected"),
    ];
    if !input.findings.is_empty() {
        key.push((Mark::Patch(Fill::Solid(BAND), BAND), "a finding stood"));
    }
    let title = format!("{}: measured over expected, day by day", input.name);
    let sheet = Sheet::new(&title, &key)?;
    let upper = sheet.plot(sheet.top, HIGH);
    let lower = sheet.plot(upper.bottom + 6.0, HIGH);
    let axis = TimeAxis::over(input.period, upper.left, upper.right, input.utc_offset);
    let svg = sheet.drawn(lower.bottom + AXIS_HEIGHT, |canvas| {
        let panels: [Shown; 2] = [
            (upper, "current, share of expected", |d| d.current_ratio),
            (lower, "voltage, share of expected", |d| d.voltage_ratio),
        ];
        for (plot, name, of) in panels {
            let values = range(input.days.iter().map(of));
            for (began, ended) in input.findings {
                let left = axis.x_inside(*began);
                let right = axis.x_inside(*ended).max(left + LEAST_PX);
                let span = Rect {
                    left: left.min(plot.right - LEAST_PX),
                    right: right.min(plot.right),
                    ..plot
                };
                canvas.fill(span, Fill::Solid(BAND), BAND)?;
            }
            time_grid(plot, &axis, canvas)?;
            sheet::values(plot, &values, name, canvas)?;
            let one = value_y(plot, &values, 1.0);
            super::panel::dashed(&[(plot.left, one), (plot.right, one)], 2.0, canvas)?;
            let point = |day: &HistoryDay| (axis.x(day.at), value_y(plot, &values, of(day)));
            let joined = |a: &HistoryDay, b: &HistoryDay| b.at - a.at <= JOINED;
            for run in input.days.chunk_by(joined) {
                let line: Vec<Point> = run.iter().map(point).collect();
                canvas.line(&line, INK, HAIRLINE)?;
            }
            // Many days are a line; few are points as well.
            if input.days.len() <= 62 {
                for day in input.days {
                    sheet::dot(point(day), INK, canvas)?;
                }
            }
            canvas.frame(plot, STRONG_GRID, HAIRLINE)?;
        }
        let ticks = axis.ticks.iter();
        sheet::labels(
            lower,
            ticks.map(|tick| (tick.x, tick.label.clone(), tick.strong)),
            canvas,
        )
    })?;
    let reading =
        "1 is what weather and datasheet say. Current that is low and voltage that is not: \
                   a string, dirt or shade. Voltage that is low: modules or a joint. Steps are \
                   faults, slopes are dirt, age or a sensor."
            .to_owned();
    Ok(Some(Picture {
        svg,
        title,
        reading,
    }))
}

/// Around 1, at least five hundredths to either side; what is far above is cut at the plot.
fn range(values: impl Iterator<Item = f64>) -> ValueAxis {
    let (low, high) = values.fold((0.95, 1.05), |(low, high): (f64, f64), value| {
        (low.min(value), high.max(value))
    });
    let room = 0.04 * (high - low);
    let low = if low <= 0.0 {
        0.0
    } else {
        (low - room).max(0.0)
    };
    ValueAxis::over(low, high + room, HIGH)
}
