//! One day of one inverter for a screen, narrow or wide: light, AC power, and each input's voltage
//! and current beside what was expected, with the band of two standard deviations.
//!
//! The picture goes from before sunrise to after sunset, also while the day is not over. What stands
//! grey was not tested. Never in here: a verdict.

use super::canvas::{Canvas, Fill, Rect, Side, Strokes};
use super::day_axis::axis;
use super::day_look::{Colours, EDGE, KEY, Look, NAME, PLOT, TIMES, label, name};
use super::gates;
use super::lettering::Fonts;
use super::panel::{Scale, value_y};
use super::period::TimeAxis;
use super::series::{self, Source};
use super::style::{DASH, EXPECTED_WIDTH, HAIRLINE, MEASURED_WIDTH};
use super::value_axis::ValueAxis;
use super::{ChartError, SVG_UNITS_PER_PX, Size, SummaryInput, check, path, words};
use crate::detect::Slot;
use crate::plant::Plant;
use crate::reading::{Span, Time};
use plotters::prelude::SVGBackend;
use plotters_backend::DrawingBackend;

/// Narrower than this no label has room.
const LEAST_WIDTH_PX: u32 = 240;
/// What the picture shows.
#[derive(Clone, Copy)]
pub struct DayInput<'a> {
    /// The plant that the slots speak of.
    pub plant: &'a Plant,
    /// Index of the inverter.
    pub inverter: usize,
    /// Index of the only input that is shown; all of them where there is none.
    pub input: Option<usize>,
    /// Those of the day, in order of time.
    pub slots: &'a [Slot],
    /// When the day begins and ends at the site.
    pub day: (Time, Time),
    /// Local time minus UTC; the labels are in local time.
    pub utc_offset: &'a dyn Fn(Time) -> Span,
    /// On what ground.
    pub look: Look,
    /// Width [pixel].
    pub width_px: u32,
}

/// The day as SVG. Its text names the generic family "sans-serif".
///
/// # Errors
/// If there is no slot, if slots are not of this plant, or if it is too narrow.
pub fn day_svg(input: &DayInput) -> Result<String, ChartError> {
    let sources = sources(input.plant, input.inverter, input.input);
    let height = 2.0 * EDGE + KEY + sources.len() as f64 * (NAME + PLOT) + TIMES;
    let (width, height) = (input.width_px, height.ceil() as u32);
    check_input(input, height)?;
    let fonts = Fonts::read()?;
    let drawn = (width * SVG_UNITS_PER_PX, height * SVG_UNITS_PER_PX);
    let mut svg = String::new();
    let mut backend = SVGBackend::with_string(&mut svg, drawn);
    let mut canvas = Canvas::new(&mut backend, SVG_UNITS_PER_PX, Strokes::Whole, &fonts);
    let axis = axis(input);
    // Nights are not drawn, and lines must not leave the plots.
    let first = input.slots.partition_point(|slot| slot.start < axis.from);
    let last = input
        .slots
        .partition_point(|slot| slot.start + slot.span <= axis.to);
    let picture = Picture {
        input: &DayInput {
            slots: &input.slots[first..last.max(first)],
            ..*input
        },
        axis: &axis,
        colours: input.look.colours(),
    };
    picture.all(&sources, f64::from(height), &mut canvas)?;
    canvas.finish()?;
    drop(backend);
    let fine = format!("width=\"{}\" height=\"{}\"", drawn.0, drawn.1);
    Ok(svg.replacen(&fine, &format!("width=\"{width}\" height=\"{height}\""), 1))
}

fn sources(plant: &Plant, i: usize, only: Option<usize>) -> Vec<Source> {
    let inputs = &plant.inverters[i].inputs;
    let shown = || (0..inputs.len()).filter(|k| only.is_none_or(|only| only == *k));
    let mut planes: Vec<usize> = shown().map(|k| inputs[k].plane()).collect();
    planes.sort_unstable();
    planes.dedup();
    let light = planes.into_iter().map(Source::Irradiance);
    let inputs = shown().flat_map(|k| [Source::Voltage(i, k), Source::Current(i, k)]);
    light.chain([Source::Ac(i)]).chain(inputs).collect()
}

