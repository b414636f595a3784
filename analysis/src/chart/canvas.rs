//! Lines, areas, patterns and text in pixels, on any backend of plotters.
//! Never in here: what a line or an area means.

use super::ChartError;
use super::lettering::{Fonts, Lettering, TOP_TO_BASELINE_EM};
use super::style::{Rgb, Type};
use plotters_backend::text_anchor::HPos;
use plotters_backend::{BackendColor, BackendStyle, DrawingBackend};

/// A point of the picture [pixel], x to the right and y down.
pub type Point = (f64, f64);

/// How a line of several pieces is handed to the backend.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Strokes {
    /// As one path.
    Whole,
    /// Piece by piece: plotters turns a wide path into one polygon, and where a dense line crosses
    /// itself that polygon gets holes.
    Pieces,
}

/// Where the anchor of a text lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// The text begins there.
    Left,
    /// The text is centred there.
    Middle,
    /// The text ends there.
    Right,
}

/// An upright rectangle [pixel].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rect {
    /// Left edge.
    pub left: f64,
    /// Upper edge.
    pub top: f64,
    /// Right edge.
    pub right: f64,
    /// Lower edge.
    pub bottom: f64,
}

/// How an area is filled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fill {
    /// Not at all.
    None,
    /// With one colour.
    Solid(Rgb),
    /// With upright lines this far apart.
    Upright(f64),
    /// With level lines this far apart.
    Level(f64),
    /// With lines that rise to the right, this far apart.
    Rising(f64),
    /// With both.
    Crossed(f64),
}

/// A backend, with pixels as its unit.
pub struct Canvas<'c, DB: DrawingBackend> {
    backend: &'c mut DB,
    units_per_px: f64,
    strokes: Strokes,
    /// To measure text with.
    pub fonts: &'c Fonts,
}

struct Stroke {
    colour: Rgb,
    width: u32,
}

impl BackendStyle for Stroke {
    fn color(&self) -> BackendColor {
        BackendColor {
            alpha: 1.0,
            rgb: self.colour,
        }
    }

    fn stroke_width(&self) -> u32 {
        self.width
    }
}

impl<'c, DB: DrawingBackend> Canvas<'c, DB> {
    /// A canvas over a backend whose coordinates are `units_per_px` times finer than a pixel.
    pub fn new(backend: &'c mut DB, units_per_px: u32, strokes: Strokes, fonts: &'c Fonts) -> Self {
        Self {
            backend,
            units_per_px: f64::from(units_per_px),
            strokes,
            fonts,
        }
    }

    /// A line through all points.
    pub fn line(&mut self, points: &[Point], colour: Rgb, width: f64) -> Result<(), ChartError> {
        let mut path: Vec<_> = points.iter().map(|&p| self.at(p)).collect();
        path.dedup();
        if path.len() < 2 {
            return Ok(());
        }
        let stroke = self.stroke(colour, width);
        match self.strokes {
            Strokes::Whole => self
                .backend
                .draw_path(path, &stroke)
                .map_err(failed("line")),
            Strokes::Pieces => path
                .windows(2)
                .try_for_each(|p| self.backend.draw_line(p[0], p[1], &stroke))
                .map_err(failed("line")),
        }
    }

    /// A filled polygon without edge.
    pub fn area(&mut self, points: &[Point], colour: Rgb) -> Result<(), ChartError> {
        let mut corners: Vec<_> = points.iter().map(|&p| self.at(p)).collect();
        corners.dedup();
        if corners.len() < 3 {
            return Ok(());
        }
        let stroke = self.stroke(colour, 0.0);
        self.backend
            .fill_polygon(corners, &stroke)
            .map_err(failed("area"))
    }

    /// The inside of a rectangle.
    pub fn fill(&mut self, rect: Rect, fill: Fill, colour: Rgb) -> Result<(), ChartError> {
        match fill {
            Fill::None => Ok(()),
            Fill::Solid(solid) => self.solid(rect, solid),
            Fill::Upright(step) => self.hatch(rect, step, colour, &[Slope::Upright]),
            Fill::Level(step) => self.hatch(rect, step, colour, &[Slope::Level]),
            Fill::Rising(step) => self.hatch(rect, step, colour, &[Slope::Rising]),
            Fill::Crossed(step) => self.hatch(rect, step, colour, &[Slope::Rising, Slope::Falling]),
        }
    }

