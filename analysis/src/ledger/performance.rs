//! From slots to figures of performance: sums by inverter and day, and what they are over longer
//! periods. Never in here: a formula of a figure (`figures`).

use super::day_sums::DaySums;
use super::figures::{Figures, Period};
use super::rating::Rating;
use crate::detect::Slot;
use crate::plant::Plant;
use crate::reading::{SolarDay, Span, Time, civil_from_days};
use crate::sky::{Observer, SunTrack};
use std::collections::BTreeMap;

/// Adds up slots as they go by; holds a few numbers for each inverter and day.
#[derive(Debug, Clone)]
pub struct Performance {
    track: SunTrack,
    longitude_deg: f64,
    /// By inverter.
    ratings: Vec<Rating>,
    /// By inverter; every day from the first to the last, those without a slot too.
    days: BTreeMap<SolarDay, Vec<DaySums>>,
    /// End of the last slot.
    until: Option<Time>,
}

/// First and last day of a span, and its sums by inverter.
type InSpan = (SolarDay, SolarDay, Vec<DaySums>);

impl Performance {
    /// Nothing yet.
    pub fn new(plant: &Plant) -> Self {
        let site = &plant.site;
        let observer = Observer::new(site.latitude, site.longitude, site.altitude_m);
        let rating = |inverter| Rating::of(plant, inverter);
        Self {
            track: SunTrack::new(observer),
            longitude_deg: site.longitude.deg(),
            ratings: plant.inverters.iter().map(rating).collect(),
            days: BTreeMap::new(),
            until: None,
        }
    }

    /// Takes the next slot in order of time; one that begins before the end of the last is left
    /// out, for it was counted already.
    pub fn add(&mut self, slot: &Slot) {
        if self.until.is_some_and(|until| slot.start < until) {
            return;
        }
        self.until = Some(slot.start + slot.span);
        let middle = slot.start + slot.span.half();
        let day = middle.solar_day(self.longitude_deg);
        let sun_height = self.sun_height(middle);
        if sun_height <= 0.0 {
            // A record that begins or ends at night has no day more for that.
            return;
        }
        self.open_days(day, slot.span);
        let sums = self.days.get_mut(&day).expect("it was opened");
        for ((sums, rating), now) in sums.iter_mut().zip(&self.ratings).zip(&slot.inverters) {
            sums.add(rating, slot, now, sun_height);
        }
    }

    /// The figures of every day, month and year and of the whole, in this order and in order of
    /// time, the inverters before the site.
    pub fn figures(&self) -> Vec<Figures> {
        let of = |period| self.figures_by(period);
        Period::ALL.into_iter().flat_map(of).collect()
    }

    fn figures_by(&self, period: Period) -> Vec<Figures> {
        let mut spans: BTreeMap<_, InSpan> = BTreeMap::new();
        for (day, sums) in &self.days {
            spans
                .entry(key(period, *day))
                .and_modify(|(_, last, total)| {
                    *last = *day;
                    total.iter_mut().zip(sums).for_each(|(t, s)| t.extend(s));
                })
                .or_insert_with(|| (*day, *day, sums.clone()));
        }
        let figures = |(first, last, sums): InSpan| {
            let mut site = DaySums::default();
            sums.iter().for_each(|s| site += *s);
            let inverters = sums.into_iter().enumerate().map(|(i, s)| (Some(i), s));
            let all = inverters.chain([(None, site)]);
            all.map(move |(i, s)| Figures::of(period, (first, last), i, &s))
                .collect::<Vec<_>>()
        };
        spans.into_values().flat_map(figures).collect()
    }

    /// Opens a day, and those between it and the last one: what was not recorded was light too.
    fn open_days(&mut self, day: SolarDay, slot: Span) {
        let after_last = |(last, _): (&SolarDay, _)| last.number() + 1;
        let first = self.days.last_key_value().map(after_last);
        for number in first.unwrap_or(day.number())..=day.number() {
            let day = SolarDay::from_number(number);
            let light_h = self.light_h(day, slot);
            let sums = |rating: &Rating| DaySums {
                rated_w: rating.rated_w,
                light_wh: rating.rated_w * light_h,
                ..DaySums::default()
            };
            self.days
                .insert(day, self.ratings.iter().map(sums).collect());
        }
    }

    /// Hours of a day, each by the sine of the sun's height, on the grid of the slots.
    fn light_h(&mut self, day: SolarDay, slot: Span) -> f64 {
        let mut start = day.start(self.longitude_deg).slot_start(slot);
        let mut sum = 0.0;
        loop {
            let middle = start + slot.half();
            let of = middle.solar_day(self.longitude_deg);
            if of > day {
                return sum * slot.hours();
            }
            if of == day {
                sum += self.sun_height(middle);
            }
            start = start + slot;
        }
    }

    /// Sine of the sun's height; nothing below the horizon.
    fn sun_height(&mut self, at: Time) -> f64 {
        let zenith = self.track.position(at).apparent_zenith;
        zenith.rad().cos().max(0.0)
    }
}

/// What the days of one period share.
fn key(period: Period, day: SolarDay) -> (i64, i64, i64) {
    let (year, month, _) = civil_from_days(day.number());
    match period {
        Period::Day => (year, month, day.number()),
        Period::Month => (year, month, 0),
        Period::Year => (year, 0, 0),
        Period::Whole => (0, 0, 0),
    }
}
