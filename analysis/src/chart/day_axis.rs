//! From when to when a day is drawn. Never in here: drawing.

use super::day::DayInput;
use super::day_look::{EDGE, VALUES};
use super::period::TimeAxis;
use crate::detect::Slot;
use crate::plant::Site;
use crate::reading::{Span, Time};
use crate::sky::{Observer, SunTrack};

/// Before sunrise and after sunset.
const MARGIN: Span = Span::from_min(30);
/// Sunrise is looked for so finely.
const LOOK_EVERY: Span = Span::from_min(10);

/// From before sunrise to after sunset, or the whole day where there is none; longer where something
/// was measured outside.
pub(super) fn axis(input: &DayInput) -> TimeAxis {
    let (from, to) = daylight(&input.plant.site, input.day).unwrap_or(input.day);
    let produced = |slot: &&Slot| {
        let power = slot.inverters[input.inverter].ac_power;
        power.is_some_and(|power| power.w() > 0.0)
    };
    let first = input.slots.iter().find(produced).map(|slot| slot.start);
    let last = input.slots.iter().rfind(produced);
    let last = last.map(|slot| slot.start + slot.span);
    let from = first.map_or(from, |first| from.min(first));
    let to = last.map_or(to, |last| to.max(last));
    let end = |start: Time, span: Span| Slot {
        start,
        span,
        air: None,
        wind: None,
        planes: Vec::new(),
        inverters: Vec::new(),
    };
    let right = f64::from(input.width_px) - EDGE;
    let ends = [end(from, Span::ZERO), end(to, Span::ZERO)];
    TimeAxis::new(&ends, EDGE + VALUES, right, input.utc_offset).expect("it has two ends")
}

fn daylight(site: &Site, (from, to): (Time, Time)) -> Option<(Time, Time)> {
    const LEVEL_RAD: f64 = std::f64::consts::FRAC_PI_2;
    let mut track = SunTrack::new(Observer::new(
        site.latitude,
        site.longitude,
        site.altitude_m,
    ));
    let count = (to - from).ms() / LOOK_EVERY.ms();
    let times = (0..=count).map(|n| from + LOOK_EVERY * n);
    let lit = times.filter(|at| track.position(*at).apparent_zenith.rad() < LEVEL_RAD);
    let lit: Vec<Time> = lit.collect();
    let (first, last) = (*lit.first()?, *lit.last()?);
    Some((from.max(first - MARGIN), to.min(last + MARGIN)))
}
