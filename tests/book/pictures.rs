//! From what was seen to one picture, by the functions that draw those of reports.
//! Never in here: how a picture looks.

use super::scene::{Played, Scene, Show};
use analysis::chart::{
    ChartError, CloudInput, HistoryDay, HistoryInput, HoursInput, MorningsInput, Picture, Size,
    SummaryInput, SupplyInput, SupplyPoint, WIDTH_PX, cloud_picture, history_picture,
    hours_picture, input_day_picture, mornings_picture, summary_svg, supply_picture,
};
use analysis::detect::Slot;
use analysis::expected::{LearnedOf, WeatherRung};
use analysis::reading::{Span, Time};
use analysis::review::{CELL_RATIO, InputDay, Review, healthy_curve, local_day, trips_by_hour};
use std::collections::BTreeMap;

/// The width of a page of the book [pixel].
const PLANT_WIDTH_PX: u32 = 860;
const SITE: &str = "An invented plant";

/// The picture of a scene.
pub fn picture(scene: &Scene, played: &Played) -> Result<Picture, String> {
    let drawn = match scene.show {
        Show::InputDay => input_day(played, worst_day),
        Show::DayFound => input_day(played, day_found),
        Show::BrightDay => input_day(played, |played, utc_offset| {
            day_with_most(played, utc_offset, |day| day.expected_wh)
        }),
        Show::Plant => plant(played, 0).map(Some),
        Show::PlantNextDay => plant(played, 1).map(Some),
        Show::Curve => curve(played),
        Show::History => history(played, &played.input_name(), |_| 1.0),
        Show::HistoryAsNew => {
            let name = format!("{} beside its datasheet", played.input_name());
            history(played, &name, |at| played.learned_gain(at))
        }
        Show::Mornings => mornings(played),
        Show::Supply => supply(played),
        Show::Hours => hours(played),
    };
    let name = scene.kind.name();
    let drawn = drawn.map_err(|error| format!("draw {name}: {error}"))?;
    drawn.ok_or_else(|| format!("draw {name}: there is nothing to show"))
}

impl Played {
    /// Full hours after the mean sun, as a clock at the site would show.
    fn utc_offset(&self) -> impl Fn(Time) -> Span + use<> {
        let hours = (self.drawn.truth.longitude_deg / 15.0).round() as i64;
        move |_| Span::from_h(hours)
    }

    /// Place of the input that is shown.
    fn input(&self) -> usize {
        let inputs = &self.drawn.plant.inverters[0].inputs;
        let told = self.finding.subject.input;
        let told = told.and_then(|number| inputs.iter().position(|i| i.number == number));
        told.or(self.fault.input).unwrap_or(0)
    }

    fn input_name(&self) -> String {
        let inverter = &self.drawn.plant.inverters[0];
        format!(
            "{} input {}",
            inverter.id,
            inverter.inputs[self.input()].number
        )
    }

    /// What had been learned of the current of the input that is shown: gain of the light and its own [-].
    fn learned_gain(&self, at: Time) -> f64 {
        let input = self.input();
        let plane = self.drawn.plant.inverters[0].inputs[input].plane();
        let gain = |of: LearnedOf| {
            let known = self.learned.iter().rev();
            let mut known = known.filter(|(when, what)| *when <= at && what.of == of);
            known.next().map_or(1.0, |(_, what)| what.now.value)
        };
        gain(LearnedOf::Light(plane, WeatherRung::PlaneSensor)) * gain(LearnedOf::Current(0, input))
    }

    fn reviewed<'a>(&'a self, utc_offset: &'a dyn Fn(Time) -> Span) -> Review<'a> {
        let mut review = Review::new(&self.drawn.plant, &self.findings, self.span, utc_offset);
        for slot in &self.slots {
            review.add(slot, &[]);
        }
        review.finish();
        review
    }

    fn slots_of(&self, day: i64, utc_offset: &dyn Fn(Time) -> Span) -> Vec<Slot> {
        let inside = |slot: &&Slot| local_day(slot.start, utc_offset) == day;
        self.slots.iter().filter(inside).cloned().collect()
    }
}

/// The day on which most was missing while the finding stood.
fn worst_day(played: &Played, utc_offset: &dyn Fn(Time) -> Span) -> i64 {
    day_with_most(played, utc_offset, |day| day.missing_wh)
}

/// Of the days while the finding stood; where there is none, the day it was found.
fn day_with_most(
    played: &Played,
    utc_offset: &dyn Fn(Time) -> Span,
    of: impl Fn(&InputDay) -> f64,
) -> i64 {
    let review = played.reviewed(utc_offset);
    let day = |at: Time| local_day(at, utc_offset);
    let (from, to) = (day(played.finding.began), played.finding.ended.map(day));
    let stood = |number: i64| number >= from && to.is_none_or(|to| number <= to);
    let days = review.inputs[0][played.input()].days.iter();
    let most = days
        .filter(|d| stood(d.number))
        .max_by(|a, b| of(a).total_cmp(&of(b)));
    most.map_or_else(|| day_found(played, utc_offset), |d| d.number)
}

fn day_found(played: &Played, utc_offset: &dyn Fn(Time) -> Span) -> i64 {
    local_day(played.finding.found, utc_offset)
}

