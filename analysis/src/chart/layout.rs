//! Where everything stands, from top to bottom, before anything is drawn.

use super::calendar::Local;
use super::canvas::Rect;
use super::lane::{self, Bar, LaneBar, TagBar};
use super::legend::{self, Legend};
use super::lettering::Fonts;
use super::period::TimeAxis;
use super::select::Selection;
use super::series::Source;
use super::style::*;
use super::value_axis::ValueAxis;
use super::words;
use super::{ChartError, Size, SummaryInput};
use crate::diagnose::count;
use std::collections::BTreeSet;

/// Narrower than this leaves no room for a day between names and labels.
const LEAST_WIDTH_PX: u32 = 640;

/// One panel in its place.
pub struct Panel {
    /// Whose values.
    pub source: Source,
    /// The plot, without names and labels.
    pub plot: Rect,
    /// `None` where there is no value.
    pub values: Option<ValueAxis>,
}

/// Something in its place; the number is its upper edge.
pub enum Item<'a> {
    /// Labels of the time axis.
    TimeLabels(f64),
    /// A line of text over the whole width.
    Heading(f64, String),
    /// A panel.
    Panel(Panel),
    /// The bars above a panel.
    Tags(f64, Vec<TagBar<'a>>),
    /// The strip of gates of an input.
    Strip(f64, usize, usize),
    /// The lane of findings.
    Lane(f64, Vec<LaneBar<'a>>),
    /// A line of small text.
    Note(f64, String),
}

/// The whole picture.
pub struct Layout<'a> {
    /// Width [pixel].
    pub width_px: u32,
    /// Height [pixel].
    pub height_px: u32,
    /// Indices of the inverters that are shown.
    pub inverters: BTreeSet<usize>,
    /// To measure and set text with.
    pub fonts: Fonts,
    /// The shared time axis.
    pub axis: TimeAxis,
    /// First and second line.
    pub title: [String; 2],
    /// Of the first line.
    pub title_type: Type,
    /// What the lines and patterns mean.
    pub legend: Legend,
    /// From top to bottom.
    pub items: Vec<Item<'a>>,
}

impl<'a> Layout<'a> {
    /// Checks the input and finds a place for everything.
    pub fn new(input: &SummaryInput<'a>, size: Size) -> Result<Self, ChartError> {
        let fonts = Fonts::read()?;
        let width = f64::from(size.width_px);
        let right = width.max(f64::from(LEAST_WIDTH_PX)) - MARGIN;
        let axis = TimeAxis::new(input.slots, MARGIN + GUTTER, right, input.utc_offset)
            .ok_or(ChartError::NothingToDraw)?;
        let bars = lane::bars(input.findings, &axis);
        let legend = legend::new(input, &axis, &bars, &fonts);
        let stack = |selection: &Selection| {
            let mut stack = Stack::new(input, &fonts, &axis, &bars, legend.bottom);
            stack.everything(selection);
            stack
        };
        let height = |selection: &Selection| (stack(selection).y + MARGIN).ceil() as u32;
        let fits = |selection: &Selection| height(selection) <= size.max_height_px;
        let selection = Selection::new(input.plant, input.findings, fits)
            .filter(|_| size.width_px >= LEAST_WIDTH_PX)
            .ok_or_else(|| ChartError::TooSmall {
                width_px: size.width_px,
                height_px: size.max_height_px,
                needed_width_px: LEAST_WIDTH_PX,
                needed_height_px: height(&Selection::smallest(input.plant, input.findings)),
            })?;
        let items = stack(&selection).finished();
        Ok(Self {
            width_px: size.width_px,
            height_px: height(&selection),
            inverters: selection.inverters,
            title: title(input, &axis),
            title_type: TITLE,
            items,
            fonts,
            axis,
            legend,
        })
    }
}

fn title(input: &SummaryInput, axis: &TimeAxis) -> [String; 2] {
    let shown = |time| Local::at(time, input.utc_offset).full();
    let findings: Vec<_> = input
        .findings
        .iter()
        .filter(|f| lane::touches(f, axis))
        .collect();
    let by_severity: Vec<_> = words::SEVERITIES
        .into_iter()
        .map(|s| (s, findings.iter().filter(|f| f.severity == s).count()))
        .filter(|&(_, n)| n > 0)
        .map(|(s, n)| format!("{n} {}", s.name()))
        .collect();
    let total = match findings.len() {
        0 => "no finding".to_owned(),
        n => format!("{} ({})", count(n, "finding"), by_severity.join(", ")),
    };
    let period = format!("{} to {}, local time", shown(axis.from), shown(axis.to));
    [
        words::plain(input.site_name),
        format!("{period}  ·  {total}"),
    ]
}

/// Places one thing under the other.
pub struct Stack<'s, 'a> {
    input: &'s SummaryInput<'a>,
    fonts: &'s Fonts,
    axis: &'s TimeAxis,
    bars: &'s [Bar<'a>],
    items: Vec<Item<'a>>,
    /// Lower edge of what has been placed.
    pub y: f64,
    /// Of the panels of inputs.
    pub panel_height: f64,
}

