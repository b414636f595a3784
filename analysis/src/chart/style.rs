//! Colours, line widths, text sizes and distances of the picture, all in pixels.
//!
//! Every difference that carries meaning is one of lightness and of line or pattern too, so that it
//! survives grey print and the common kinds of colour blindness.

/// Red, green, blue.
pub type Rgb = (u8, u8, u8);

/// Ground of the picture and of tested slots.
pub const PAPER: Rgb = (255, 255, 255);
/// Text, frames and what was measured: near black.
pub const INK: Rgb = (24, 28, 36);
/// Second text: still 7:1 on white.
pub const SOFT_INK: Rgb = (84, 90, 102);
/// Expected values: a middle tone, and dashed.
pub const EXPECTED: Rgb = (196, 96, 20);
/// Their band: light, under everything.
pub const BAND: Rgb = (247, 205, 155);
/// From the least to the greatest value of a day.
pub const DAY_RANGE: Rgb = (228, 235, 246);
/// Irradiance: filled area and its edge.
pub const LIGHT_FILL: Rgb = (236, 228, 196);
/// Edge of the irradiance.
pub const LIGHT_EDGE: Rgb = (122, 104, 36);
/// Ground of slots that are not tested.
pub const UNTESTED: Rgb = (240, 241, 244);
/// Lines at the ticks of both axes.
pub const GRID: Rgb = (216, 219, 225);
/// Lines at midnight or at another strong tick.
pub const STRONG_GRID: Rgb = (168, 173, 184);
/// Solid parts of the strip of gates.
pub const STRIP: Rgb = (150, 155, 166);

/// Width of the measured line.
pub const MEASURED_WIDTH: f64 = 1.5;
/// Width of the expected line.
pub const EXPECTED_WIDTH: f64 = 1.5;
/// Width of frames and grid lines.
pub const HAIRLINE: f64 = 0.7;
/// Dash and gap of the expected line.
pub const DASH: (f64, f64) = (6.0, 4.0);
/// Each dash is an element of the SVG, so a long line has longer ones instead of more.
pub const MOST_DASHES: f64 = 300.0;

/// A size and weight of text.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Type {
    /// Em size.
    pub size: f64,
    /// Bold or regular.
    pub bold: bool,
    /// Colour.
    pub colour: Rgb,
}

const fn typ(size: f64, bold: bool, colour: Rgb) -> Type {
    Type { size, bold, colour }
}

/// Site name.
pub const TITLE: Type = typ(24.0, true, INK);
/// Period and number of findings; headings inside the picture.
pub const SUBTITLE: Type = typ(15.0, false, INK);
/// Headings of inverters and of the lane.
pub const HEADING: Type = typ(15.0, true, INK);
/// Name of a panel.
pub const NAME: Type = typ(13.0, true, INK);
/// Quantity and unit of a panel, legend, labels of findings.
pub const LABEL: Type = typ(13.0, false, INK);
/// Second information of a panel.
pub const DETAIL: Type = typ(11.5, false, SOFT_INK);
/// Tick labels.
pub const TICK: Type = typ(11.5, false, SOFT_INK);
/// Tick labels at strong ticks.
pub const STRONG_TICK: Type = typ(11.5, true, INK);
/// Number of a finding at a panel.
pub const TAG: Type = typ(11.0, true, INK);

/// Around everything.
pub const MARGIN: f64 = 22.0;
/// Left of the plots: names and tick labels.
pub const GUTTER: f64 = 216.0;
/// Of the gutter: tick labels of the value axis.
pub const TICK_ROOM: f64 = 46.0;
/// Height of a panel of an input or an inverter.
pub const PANEL_HEIGHT: f64 = 80.0;
/// Height of a panel of a plane.
pub const PLANE_HEIGHT: f64 = 80.0;
/// Between the two panels of an input.
pub const PAIR_GAP: f64 = 6.0;
/// Between groups of panels.
pub const GROUP_GAP: f64 = 20.0;
/// Height of the strip of gates.
pub const STRIP_HEIGHT: f64 = 11.0;
/// Height of a row of findings above a panel.
pub const TAG_ROW: f64 = 14.0;
/// Height of a row in the lane of findings.
pub const LANE_ROW: f64 = 24.0;
/// Height of a bar in the lane of findings.
pub const BAR_HEIGHT: f64 = 17.0;
/// Height of a time axis with its labels.
pub const AXIS_HEIGHT: f64 = 22.0;
/// Height of a heading line.
pub const HEADING_HEIGHT: f64 = 28.0;
/// Height of a row of the legend.
pub const LEGEND_ROW: f64 = 22.0;
/// Least distance of time labels.
pub const TIME_LABEL_ROOM: f64 = 78.0;
/// Least distance of value labels.
pub const VALUE_LABEL_ROOM: f64 = 16.0;
