//! The picture in a mail: the day of what is told.
//! Never in here: how it is drawn (`analysis::chart`), or words beside its caption.

use super::letter::Told;
use crate::report::chart_files::{ChartFilesError, Png, png};
use crate::store::{Store, StoreError};
use crate::text::{at_site, day_at, midnight, utc_offset};
use analysis::chart::{ChartError, Size, SummaryInput};
use analysis::diagnose::Finding;
use analysis::plant::Plant;
use analysis::reading::{Span, Time};
use chrono::DateTime;
use chrono_tz::Tz;
use tracing::warn;

/// The picture in a mail: as wide as a mail is shown, and no higher than three inputs need.
const PICTURE: Size = Size {
    width_px: 900,
    max_height_px: 1100,
};
/// Where very much is told at once it may be so high.
const TALLEST_PX: u32 = 2200;
/// What it shows: the day of what is new; the day and night before, where little of it has passed.
const PICTURE_SPAN: Span = Span::from_h(24);
const LEAST_OF_A_DAY: Span = Span::from_h(9);

/// What it shows in words, and the picture; nothing while no slot has been closed, or where it cannot be
/// drawn: no mail waits for its picture.
pub fn picture(
    (plant, timezone): (&Plant, Tz),
    store: &Store,
    told: &[Told],
    around: Time,
) -> Result<Option<(String, Vec<u8>)>, StoreError> {
    let Some((_, last)) = store.span()? else {
        return Ok(None);
    };
    let from = day_at(around, timezone).map(|day| midnight(day, timezone));
    let from = from.unwrap_or(around - PICTURE_SPAN);
    let to = last.min(from + PICTURE_SPAN);
    let from = if to - from < LEAST_OF_A_DAY {
        to - PICTURE_SPAN
    } else {
        from
    };
    // A picture of the time before says nothing of what is told.
    if !told.iter().any(|t| t.finding.began < to) {
        return Ok(None);
    }
    let slots = store.slots(from, to)?;
    if slots.is_empty() {
        return Ok(None);
    }
    let findings: Vec<Finding> = told.iter().map(|t| t.finding.clone()).collect();
    let input = SummaryInput {
        site_name: &plant.site.name,
        plant,
        slots: &slots,
        findings: &findings,
        utc_offset: &|at| utc_offset(at, timezone),
    };
    let drawn = match png(&input, PICTURE) {
        Err(ChartFilesError::Draw(ChartError::TooSmall {
            needed_height_px, ..
        })) if needed_height_px <= TALLEST_PX => {
            let taller = Size {
                max_height_px: needed_height_px,
                ..PICTURE
            };
            png(&input, taller)
        }
        drawn => drawn,
    };
    Ok(match drawn {
        Ok(png) => Some((caption(&png, plant, at_site(to, timezone)), png.bytes)),
        Err(error) => {
            warn!(%error, "a mail goes without its picture");
            None
        }
    })
}

/// Whose day it is, where there are more inverters than the picture has room for.
fn caption(png: &Png, plant: &Plant, until: Option<DateTime<Tz>>) -> String {
    let until = until.map(|date| date.format("%-d %B %Y, %H:%M").to_string());
    let until = until.unwrap_or_default();
    if png.inverters.len() == plant.inverters.len() {
        return format!("The day until {until}");
    }
    let shown = png.inverters.iter().map(|i| &plant.inverters[*i].id);
    let shown: Vec<String> = shown.map(ToString::to_string).collect();
    format!("{}: the day until {until}", shown.join(", "))
}
