//! The pictures of every input: its chosen days, its place on the curve, its history.
//! Never in here: which days are worth a look (`analysis::review`).

use super::{PageError, Whole};
use crate::report::ReportError;
use crate::text;
use analysis::chart::{
    ChartError, CloudInput, HistoryDay, HistoryInput, Picture, SummaryInput, WIDTH_PX,
    cloud_picture, history_picture, input_day_picture,
};
use analysis::plant::{Input, Inverter};
use analysis::review::{CELL_RATIO, InputReview, Why, chosen_days, healthy_curve};
use std::collections::BTreeMap;

/// What a part of the page shows, and what it does not and why.
#[derive(Default)]
pub struct Shown {
    /// Pictures, in order.
    pub pictures: Vec<Picture>,
    /// One line for each picture that has nothing to show.
    pub left_out: Vec<String>,
}

impl Shown {
    /// A picture, or the line that says why there is none.
    pub fn put(&mut self, picture: Option<Picture>, why_not: &str) {
        match picture {
            Some(picture) => self.pictures.push(picture),
            None => self.left_out.push(why_not.to_owned()),
        }
    }
}

/// The pictures of every input, by inverter and input.
pub fn shown(whole: &Whole) -> Result<Vec<Vec<Shown>>, ReportError> {
    let plant = whole.about.plant;
    let mut days = day_pictures(whole)?;
    let mut curves: Vec<(&Input, Option<Curve>)> = Vec::new();
    let mut all = Vec::new();
    for (i, inverter) in plant.inverters.iter().enumerate() {
        let mut of_inverter = Vec::new();
        for (k, input) in inverter.inputs.iter().enumerate() {
            // Inputs of the same strings share a curve; a site has few that differ.
            let known = curves
                .iter()
                .find(|(other, _)| other.strings == input.strings);
            let curve = known.map(|(_, curve)| curve.clone());
            let curve = curve.unwrap_or_else(|| {
                let curve = healthy_curve(plant, input);
                curves.push((input, curve.clone()));
                curve
            });
            let pictures = days.remove(&(i, k)).unwrap_or_default();
            let review = &whole.review.inputs[i][k];
            let of_input = of_input(whole, (inverter, input), review, pictures, curve)?;
            of_inverter.push(of_input);
        }
        all.push(of_inverter);
    }
    Ok(all)
}

/// Voltage and current over those of the peak.
type Curve = Vec<(f64, f64)>;

fn of_input(
    whole: &Whole,
    (inverter, input): (&Inverter, &Input),
    review: &InputReview,
    days: Vec<Picture>,
    curve: Option<Curve>,
) -> Result<Shown, PageError> {
    let name = format!("{} input {}", inverter.id, input.number);
    let mut shown = Shown::default();
    if days.is_empty() {
        let why = "No curves of a day: no slot of this input had light.";
        shown.left_out.push(why.to_owned());
    }
    shown.pictures.extend(days);
    let stands = review
        .findings
        .iter()
        .any(|(_, end)| *end == whole.period.1);
    shown.put(
        on_curve(&name, review, stands, &curve.unwrap_or_default(), WIDTH_PX)?,
        "No picture of the place on the curve: no slot could be tested.",
    );
    let history: Vec<HistoryDay> = review
        .days
        .iter()
        .filter_map(|day| {
            Some(HistoryDay {
                at: day.middle,
                current_ratio: day.current_ratio?,
                voltage_ratio: day.voltage_ratio?,
            })
        })
        .collect();
    let history = HistoryInput {
        name: &name,
        period: whole.period,
        days: &history,
        findings: &review.findings,
        utc_offset: whole.utc_offset,
    };
    shown.put(
        history_picture(&history)?,
        "No history: fewer than three days of the period could be tested.",
    );
    Ok(shown)
}

/// Where an input worked, beside its healthy curve; the medians are those of the time in which a finding
/// stood, or of the rest.
pub fn on_curve(
    name: &str,
    review: &InputReview,
    in_finding: bool,
    curve: &[(f64, f64)],
    width_px: u32,
) -> Result<Option<Picture>, ChartError> {
    cloud_picture(&CloudInput {
        name,
        cell_ratio: CELL_RATIO,
        cells: &review.cloud.cells(),
        levels: &review.cloud.levels(in_finding),
        curve,
        width_px,
    })
}

/// Curves of the chosen days, by inverter and input; the slots of one day at a time.
fn day_pictures(whole: &Whole) -> Result<BTreeMap<(usize, usize), Vec<Picture>>, ReportError> {
    let plant = whole.about.plant;
    let chosen = chosen_days(whole.review, plant, whole.findings, whole.utc_offset);
    let mut by_day: BTreeMap<i64, Vec<_>> = BTreeMap::new();
    for day in chosen {
        by_day.entry(day.day).or_default().push(day);
    }
    let mut pictures: BTreeMap<(usize, usize), Vec<Picture>> = BTreeMap::new();
    for (day, chosen) in by_day {
        let Some((date, next)) = text::day(day).zip(text::day(day + 1)) else {
            continue;
        };
        let from = text::midnight(date, whole.about.timezone).max(whole.period.0);
        let to = text::midnight(next, whole.about.timezone).min(whole.period.1);
        let slots = whole.store.slots(from, to)?;
        let input = SummaryInput {
            site_name: &plant.site.name,
            plant,
            slots: &slots,
            findings: &[],
            utc_offset: whole.utc_offset,
        };
        for chosen in chosen {
            let why = match chosen.why {
                Why::Worst(n) => {
                    let what = whole.findings[n].kind.title();
                    format!("{date}, the worst day of: {what}")
                }
                Why::Clear => format!("{date}, the last clear day"),
            };
            let picture = input_day_picture(&input, chosen.input, &why).map_err(PageError::from)?;
            pictures.entry(chosen.input).or_default().extend(picture);
        }
    }
    Ok(pictures)
}