impl<'s, 'a> Stack<'s, 'a> {
    /// Nothing below `y` yet.
    pub fn new(
        input: &'s SummaryInput<'a>,
        fonts: &'s Fonts,
        axis: &'s TimeAxis,
        bars: &'s [Bar<'a>],
        y: f64,
    ) -> Self {
        let items = Vec::new();
        Self {
            input,
            fonts,
            axis,
            bars,
            items,
            y,
            panel_height: PANEL_HEIGHT,
        }
    }

    /// The order of the picture.
    fn everything(&mut self, selection: &Selection) {
        self.time_labels();
        for &plane in &selection.planes {
            self.plane(plane);
        }
        for &inverter in &selection.inverters {
            self.inverter(inverter);
            let inputs = selection.inputs.iter().filter(|(i, _)| *i == inverter);
            inputs.for_each(|&(_, input)| self.pv_input(inverter, input));
        }
        self.findings();
        self.time_labels();
        self.notes(selection);
    }

    /// Labels of the time axis.
    pub fn time_labels(&mut self) {
        self.items.push(Item::TimeLabels(self.y));
        self.y += AXIS_HEIGHT;
    }

    fn plane(&mut self, plane: usize) {
        let devices = &self.input.plant.weather;
        let sensors = devices.iter().filter(|d| d.plane == Some(plane));
        let ids: Vec<_> = sensors.map(|d| d.id.clone()).collect();
        self.tags(|bar| ids.contains(&bar.finding.subject.device));
        self.panel(Source::Irradiance(plane), PLANE_HEIGHT);
        self.y += GROUP_GAP;
    }

    fn inverter(&mut self, inverter: usize) {
        let id = &self.input.plant.inverters[inverter].id;
        self.tags(|bar| &bar.finding.subject.device == id && bar.finding.subject.input.is_none());
        self.panel(Source::Ac(inverter), PANEL_HEIGHT);
        self.y += GROUP_GAP;
    }

    /// Voltage and current of an input, and its strip of gates.
    pub fn pv_input(&mut self, inverter: usize, input: usize) {
        let fixed = &self.input.plant.inverters[inverter];
        let subject = (&fixed.id, Some(fixed.inputs[input].number));
        self.tags(|bar| (&bar.finding.subject.device, bar.finding.subject.input) == subject);
        self.panel(Source::Voltage(inverter, input), self.panel_height);
        self.y += PAIR_GAP;
        self.panel(Source::Current(inverter, input), self.panel_height);
        self.items.push(Item::Strip(self.y, inverter, input));
        self.y += STRIP_HEIGHT + GROUP_GAP;
    }

    fn tags(&mut self, about: impl Fn(&Bar<'a>) -> bool) {
        let bars: Vec<_> = self.bars.iter().filter(|bar| about(bar)).cloned().collect();
        let tags = lane::tags(bars, self.fonts);
        let rows = lane::row_count(tags.iter().map(|tag| tag.row));
        self.items.push(Item::Tags(self.y, tags));
        self.y += rows as f64 * TAG_ROW;
    }

    fn panel(&mut self, source: Source, height: f64) {
        let plot = Rect {
            left: self.axis.left,
            top: self.y,
            right: self.axis.right,
            bottom: self.y + height,
        };
        // The value axis needs all slots and is not needed for heights: `finished` adds it.
        let values = None;
        self.items.push(Item::Panel(Panel {
            source,
            plot,
            values,
        }));
        self.y += height;
    }

    fn findings(&mut self) {
        let heading = match self.bars.len() {
            0 => "No finding in this period".to_owned(),
            _ => "Findings".to_owned(),
        };
        self.items.push(Item::Heading(self.y, heading));
        self.y += HEADING_HEIGHT;
        let lane = lane::lane(self.bars, self.axis, self.fonts);
        let rows = lane::row_count(lane.iter().map(|bar| bar.row));
        self.items.push(Item::Lane(self.y, lane));
        self.y += rows as f64 * LANE_ROW;
    }

    fn notes(&mut self, selection: &Selection) {
        let inputs = selection.left_out(self.input.plant);
        if inputs > 0 {
            let inputs = count(inputs, "more input");
            self.note(format!(
                "{inputs} not shown; shown are those with the most urgent findings, then the first."
            ));
        }
        let touching = self
            .input
            .findings
            .iter()
            .filter(|f| lane::touches(f, self.axis));
        let hidden = touching.count() - self.bars.len();
        if hidden > 0 {
            let findings = count(hidden, "more finding");
            self.note(format!("{findings} not shown; shown are the most urgent."));
        }
    }

    fn note(&mut self, text: String) {
        self.items.push(Item::Note(self.y, text));
        self.y += LEGEND_ROW;
    }

    /// All of it, with the value axes.
    pub fn finished(mut self) -> Vec<Item<'a>> {
        for item in &mut self.items {
            if let Item::Panel(panel) = item {
                let height = panel.plot.bottom - panel.plot.top;
                panel.values = ValueAxis::new(panel.source, self.input.slots, height);
            }
        }
        self.items
    }
}
