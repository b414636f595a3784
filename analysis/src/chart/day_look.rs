//! Colours and sizes of a day on a screen: on a light ground and on a dark one.
//!
//! As in `style`, every difference is one of lightness or of line too. Text has 7:1 at least against
//! its ground, lines that carry meaning 3:1 (WCAG 2.2, 1.4.6 and 1.4.11).

use super::style::{self, Rgb, Type};

/// On what ground a picture is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Look {
    /// Dark on light.
    Light,
    /// Light on dark.
    Dark,
}

/// The colours of a look.
#[derive(Debug, Clone, Copy)]
pub(super) struct Colours {
    pub paper: Rgb,
    pub ink: Rgb,
    pub soft_ink: Rgb,
    pub expected: Rgb,
    pub band: Rgb,
    pub untested: Rgb,
    pub grid: Rgb,
    pub strong_grid: Rgb,
    pub light_fill: Rgb,
}

impl Look {
    pub(super) const fn colours(self) -> Colours {
        match self {
            Look::Light => Colours {
                paper: style::PAPER,
                ink: style::INK,
                soft_ink: style::SOFT_INK,
                expected: style::EXPECTED,
                band: style::BAND,
                untested: style::UNTESTED,
                grid: style::GRID,
                strong_grid: style::STRONG_GRID,
                light_fill: style::LIGHT_FILL,
            },
            Look::Dark => Colours {
                paper: (27, 31, 38),
                ink: (238, 240, 244),
                soft_ink: (188, 194, 204),
                expected: (240, 160, 90),
                band: (98, 66, 38),
                untested: (38, 43, 52),
                grid: (56, 62, 73),
                strong_grid: (96, 103, 117),
                light_fill: (74, 66, 36),
            },
        }
    }
}

pub(super) const fn name(colour: Rgb) -> Type {
    Type {
        size: 13.0,
        bold: true,
        colour,
    }
}

pub(super) const fn label(colour: Rgb) -> Type {
    Type {
        size: 12.0,
        bold: false,
        colour,
    }
}

/// Around everything.
pub(super) const EDGE: f64 = 8.0;
/// Left of the plots: labels of values.
pub(super) const VALUES: f64 = 44.0;
/// Height of a plot.
pub(super) const PLOT: f64 = 104.0;
/// Above a plot: its name.
pub(super) const NAME: f64 = 24.0;
/// Under the last plot: labels of the time.
pub(super) const TIMES: f64 = 22.0;
/// Height of the line that says what the lines mean.
pub(super) const KEY: f64 = 22.0;
