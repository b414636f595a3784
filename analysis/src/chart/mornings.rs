//! Insulation resistance of an inverter's array, morning by morning, over its limit.

use super::ChartError;
use super::canvas::Side;
use super::panel::{dashed, time_grid};
use super::period::TimeAxis;
use super::sheet::{self, Mark, Picture, Sheet};
use super::style::*;
use crate::detect::Morning;
use crate::reading::{Resistance, Span, Time};

/// Everything that the picture shows.
#[derive(Clone, Copy)]
pub struct MorningsInput<'a> {
    /// Whose mornings.
    pub name: &'a str,
    /// From when to when.
    pub period: (Time, Time),
    /// In order of time.
    pub mornings: &'a [Morning],
    /// The inverter may not start below it.
    pub limit: Resistance,
    /// Local time minus UTC.
    pub utc_offset: &'a dyn Fn(Time) -> Span,
}

const HIGH: f64 = 150.0;

/// The mornings; `None` without one that has a number.
pub fn mornings_picture(input: &MorningsInput) -> Result<Option<Picture>, ChartError> {
    let (from, to) = input.period;
    let shown: Vec<(&Morning, f64)> = input
        .mornings
        .iter()
        .filter(|morning| from <= morning.at && morning.at < to)
        .filter_map(|morning| Some((morning, f64::from(morning.log10_ohm?))))
        .collect();
    if shown.is_empty() {
        return Ok(None);
    }
    let limit = input.limit.ohm().log10();
    let (low, high) = shown.iter().fold((limit, limit), |(low, high), (_, log)| {
        (log.min(low), log.max(high))
    });
    let (low, high) = ((low - 0.1).floor(), (high + 0.1).ceil());
    let key = [
        (Mark::Dot(INK), "dry"),
        (Mark::Ring(EXPECTED), "wet"),
        (Mark::Dot(STRIP), "not known"),
        (Mark::Dashed, "limit of the inverter"),
    ];
    let title = format!("{}: insulation resistance at the first start", input.name);
    let sheet = Sheet::new(&title, &key)?;
    let plot = sheet.plot(sheet.top, HIGH);
    let axis = TimeAxis::over(input.period, plot.left, plot.right, input.utc_offset);
    let y = |log: f64| plot.bottom - (log - low) / (high - low) * (plot.bottom - plot.top);
    let svg = sheet.drawn(plot.bottom + AXIS_HEIGHT, |canvas| {
        time_grid(plot, &axis, canvas)?;
        let name = "ohm, each line ten times the one below";
        canvas.text(name, LABEL, (12.0, plot.top - sheet::ABOVE_PX), Side::Left)?;
        for decade in low as i64..=high as i64 {
            let at = y(decade as f64);
            canvas.line(&[(plot.left, at), (plot.right, at)], GRID, HAIRLINE)?;
            let label = ohms(decade);
            canvas.text(&label, TICK, (plot.left - 6.0, at + 4.0), Side::Right)?;
        }
        dashed(
            &[(plot.left, y(limit)), (plot.right, y(limit))],
            2.0,
            canvas,
        )?;
        for (morning, log) in &shown {
            let at = (axis.x_inside(morning.at), y(*log));
            match morning.is_wet {
                Some(true) => sheet::ring(at, EXPECTED, canvas)?,
                Some(false) => sheet::dot(at, INK, canvas)?,
                None => sheet::dot(at, STRIP, canvas)?,
            }
        }
        canvas.frame(plot, STRONG_GRID, HAIRLINE)?;
        let ticks = axis.ticks.iter();
        sheet::labels(
            plot,
            ticks.map(|tick| (tick.x, tick.label.clone(), tick.strong)),
            canvas,
        )
    })?;
    let reading =
        "Wet mornings are lower on every array. Dry mornings that fall from week to week \
                   are the sign of insulation that goes bad."
            .to_owned();
    Ok(Some(Picture {
        svg,
        title,
        reading,
    }))
}

/// `10 k`, `1 M`
fn ohms(decade: i64) -> String {
    let number = |digits: i64| format!("1{}", "0".repeat(digits.max(0) as usize));
    match decade {
        ..3 => number(decade),
        3..6 => format!("{} k", number(decade - 3)),
        6..9 => format!("{} M", number(decade - 6)),
        _ => format!("{} G", number(decade - 9)),
    }
}
