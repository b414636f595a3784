//! The common parts of the small pictures of a report: title, key, plots, axes.
//! Never in here: what a picture shows.

use super::ChartError;
use super::canvas::{Canvas, Fill, Rect, Side};
use super::lettering::Fonts;
use super::panel::{dashed, value_grid};
use super::style::*;
use super::value_axis::ValueAxis;
use super::words;
use plotters::prelude::SVGBackend;

/// A picture with its words: what it is called, and how to read it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// The drawing; it has the title in it.
    pub svg: String,
    /// What it shows, also for those who cannot see it.
    pub title: String,
    /// How to read it, for people who see such a picture for the first time.
    pub reading: String,
}

/// Width of a small picture [pixel], where nobody wants another: half a screen, and the width of a
/// printed page.
pub const WIDTH_PX: u32 = 720;
/// Around everything.
const PAD: f64 = 12.0;
/// Left of a plot: labels of the value axis.
const LEFT: f64 = 58.0;
const MARK_PX: f64 = 24.0;
const MARK_SPACE_PX: f64 = 6.0;
const ENTRY_GAP_PX: f64 = 18.0;
const ROW_PX: f64 = 19.0;
/// From the name of the values to their plot: the topmost label stands between [pixel].
pub const ABOVE_PX: f64 = 10.0;
/// Room for one label of a level axis of values [pixel].
const LEVEL_LABEL_ROOM: f64 = 64.0;

/// A sample in the key.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Mark {
    /// A line.
    Line(Rgb),
    /// The dashed line of what is expected.
    Dashed,
    /// A filled area.
    Patch(Fill, Rgb),
    /// A point of values.
    Dot(Rgb),
    /// A hollow point.
    Ring(Rgb),
}

struct Entry {
    mark: Mark,
    text: String,
    x: f64,
    y: f64,
}

/// A picture before its plots are drawn.
pub struct Sheet {
    /// To measure text with.
    pub fonts: Fonts,
    /// Under title and key: where the first plot may begin.
    pub top: f64,
    /// Of all of it [pixel].
    pub width: f64,
    title: Vec<String>,
    key: Vec<Entry>,
}

impl Sheet {
    /// Title and key, broken into rows at the right edge.
    pub fn new(title: &str, key: &[(Mark, &str)]) -> Result<Self, ChartError> {
        Self::of_width(WIDTH_PX, title, key)
    }

    /// The same, so many pixels wide.
    pub fn of_width(width_px: u32, title: &str, key: &[(Mark, &str)]) -> Result<Self, ChartError> {
        let fonts = Fonts::read()?;
        let width = f64::from(width_px);
        let right = width - PAD;
        let title = fonts.wrapped(&words::plain(title), HEADING, right - PAD);
        let mut y = PAD + title.len() as f64 * (HEADING.size + 4.0) + ROW_PX / 2.0 + 2.0;
        let mut x = PAD;
        let mut entries = Vec::new();
        for (mark, text) in key {
            let text = fonts.fitted(&words::plain(text), LABEL, right - PAD - MARK_PX);
            let width = MARK_PX + MARK_SPACE_PX + fonts.width(&text, LABEL);
            if x + width > right && x > PAD {
                x = PAD;
                y += ROW_PX;
            }
            let mark = *mark;
            entries.push(Entry { mark, text, x, y });
            x += width + ENTRY_GAP_PX;
        }
        let top = if entries.is_empty() {
            y - ROW_PX / 2.0
        } else {
            y + ROW_PX / 2.0
        };
        Ok(Self {
            fonts,
            top: top + 4.0,
            width,
            title,
            key: entries,
        })
    }

    /// A plot under a line that names its values.
    pub fn plot(&self, top: f64, height: f64) -> Rect {
        let top = top + LABEL.size + 11.0;
        Rect {
            left: PAD + LEFT,
            top,
            right: self.width - PAD - 6.0,
            bottom: top + height,
        }
    }

    /// The picture down to `bottom`.
    pub fn drawn(
        &self,
        bottom: f64,
        then: impl FnOnce(&mut Canvas<SVGBackend>) -> Result<(), ChartError>,
    ) -> Result<String, ChartError> {
        let height = (bottom + PAD).ceil();
        super::svg((self.width as u32, height as u32), &self.fonts, |canvas| {
            let paper = Rect {
                left: 0.0,
                top: 0.0,
                right: self.width,
                bottom: height,
            };
            canvas.fill(paper, Fill::Solid(PAPER), PAPER)?;
            for (n, line) in self.title.iter().enumerate() {
                let y = PAD + (n as f64 + 1.0) * (HEADING.size + 4.0) - 5.0;
                canvas.text(line, HEADING, (PAD, y), Side::Left)?;
            }
            for entry in &self.key {
                explain(entry, canvas)?;
            }
            then(canvas)
        })
    }
}

