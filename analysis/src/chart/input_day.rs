//! One input over a day or a few: voltage and current against what was expected, and where the
//! tests were not valid.

use super::layout::{Layout, Stack};
use super::lettering::Fonts;
use super::period::TimeAxis;
use super::sheet::{Picture, WIDTH_PX};
use super::style::{GUTTER, HEADING, MARGIN};
use super::{ChartError, Size, SummaryInput, check, draw, legend, words};

/// One of its panels [pixel].
const HIGH: f64 = 115.0;

/// The two panels of an input over all slots of `input`, whose findings are not drawn. `inverter` and
/// `number` are places in the plant; `why` says in a line why these slots were chosen. `None` where
/// there is no slot.
pub fn input_day_picture(
    input: &SummaryInput,
    (inverter, number): (usize, usize),
    why: &str,
) -> Result<Option<Picture>, ChartError> {
    if input.slots.is_empty() {
        return Ok(None);
    }
    let size = Size {
        width_px: WIDTH_PX,
        ..Size::default()
    };
    check::input(input, size)?;
    let right = f64::from(WIDTH_PX) - MARGIN;
    let axis = TimeAxis::new(input.slots, MARGIN + GUTTER, right, input.utc_offset)
        .ok_or(ChartError::NothingToDraw)?;
    let fonts = Fonts::read()?;
    let legend = legend::of_input(input, (inverter, number), &axis, &fonts);
    let (items, bottom) = {
        let mut stack = Stack::new(input, &fonts, &axis, &[], legend.bottom);
        stack.panel_height = HIGH;
        stack.pv_input(inverter, number);
        stack.time_labels();
        let bottom = stack.y;
        (stack.finished(), bottom)
    };
    let fixed = &input.plant.inverters[inverter];
    let name = format!("{} input {}", fixed.id, fixed.inputs[number].number);
    let layout = Layout {
        width_px: WIDTH_PX,
        height_px: (bottom + MARGIN / 2.0).ceil() as u32,
        inverters: [inverter].into(),
        title: [words::plain(&name), words::plain(why)],
        title_type: HEADING,
        items,
        fonts,
        axis,
        legend,
    };
    let size = (layout.width_px, layout.height_px);
    let svg = super::svg(size, &layout.fonts, |canvas| {
        draw::summary(input, &layout, canvas)
    })?;
    let reading = "The full line is measured; the dashed one is expected, and nineteen of twenty \
                   healthy values lie in its band. On grey ground nothing is judged; the strip says \
                   why."
        .to_owned();
    Ok(Some(Picture {
        svg,
        title: format!("{name}: {why}"),
        reading,
    }))
}
