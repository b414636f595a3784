//! The summary picture: what was measured, what was expected, what was found, on one time axis.
//!
//! From top to bottom: irradiance of each plane; for each inverter its AC power, and for each of its
//! inputs voltage and current against the expected band, with a strip that says where the array
//! tests were not valid and why; last a lane with one bar for each finding.
//!
//! Beside it, one day of one inverter for a screen ([`day_svg`]).
//!
//! Drawn once, by one function over plotters' `DrawingBackend`, as SVG or as RGB pixels.
//!
//! Beside it the small pictures of a report, each a function from its input to a [`Picture`] (SVG and
//! words), or `None` where there is nothing to show: a day of an input, its history, its place on the
//! curve, the ledger, insulation, the supply. [`dark_rules`] gives them the colours for a dark ground.
//! Never in here: files, and any judgement; the picture shows what it is given.

mod calendar;
mod canvas;
mod check;
mod cloud;
mod dark;
mod day;
mod day_axis;
mod day_look;
mod digest;
mod draw;
mod error;
mod gates;
mod history;
mod input_day;
mod lane;
mod layout;
mod ledger_bars;
mod legend;
mod lettering;
mod mornings;
mod names;
mod panel;
mod path;
mod period;
mod select;
mod series;
mod sheet;
mod style;
mod supply;
mod value_axis;
mod words;

pub use cloud::{CloudCell, CloudInput, CloudLevel, cloud_picture};
pub use dark::{dark_rules, darkened};
pub use day::{DayInput, day_svg};
pub use day_look::Look;
pub use digest::{Digest, shows_days};
pub use error::ChartError;
pub use history::{HistoryDay, HistoryInput, history_picture};
pub use input_day::input_day_picture;
pub use ledger_bars::{LedgerBar, LedgerInput, MOST_PARTS, ledger_picture};
pub use mornings::{MorningsInput, mornings_picture};
pub use sheet::{Picture, WIDTH_PX};
pub use supply::{HoursInput, SupplyInput, SupplyPoint, hours_picture, supply_picture};

use crate::detect::Slot;
use crate::diagnose::Finding;
use crate::plant::Plant;
use crate::reading::{Span, Time};
use canvas::Canvas;
use layout::Layout;
use plotters::prelude::{BitMapBackend, SVGBackend};
use std::collections::BTreeSet;

/// Everything that the picture shows.
#[derive(Clone, Copy)]
pub struct SummaryInput<'a> {
    /// Name of the site for people.
    pub site_name: &'a str,
    /// The plant that the slots and findings speak of.
    pub plant: &'a Plant,
    /// In order of time; a missing slot is a gap in every line.
    pub slots: &'a [Slot],
    /// In any order.
    pub findings: &'a [Finding],
    /// Local time minus UTC at a point in time; the labels are in local time.
    pub utc_offset: &'a dyn Fn(Time) -> Span,
}

/// How large the picture may become. The height follows from the number of panels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    /// Width [pixel].
    pub width_px: u32,
    /// Greatest height [pixel]; inputs that do not fit are left out, and the picture says so.
    pub max_height_px: u32,
}

impl Default for Size {
    /// Wide enough for four days at five minutes, and high enough for twelve inputs.
    fn default() -> Self {
        Self {
            width_px: 1400,
            max_height_px: 4000,
        }
    }
}

/// Pixels, row by row from the top, three bytes (red, green, blue) each.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RgbPicture {
    /// Width [pixel].
    pub width_px: u32,
    /// Height [pixel].
    pub height_px: u32,
    /// `3 * width_px * height_px` bytes.
    pub rgb: Vec<u8>,
    /// Indices of the inverters that it shows.
    pub inverters: BTreeSet<usize>,
}

/// SVG coordinates are whole numbers, so a pixel is cut into this many of them.
const SVG_UNITS_PER_PX: u32 = 4;
/// Pixels are drawn this many times finer in each direction and then averaged.
const RGB_UNITS_PER_PX: u32 = 2;

/// The picture as SVG. Its text names the generic family "sans-serif".
pub fn summary_svg(input: &SummaryInput, size: Size) -> Result<String, ChartError> {
    let digest = digest::of(input, size)?;
    let input = &digest.shown(input);
    let layout = Layout::new(input, size)?;
    let size = (layout.width_px, layout.height_px);
    svg(size, &layout.fonts, |canvas| {
        draw::summary(input, &layout, canvas)
    })
}

/// An SVG of so many pixels.
fn svg(
    (width, height): (u32, u32),
    fonts: &lettering::Fonts,
    draw: impl FnOnce(&mut Canvas<SVGBackend>) -> Result<(), ChartError>,
) -> Result<String, ChartError> {
    let drawn = (width * SVG_UNITS_PER_PX, height * SVG_UNITS_PER_PX);
    let mut svg = String::new();
    let mut backend = SVGBackend::with_string(&mut svg, drawn);
    let mut canvas = Canvas::new(
        &mut backend,
        SVG_UNITS_PER_PX,
        canvas::Strokes::Whole,
        fonts,
    );
    draw(&mut canvas)?;
    canvas.finish()?;
    drop(backend);
    // plotters gives the drawing the size of its coordinates; the viewBox stays at that.
    let fine = format!("width=\"{}\" height=\"{}\"", drawn.0, drawn.1);
    Ok(svg.replacen(&fine, &format!("width=\"{width}\" height=\"{height}\""), 1))
}

/// The picture as pixels.
pub fn summary_rgb(input: &SummaryInput, size: Size) -> Result<RgbPicture, ChartError> {
    let digest = digest::of(input, size)?;
    let input = &digest.shown(input);
    let layout = Layout::new(input, size)?;
    let (width, height) = (layout.width_px, layout.height_px);
    let drawn = (width * RGB_UNITS_PER_PX, height * RGB_UNITS_PER_PX);
    let mut fine = vec![255; 3 * drawn.0 as usize * drawn.1 as usize];
    let mut backend = BitMapBackend::with_buffer(&mut fine, drawn);
    let mut canvas = Canvas::new(
        &mut backend,
        RGB_UNITS_PER_PX,
        canvas::Strokes::Pieces,
        &layout.fonts,
    );
    draw::summary(input, &layout, &mut canvas)?;
    canvas.finish()?;
    drop(backend);
    Ok(RgbPicture {
        width_px: width,
        height_px: height,
        rgb: averaged(&fine, width as usize, height as usize),
        inverters: layout.inverters,
    })
}

/// The mean of each square of fine pixels.
fn averaged(fine: &[u8], width: usize, height: usize) -> Vec<u8> {
    const N: usize = RGB_UNITS_PER_PX as usize;
    let mut rgb = Vec::with_capacity(3 * width * height);
    for y in 0..height {
        for x in 0..width {
            for channel in 0..3 {
                let at = |dx, dy| ((y * N + dy) * width * N + x * N + dx) * 3 + channel;
                let sum: usize = (0..N * N)
                    .map(|i| usize::from(fine[at(i % N, i / N)]))
                    .sum();
                rgb.push(((sum + N * N / 2) / (N * N)) as u8);
            }
        }
    }
    rgb
}