fn check_input(input: &DayInput, height_px: u32) -> Result<(), ChartError> {
    if input.width_px < LEAST_WIDTH_PX {
        return Err(ChartError::TooSmall {
            width_px: input.width_px,
            height_px,
            needed_width_px: LEAST_WIDTH_PX,
            needed_height_px: height_px,
        });
    }
    let summary = SummaryInput {
        site_name: &input.plant.site.name,
        plant: input.plant,
        slots: input.slots,
        findings: &[],
        utc_offset: input.utc_offset,
    };
    let size = Size {
        width_px: input.width_px,
        max_height_px: 0,
    };
    check::input(&summary, size)
}

struct Picture<'p> {
    input: &'p DayInput<'p>,
    axis: &'p TimeAxis,
    colours: Colours,
}

impl Picture<'_> {
    fn all<DB: DrawingBackend>(
        &self,
        sources: &[Source],
        height: f64,
        canvas: &mut Canvas<DB>,
    ) -> Result<(), ChartError> {
        let paper = Rect {
            left: 0.0,
            top: 0.0,
            right: f64::from(self.input.width_px),
            bottom: height,
        };
        canvas.fill(paper, Fill::Solid(self.colours.paper), self.colours.paper)?;
        self.key(canvas)?;
        let mut top = EDGE + KEY;
        for &source in sources {
            self.panel(source, top + NAME, canvas)?;
            top += NAME + PLOT;
        }
        for tick in &self.axis.ticks {
            let typ = label(self.colours.soft_ink);
            let half = canvas.fonts.width(&tick.label, typ) / 2.0;
            let x = tick.x.min(self.axis.right - half).max(self.axis.left);
            canvas.text(&tick.label, typ, (x, top + 15.0), Side::Middle)?;
        }
        Ok(())
    }

    /// What the lines and areas mean.
    fn key<DB: DrawingBackend>(&self, canvas: &mut Canvas<DB>) -> Result<(), ChartError> {
        const SAMPLE: f64 = 18.0;
        let Colours {
            ink,
            band,
            expected,
            untested,
            strong_grid,
            ..
        } = self.colours;
        let (mut x, y) = (EDGE, EDGE + 10.0);
        for (n, text) in ["measured", "expected", "not tested"]
            .into_iter()
            .enumerate()
        {
            let rect = Rect {
                left: x,
                top: y - 6.0,
                right: x + SAMPLE,
                bottom: y + 6.0,
            };
            match n {
                0 => canvas.line(&[(x, y), (rect.right, y)], ink, MEASURED_WIDTH)?,
                1 => {
                    canvas.fill(rect, Fill::Solid(band), band)?;
                    self.dashed(&[(x, y), (rect.right, y)], expected, canvas)?;
                }
                _ => {
                    canvas.fill(rect, Fill::Solid(untested), untested)?;
                    canvas.frame(rect, strong_grid, HAIRLINE)?;
                }
            }
            let typ = label(ink);
            canvas.text(text, typ, (rect.right + 5.0, y + 4.0), Side::Left)?;
            x = rect.right + 5.0 + canvas.fonts.width(text, typ) + 14.0;
        }
        Ok(())
    }

    fn panel<DB: DrawingBackend>(
        &self,
        source: Source,
        top: f64,
        canvas: &mut Canvas<DB>,
    ) -> Result<(), ChartError> {
        let Colours {
            ink,
            soft_ink,
            strong_grid,
            ..
        } = self.colours;
        let plot = Rect {
            left: self.axis.left,
            top,
            right: self.axis.right,
            bottom: top + PLOT - 4.0,
        };
        let room = self.axis.right - EDGE;
        let text = canvas.fonts.fitted(&self.title(source), name(ink), room);
        canvas.text(&text, name(ink), (EDGE, top - 7.0), Side::Left)?;
        self.ground(source, plot, canvas)?;
        match ValueAxis::new(source, self.input.slots, plot.bottom - plot.top) {
            Some(values) => self.content(source, plot, &values, canvas)?,
            None => {
                let at = ((plot.left + plot.right) / 2.0, top + PLOT / 2.0);
                canvas.text("no value", label(soft_ink), at, Side::Middle)?;
            }
        }
        canvas.frame(plot, strong_grid, HAIRLINE)
    }

    fn title(&self, source: Source) -> String {
        let plant = self.input.plant;
        let input = |i: usize, k: usize| format!("input {}", plant.inverters[i].inputs[k].number);
        words::plain(&match source {
            Source::Irradiance(p) => format!("light on {}, W/m²", plant.planes[p].id),
            Source::Ac(_) => "AC power, kW".to_owned(),
            Source::Voltage(i, k) => format!("{}: voltage, V", input(i, k)),
            Source::Current(i, k) => format!("{}: current, A", input(i, k)),
        })
    }

    fn ground<DB: DrawingBackend>(
        &self,
        source: Source,
        plot: Rect,
        canvas: &mut Canvas<DB>,
    ) -> Result<(), ChartError> {
        let (Source::Voltage(i, k) | Source::Current(i, k)) = source else {
            return Ok(());
        };
        for stretch in gates::untested(i, k, self.input.slots, self.axis) {
            let rect = Rect {
                left: stretch.left.max(plot.left),
                right: stretch.right.min(plot.right),
                ..plot
            };
            let colour = self.colours.untested;
            if rect.left < rect.right {
                canvas.fill(rect, Fill::Solid(colour), colour)?;
            }
        }
        Ok(())
    }

    fn content<DB: DrawingBackend>(
        &self,
        source: Source,
        plot: Rect,
        values: &ValueAxis,
        canvas: &mut Canvas<DB>,
    ) -> Result<(), ChartError> {
        let Colours {
            ink,
            soft_ink,
            expected,
            band,
            grid,
            light_fill,
            ..
        } = self.colours;
        let traces = series::traces(source, self.input.slots, self.axis, self.input.utc_offset);
        let scale = Scale {
            plot,
            values,
            axis: self.axis,
        };
        for run in &traces.band {
            canvas.area(&scale.outline(run), band)?;
        }
        if let Source::Irradiance(_) = source {
            for run in &traces.measured {
                let from_zero = run.iter().map(|p| p.with((0.0, p.value)));
                canvas.area(&scale.outline(&from_zero.collect()), light_fill)?;
            }
        }
        for tick in &self.axis.ticks {
            canvas.line(&[(tick.x, plot.top), (tick.x, plot.bottom)], grid, HAIRLINE)?;
        }
        for (value, text) in &values.ticks {
            let y = value_y(plot, values, *value);
            canvas.line(&[(plot.left, y), (plot.right, y)], grid, HAIRLINE)?;
            canvas.text(
                text,
                label(soft_ink),
                (plot.left - 5.0, y + 4.0),
                Side::Right,
            )?;
        }
        for part in traces.expected.iter().flat_map(|run| scale.parts(run)) {
            self.dashed(&part, expected, canvas)?;
        }
        let mut measured = traces.measured.iter().flat_map(|run| scale.parts(run));
        measured.try_for_each(|part| canvas.line(&part, ink, MEASURED_WIDTH))
    }

    fn dashed<DB: DrawingBackend>(
        &self,
        points: &[(f64, f64)],
        colour: (u8, u8, u8),
        canvas: &mut Canvas<DB>,
    ) -> Result<(), ChartError> {
        let dashes = path::dashes(points, DASH);
        let mut dashes = dashes.iter();
        dashes.try_for_each(|dash| canvas.line(dash, colour, EXPECTED_WIDTH))
    }
}
