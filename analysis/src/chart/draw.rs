//! The picture, item by item. Where each stands is `layout`'s; what each means is `legend`'s.

use super::canvas::{Canvas, Fill, Rect, Side};
use super::gates::{self, Stretch};
use super::lane::{self, Bar, LaneBar, TagBar};
use super::layout::{Item, Layout};
use super::legend::{Entry, Key, SPACE_PX};
use super::panel;
use super::style::*;
use super::words;
use super::{ChartError, SummaryInput};
use crate::detect::{Gate, Severity};
use plotters_backend::DrawingBackend;

/// From a middle line to the baseline of text around it, over the em.
const MIDDLE_TO_BASELINE_EM: f64 = 0.36;

/// Draws everything.
pub fn summary<DB: DrawingBackend>(
    input: &SummaryInput,
    layout: &Layout,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    let paper = Rect {
        left: 0.0,
        top: 0.0,
        right: f64::from(layout.width_px),
        bottom: f64::from(layout.height_px),
    };
    canvas.fill(paper, Fill::Solid(PAPER), PAPER)?;
    title(layout, canvas)?;
    for entry in &layout.legend.entries {
        explain(entry, canvas)?;
    }
    layout
        .items
        .iter()
        .try_for_each(|item| draw(item, input, layout, canvas))
}

fn title<DB: DrawingBackend>(layout: &Layout, canvas: &mut Canvas<DB>) -> Result<(), ChartError> {
    let room = f64::from(layout.width_px) - 2.0 * MARGIN;
    let mut y = MARGIN;
    for (text, typ) in layout.title.iter().zip([layout.title_type, SUBTITLE]) {
        y += typ.size;
        let text = layout.fonts.fitted(text, typ, room);
        canvas.text(&text, typ, (MARGIN, y - 4.0), Side::Left)?;
        y += 6.0;
    }
    Ok(())
}

fn explain<DB: DrawingBackend>(entry: &Entry, canvas: &mut Canvas<DB>) -> Result<(), ChartError> {
    let (x, y) = (entry.x, entry.y);
    let sample = Rect {
        left: x,
        top: y - 6.0,
        right: x + entry.key.width(),
        bottom: y + 6.0,
    };
    match entry.key {
        Key::Word => {}
        Key::Measured => canvas.line(&[(x, y), (sample.right, y)], INK, MEASURED_WIDTH)?,
        Key::Expected => {
            canvas.fill(sample, Fill::Solid(BAND), BAND)?;
            panel::dashed(&[(x, y), (sample.right, y)], 1.0, canvas)?;
        }
        Key::DayRange => canvas.fill(sample, Fill::Solid(DAY_RANGE), DAY_RANGE)?,
        Key::Gate(gate) => patch(sample, gate, canvas)?,
        Key::Severity(severity) => bar_body(sample, severity, canvas)?,
    }
    let indent = if entry.key == Key::Word {
        0.0
    } else {
        SPACE_PX
    };
    let at = (
        sample.right + indent,
        y + MIDDLE_TO_BASELINE_EM * LABEL.size,
    );
    canvas.text(&entry.text, LABEL, at, Side::Left)
}

fn draw<DB: DrawingBackend>(
    item: &Item,
    input: &SummaryInput,
    layout: &Layout,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    match item {
        Item::TimeLabels(top) => time_labels(*top, layout, canvas),
        Item::Heading(top, text) => canvas.text(
            text,
            HEADING,
            (MARGIN, top + HEADING.size + 4.0),
            Side::Left,
        ),
        Item::Panel(panel) => panel::panel(panel, input, layout, canvas),
        Item::Tags(top, tags) => tags
            .iter()
            .try_for_each(|tag| above_panel(tag, *top, canvas)),
        Item::Strip(top, inverter, number) => strip(
            *top,
            &gates::untested(*inverter, *number, input.slots, &layout.axis),
            canvas,
        ),
        Item::Lane(top, bars) => in_lane(*top, bars, layout, canvas),
        Item::Note(top, text) => {
            canvas.text(text, LABEL, (MARGIN, top + LABEL.size + 4.0), Side::Left)
        }
    }
}

fn time_labels<DB: DrawingBackend>(
    top: f64,
    layout: &Layout,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    for tick in &layout.axis.ticks {
        let typ = if tick.strong { STRONG_TICK } else { TICK };
        let half = layout.fonts.width(&tick.label, typ) / 2.0;
        // The first and the last label stay inside the picture.
        let x = tick.x.min(layout.axis.right + MARGIN - 6.0 - half);
        canvas.text(&tick.label, typ, (x, top + 15.0), Side::Middle)?;
    }
    Ok(())
}