fn input_day(
    played: &Played,
    day: fn(&Played, &dyn Fn(Time) -> Span) -> i64,
) -> Result<Option<Picture>, ChartError> {
    let utc_offset = played.utc_offset();
    let day = day(played, &utc_offset);
    let slots = played.slots_of(day, &utc_offset);
    let input = SummaryInput {
        site_name: SITE,
        plant: &played.drawn.plant,
        slots: &slots,
        findings: &[],
        utc_offset: &utc_offset,
    };
    let why = format!("a day of: {}", played.finding.kind.title());
    input_day_picture(&input, (0, played.input()), &why)
}

fn plant(played: &Played, days_later: i64) -> Result<Picture, ChartError> {
    let utc_offset = played.utc_offset();
    let day = local_day(played.finding.began, &utc_offset) + days_later;
    let slots = played.slots_of(day, &utc_offset);
    let end = slots
        .last()
        .map_or(played.span.1, |slot| slot.start + slot.span);
    let begin = slots.first().map_or(played.span.0, |slot| slot.start);
    let shown =
        |f: &&analysis::diagnose::Finding| f.began < end && f.ended.is_none_or(|e| e > begin);
    let findings: Vec<_> = played.findings.iter().filter(shown).cloned().collect();
    let input = SummaryInput {
        site_name: SITE,
        plant: &played.drawn.plant,
        slots: &slots,
        findings: &findings,
        utc_offset: &utc_offset,
    };
    let size = Size {
        width_px: PLANT_WIDTH_PX,
        ..Size::default()
    };
    Ok(Picture {
        svg: summary_svg(&input, size)?,
        title: format!("The plant on a day of: {}", played.finding.kind.title()),
        reading:
            "From top to bottom: light, power of the inverter, voltage and current of its inputs; \
                  below them the findings, each with a bar as long as it stood."
                .to_owned(),
    })
}

fn curve(played: &Played) -> Result<Option<Picture>, ChartError> {
    let utc_offset = played.utc_offset();
    let review = played.reviewed(&utc_offset);
    let place = played.input();
    let cloud = &review.inputs[0][place].cloud;
    let fixed = &played.drawn.plant.inverters[0].inputs[place];
    cloud_picture(&CloudInput {
        name: &played.input_name(),
        cell_ratio: CELL_RATIO,
        cells: &cloud.cells(),
        levels: &cloud.levels(true),
        curve: &healthy_curve(&played.drawn.plant, fixed).unwrap_or_default(),
        width_px: WIDTH_PX,
    })
}

/// Days of an input; `gain` of a time is put on what was expected then.
fn history(
    played: &Played,
    name: &str,
    gain: impl Fn(Time) -> f64,
) -> Result<Option<Picture>, ChartError> {
    let utc_offset = played.utc_offset();
    let review = played.reviewed(&utc_offset);
    let days = review.inputs[0][played.input()].days.iter();
    let days = days.filter_map(|day| {
        Some(HistoryDay {
            at: day.middle,
            current_ratio: day.current_ratio? * gain(day.middle),
            voltage_ratio: day.voltage_ratio?,
        })
    });
    let stood = (
        played.finding.began,
        played.finding.ended.unwrap_or(played.span.1),
    );
    history_picture(&HistoryInput {
        name,
        period: played.span,
        days: &days.collect::<Vec<_>>(),
        findings: &[stood],
        utc_offset: &utc_offset,
    })
}

fn mornings(played: &Played) -> Result<Option<Picture>, ChartError> {
    let inverter = &played.drawn.plant.inverters[0];
    mornings_picture(&MorningsInput {
        name: inverter.id.as_str(),
        period: played.span,
        mornings: &played.mornings,
        limit: inverter.isolation_limit,
        utc_offset: &played.utc_offset(),
    })
}

/// Since the finding began, by hours as a report of a long period has them.
fn supply(played: &Played) -> Result<Option<Picture>, ChartError> {
    let inverter = &played.drawn.plant.inverters[0];
    let mut hours: BTreeMap<i64, Vec<(f64, f64)>> = BTreeMap::new();
    for (at, export_w, voltage_v) in &played.supply {
        if *at >= played.finding.began && *export_w > 0.0 {
            let hour = at.unix_ms().div_euclid(Span::from_h(1).ms());
            hours.entry(hour).or_default().push((*export_w, *voltage_v));
        }
    }
    let points = hours.values().map(|polls| {
        let mean =
            |of: fn(&(f64, f64)) -> f64| polls.iter().map(of).sum::<f64>() / polls.len() as f64;
        SupplyPoint {
            export_kw: mean(|p| p.0) / 1000.0,
            voltage_v: mean(|p| p.1),
        }
    });
    let limits = &played.drawn.plant.site.grid_limits;
    supply_picture(&SupplyInput {
        name: inverter.id.as_str(),
        span: "hour",
        points: &points.collect::<Vec<_>>(),
        limit_v: limits.sustained_over_voltage.map(|limit| limit.v()),
        rated_kw: inverter.rated_ac.w() / 1000.0,
    })
}

fn hours(played: &Played) -> Result<Option<Picture>, ChartError> {
    let utc_offset = played.utc_offset();
    let trips = trips_by_hour(played.findings.iter(), played.span, &utc_offset);
    hours_picture(&HoursInput {
        name: played.drawn.plant.inverters[0].id.as_str(),
        trips: &trips,
    })
}