    /// The edge of a rectangle.
    pub fn frame(&mut self, rect: Rect, colour: Rgb, width: f64) -> Result<(), ChartError> {
        let Rect {
            left,
            top,
            right,
            bottom,
        } = rect;
        let corners = [
            (left, top),
            (right, top),
            (right, bottom),
            (left, bottom),
            (left, top),
        ];
        self.line(&corners, colour, width)
    }

    /// A line of text whose baseline passes through `at`.
    pub fn text(&mut self, text: &str, typ: Type, at: Point, side: Side) -> Result<(), ChartError> {
        let anchor = match side {
            Side::Left => HPos::Left,
            Side::Middle => HPos::Center,
            Side::Right => HPos::Right,
        };
        let lettering = Lettering::new(self.fonts, typ, typ.size * self.units_per_px, anchor);
        let top = self.at((at.0, at.1 - TOP_TO_BASELINE_EM * typ.size));
        self.backend
            .draw_text(text, &lettering, top)
            .map_err(failed("text"))
    }

    /// Ends the drawing.
    pub fn finish(self) -> Result<(), ChartError> {
        self.backend.present().map_err(failed("end of the picture"))
    }

    fn solid(&mut self, rect: Rect, colour: Rgb) -> Result<(), ChartError> {
        let (from, to) = (
            self.at((rect.left, rect.top)),
            self.at((rect.right, rect.bottom)),
        );
        if from.0 >= to.0 || from.1 >= to.1 {
            return Ok(());
        }
        // Pixels hold both ends, so the last one belongs to the neighbour; SVG takes the size.
        let to = match self.strokes {
            Strokes::Whole => to,
            Strokes::Pieces => (to.0 - 1, to.1 - 1),
        };
        let stroke = self.stroke(colour, 0.0);
        self.backend
            .draw_rect(from, to, &stroke, true)
            .map_err(failed("rectangle"))
    }

    fn hatch(
        &mut self,
        rect: Rect,
        step: f64,
        colour: Rgb,
        slopes: &[Slope],
    ) -> Result<(), ChartError> {
        const HATCH_WIDTH: f64 = 1.0;
        for (from, to) in slopes.iter().flat_map(|s| s.lines(rect, step)) {
            self.line(&[from, to], colour, HATCH_WIDTH)?;
        }
        Ok(())
    }

    fn stroke(&self, colour: Rgb, width: f64) -> Stroke {
        let width = (width * self.units_per_px).round().max(1.0) as u32;
        Stroke { colour, width }
    }

    fn at(&self, (x, y): Point) -> (i32, i32) {
        let unit = |v: f64| (v * self.units_per_px).round() as i32;
        (unit(x), unit(y))
    }
}

fn failed<E: std::fmt::Display>(step: &'static str) -> impl FnOnce(E) -> ChartError {
    move |cause| ChartError::Drawing {
        step,
        cause: cause.to_string(),
    }
}

/// Direction of the lines of a pattern.
#[derive(Debug, Clone, Copy)]
enum Slope {
    Upright,
    Level,
    Rising,
    Falling,
}

impl Slope {
    /// The lines of the pattern inside a rectangle. They lie on one grid for the whole picture, so
    /// that the pattern of many thin rectangles side by side is the same as that of one wide one.
    fn lines(self, rect: Rect, step: f64) -> Vec<(Point, Point)> {
        let Rect {
            left,
            top,
            right,
            bottom,
        } = rect;
        match self {
            Slope::Upright => grid(left, right, step)
                .map(|x| ((x, top), (x, bottom)))
                .collect(),
            Slope::Level => grid(top, bottom, step)
                .map(|y| ((left, y), (right, y)))
                .collect(),
            // x + y = c
            Slope::Rising => grid(left + top, right + bottom, step)
                .map(|c| {
                    let (x0, x1) = (left.max(c - bottom), right.min(c - top));
                    ((x0, c - x0), (x1, c - x1))
                })
                .collect(),
            // x - y = c
            Slope::Falling => grid(left - bottom, right - top, step)
                .map(|c| {
                    let (x0, x1) = (left.max(c + top), right.min(c + bottom));
                    ((x0, x0 - c), (x1, x1 - c))
                })
                .collect(),
        }
    }
}

/// Multiples of `step` from `low` to below `high`.
fn grid(low: f64, high: f64, step: f64) -> impl Iterator<Item = f64> {
    let first = (low / step).ceil() as i64;
    (first..)
        .map(move |i| i as f64 * step)
        .take_while(move |&v| v < high)
}