fn strip<DB: DrawingBackend>(
    top: f64,
    stretches: &[Stretch],
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    for &Stretch { left, right, gate } in stretches {
        let bottom = top + STRIP_HEIGHT;
        patch(
            Rect {
                left,
                top: top + 2.0,
                right,
                bottom,
            },
            gate,
            canvas,
        )?;
    }
    Ok(())
}

/// A piece of the strip: a light ground, so that the thinnest is seen, and the pattern.
fn patch<DB: DrawingBackend>(
    rect: Rect,
    gate: Gate,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    canvas.fill(rect, Fill::Solid(GRID), GRID)?;
    canvas.fill(rect, words::gate_fill(gate), SOFT_INK)
}

fn above_panel<DB: DrawingBackend>(
    tag: &TagBar,
    top: f64,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    const THICKNESS: f64 = 7.0;
    let bar = &tag.bar;
    let middle = top + (tag.row as f64 + 0.5) * TAG_ROW - 1.0;
    let number = bar.number.to_string();
    let width = lane::tag_width(bar, canvas.fonts);
    canvas.text(&number, TAG, (bar.left, middle + 4.0), Side::Left)?;
    let rect = Rect {
        left: bar.left + width,
        top: middle - THICKNESS / 2.0,
        right: bar.right.max(bar.left + width + THICKNESS),
        bottom: middle + THICKNESS / 2.0,
    };
    bar_body(rect, bar.finding.severity, canvas)
}

fn in_lane<DB: DrawingBackend>(
    top: f64,
    bars: &[LaneBar],
    layout: &Layout,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    let rows = lane::row_count(bars.iter().map(|bar| bar.row));
    let bottom = top + rows as f64 * LANE_ROW;
    for tick in &layout.axis.ticks {
        let colour = if tick.strong { STRONG_GRID } else { GRID };
        canvas.line(&[(tick.x, top), (tick.x, bottom)], colour, HAIRLINE)?;
    }
    bars.iter().try_for_each(|bar| lane_bar(bar, top, canvas))
}

fn lane_bar<DB: DrawingBackend>(
    lane_bar: &LaneBar,
    top: f64,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    const PLATE_PX: f64 = 4.0;
    let bar = &lane_bar.bar;
    let middle = top + (lane_bar.row as f64 + 0.5) * LANE_ROW;
    let rect = Rect {
        left: bar.left,
        top: middle - BAR_HEIGHT / 2.0,
        right: bar.right,
        bottom: middle + BAR_HEIGHT / 2.0,
    };
    bar_body(rect, bar.finding.severity, canvas)?;
    open_ends(rect, bar, canvas)?;
    let plate = Rect {
        left: lane_bar.label_left - PLATE_PX,
        top: rect.top + 1.0,
        right: lane_bar.label_right + PLATE_PX,
        bottom: rect.bottom - 1.0,
    };
    // Also beside the bar: it keeps the grid lines out of the text.
    canvas.fill(plate, Fill::Solid(PAPER), PAPER)?;
    let baseline = middle + MIDDLE_TO_BASELINE_EM * LABEL.size;
    canvas.text(
        &lane_bar.label,
        LABEL,
        (lane_bar.label_left, baseline),
        Side::Left,
    )
}

/// A bar in the pattern of its severity.
fn bar_body<DB: DrawingBackend>(
    rect: Rect,
    severity: Severity,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    const EDGE: f64 = 1.0;
    canvas.fill(rect, Fill::Solid(PAPER), PAPER)?;
    canvas.fill(rect, words::severity_fill(severity), INK)?;
    canvas.frame(rect, INK, EDGE)
}

/// A point outwards where the finding goes on beyond the picture.
fn open_ends<DB: DrawingBackend>(
    rect: Rect,
    bar: &Bar,
    canvas: &mut Canvas<DB>,
) -> Result<(), ChartError> {
    let tip = BAR_HEIGHT / 2.0;
    let middle = (rect.top + rect.bottom) / 2.0;
    let mut point = |base: f64, tip: f64| {
        canvas.area(&[(base, rect.top), (tip, middle), (base, rect.bottom)], INK)
    };
    if bar.before {
        point(rect.left, rect.left - tip)?;
    }
    if bar.beyond {
        point(rect.right, rect.right + tip)?;
    }
    Ok(())
}