fn explain(entry: &Entry, canvas: &mut Canvas<SVGBackend>) -> Result<(), ChartError> {
    let (x, y) = (entry.x, entry.y);
    let sample = Rect {
        left: x,
        top: y - 6.0,
        right: x + MARK_PX,
        bottom: y + 6.0,
    };
    let line = [(x, y), (sample.right, y)];
    match entry.mark {
        Mark::Line(colour) => canvas.line(&line, colour, MEASURED_WIDTH)?,
        Mark::Dashed => dashed(&line, 1.0, canvas)?,
        Mark::Patch(fill, colour) => patch(sample, fill, colour, canvas)?,
        Mark::Dot(colour) => dot((x + MARK_PX / 2.0, y), colour, canvas)?,
        Mark::Ring(colour) => ring((x + MARK_PX / 2.0, y), colour, canvas)?,
    }
    let at = (sample.right + MARK_SPACE_PX, y + 0.36 * LABEL.size);
    canvas.text(&entry.text, LABEL, at, Side::Left)
}

/// A filled area with an edge, so that it is seen on any ground.
pub fn patch(
    rect: Rect,
    fill: Fill,
    colour: Rgb,
    canvas: &mut Canvas<SVGBackend>,
) -> Result<(), ChartError> {
    canvas.fill(rect, Fill::Solid(PAPER), PAPER)?;
    canvas.fill(rect, fill, colour)?;
    canvas.frame(rect, colour, HAIRLINE)
}

fn around((x, y): (f64, f64), half: f64) -> Rect {
    Rect {
        left: x - half,
        top: y - half,
        right: x + half,
        bottom: y + half,
    }
}

/// A small filled square.
pub fn dot(at: (f64, f64), colour: Rgb, canvas: &mut Canvas<SVGBackend>) -> Result<(), ChartError> {
    canvas.fill(around(at, 2.5), Fill::Solid(colour), colour)
}

/// A small hollow square.
pub fn ring(
    at: (f64, f64),
    colour: Rgb,
    canvas: &mut Canvas<SVGBackend>,
) -> Result<(), ChartError> {
    let square = around(at, 3.0);
    canvas.fill(square, Fill::Solid(PAPER), PAPER)?;
    canvas.frame(square, colour, 1.2)
}

/// Name of the values above a plot, their lines and labels.
pub fn values(
    plot: Rect,
    axis: &ValueAxis,
    name: &str,
    canvas: &mut Canvas<SVGBackend>,
) -> Result<(), ChartError> {
    value_grid(plot, axis, canvas)?;
    canvas.text(name, LABEL, (PAD, plot.top - ABOVE_PX), Side::Left)
}

/// A level axis of values for a plot.
pub fn level_axis(low: f64, high: f64, plot: Rect) -> ValueAxis {
    let labels = (plot.right - plot.left) / LEVEL_LABEL_ROOM;
    ValueAxis::over(low, high, labels * VALUE_LABEL_ROOM)
}

/// The pixel of a value on a level axis.
pub fn level_x(plot: Rect, axis: &ValueAxis, value: f64) -> f64 {
    let share = (value - axis.low) / (axis.high - axis.low);
    plot.left + share * (plot.right - plot.left)
}

/// Upright lines and labels of a level axis of values, and its name under them; gives the lower
/// edge.
pub fn level(
    plot: Rect,
    axis: &ValueAxis,
    name: &str,
    canvas: &mut Canvas<SVGBackend>,
) -> Result<(), ChartError> {
    for (value, label) in &axis.ticks {
        let x = level_x(plot, axis, *value);
        canvas.line(&[(x, plot.top), (x, plot.bottom)], GRID, HAIRLINE)?;
        canvas.text(label, TICK, (x, plot.bottom + 15.0), Side::Middle)?;
    }
    canvas.text(name, LABEL, (plot.right, plot.bottom + 33.0), Side::Right)
}

/// Under a plot: labels and name of a level axis of values [pixel].
pub const LEVEL_HEIGHT: f64 = 38.0;

/// Labels under a plot, each at its pixel; those that would touch the one before are left out.
pub fn labels(
    plot: Rect,
    at: impl Iterator<Item = (f64, String, bool)>,
    canvas: &mut Canvas<SVGBackend>,
) -> Result<(), ChartError> {
    let mut free_from = 0.0;
    for (x, label, strong) in at {
        let typ = if strong { STRONG_TICK } else { TICK };
        let half = canvas.fonts.width(&label, typ) / 2.0;
        let x = x.min(f64::from(WIDTH_PX) - 4.0 - half);
        if x - half < free_from {
            continue;
        }
        free_from = x + half + 6.0;
        canvas.text(&label, typ, (x, plot.bottom + 15.0), Side::Middle)?;
    }
    Ok(())
}
