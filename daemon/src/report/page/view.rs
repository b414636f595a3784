//! The page as its template takes it: numbers as text, pictures as SVG.
//! Never in here: how it looks (`templates/report`).

use super::inputs::Shown;
use super::{PageError, Whole, findings, inputs, supply, words};
use crate::report::ReportError;
use crate::text::{self, LEAST_SHOWN_WH};
use analysis::chart::{LedgerBar, LedgerInput, MOST_PARTS, dark_rules, ledger_picture};
use analysis::ledger::{Figures, Loss, Performance, Period};
use analysis::plant::Plant;
use analysis::reading::Energy;
use analysis::review::{Balance, EnergyReview};
use askama::Template;
use std::collections::BTreeSet;

const MONTHS: [&str; 12] = [
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
];

/// The whole page.
#[derive(Template)]
#[template(path = "report/report.html")]
pub struct Page {
    site: String,
    from: String,
    to: String,
    zone: String,
    tone: &'static str,
    sentence: String,
    late: String,
    numbers: Vec<Number>,
    has_money: bool,
    /// What was produced and is no part of the balance; empty where it is next to nothing.
    not_compared: String,
    /// What the arrays would have given above rated power; empty where it is nothing.
    above_rated: String,
    ledger: Vec<Drawn>,
    losses: Vec<LossRow>,
    findings: Vec<findings::View>,
    figures: Vec<FigureRow>,
    inverters: Vec<InverterView>,
    dark: String,
}

/// One of the four numbers at the top.
struct Number {
    name: &'static str,
    kwh: String,
    money: String,
    means: &'static str,
}

struct LossRow {
    name: String,
    kwh: String,
    money: String,
    share: String,
    bar: String,
}

/// A picture; how to read it stands under the first of its sort.
struct Drawn {
    svg: String,
    title: String,
    reading: String,
}

struct FigureRow {
    name: String,
    cells: [String; 6],
}

struct InverterView {
    name: String,
    about: String,
    drawn: Vec<Drawn>,
    left_out: Vec<String>,
    inputs: Vec<InputView>,
}

struct InputView {
    name: String,
    about: String,
    drawn: Vec<Drawn>,
    left_out: Vec<String>,
}

/// Puts a page together.
pub fn page(whole: &Whole, performance: &Performance) -> Result<Page, ReportError> {
    let plant = whole.about.plant;
    let energy = &whole.review.energy;
    let (tone, sentence) = words::sentence(whole, &energy.site);
    let mut readings = Readings::default();
    let ledger = ledger(energy)?;
    let by_inverter = supply::shown(whole)?;
    let by_input = inputs::shown(whole)?;
    let inverters = plant.inverters.iter().zip(by_inverter).zip(by_input);
    let inverters = inverters.map(|((inverter, shown), inputs)| {
        let (drawn, left_out) = readings.of(shown);
        let inputs = inverter.inputs.iter().zip(inputs).map(|(input, shown)| {
            let (drawn, left_out) = readings.of(shown);
            let labels: Vec<_> = input.strings.iter().map(strings(plant)).collect();
            InputView {
                name: format!("{} input {}", inverter.id, input.number),
                about: labels.join("; "),
                drawn,
                left_out,
            }
        });
        let rated_kw = inverter.rated_ac.w() / 1000.0;
        InverterView {
            name: inverter.id.to_string(),
            about: format!(
                "{rated_kw} kW rated, {}",
                text::count(inverter.inputs.len(), "input")
            ),
            inputs: inputs.collect(),
            drawn,
            left_out,
        }
    });
    let inverters = inverters.collect();
    Ok(Page {
        site: plant.site.name.clone(),
        from: whole.local(whole.period.0),
        to: whole.local(whole.period.1),
        zone: whole.about.timezone.to_string(),
        tone: tone.name(),
        sentence,
        late: text::late(whole.store.late(whole.period.1)?),
        numbers: numbers(plant, &energy.site),
        has_money: plant.site.energy_price.is_some(),
        not_compared: energy
            .site
            .told_not_compared()
            .map_or_else(String::new, text::kwh),
        above_rated: Some(energy.site.above_rated)
            .filter(|energy| energy.wh() >= LEAST_SHOWN_WH)
            .map_or_else(String::new, text::kwh),
        ledger,
        losses: losses(plant, &energy.site),
        findings: findings::views(whole),
        figures: figures(plant, performance),
        inverters,
        dark: dark_rules("figure"),
    })
}

/// Readings that stand on the page already.
#[derive(Default)]
struct Readings(BTreeSet<String>);

impl Readings {
    fn of(&mut self, shown: Shown) -> (Vec<Drawn>, Vec<String>) {
        let drawn = shown.pictures.into_iter().map(|picture| Drawn {
            svg: picture.svg,
            title: picture.title,
            reading: if self.0.insert(picture.reading.clone()) {
                picture.reading
            } else {
                String::new()
            },
        });
        (drawn.collect(), shown.left_out)
    }
}

/// `A1: 16 modules`
fn strings(plant: &Plant) -> impl Fn(&analysis::plant::PvString) -> String + '_ {
    |string| {
        let module = &plant.modules[string.module].id;
        let plane = &plant.planes[string.plane].id;
        format!(
            "string {}: {} × {module}, plane {plane}",
            string.label, string.count
        )
    }
}

fn numbers(plant: &Plant, site: &Balance) -> Vec<Number> {
    let number = |name, energy: Energy, means| Number {
        name,
        kwh: text::kwh(energy),
        money: text::money(energy, &plant.site).unwrap_or_default(),
        means,
    };
    vec![
        number("Produced", site.produced(), "delivered on the AC side"),
        number(
            "Expected",
            site.expected,
            "what the weather would have given a healthy plant",
        ),
        number(
            "Limited",
            site.limited(),
            "held back by clipping, export, command, voltage or heat",
        ),
        number(
            "Lost",
            site.lost(),
            "to faults, standstill, dirt, shade and snow",
        ),
    ]
}

/// Every loss that is not nothing, the largest first; the rest of the balance last.
fn losses(plant: &Plant, site: &Balance) -> Vec<LossRow> {
    let mut shown: Vec<(Loss, Energy)> = site
        .losses()
        .filter(|(_, energy)| energy.wh().abs() >= LEAST_SHOWN_WH)
        .collect();
    shown.sort_by(|a, b| b.1.wh().total_cmp(&a.1.wh()));
    let largest = shown.first().map_or(0.0, |(_, energy)| energy.wh());
    let row = |(loss, energy): (Loss, Energy)| {
        let wh = energy.wh();
        let share = (site.expected.wh() > 0.0).then(|| text::percent(wh / site.expected.wh()));
        let bar = (largest > 0.0).then(|| 100.0 * wh.max(0.0) / largest);
        LossRow {
            name: text::loss(loss),
            kwh: text::kwh(energy),
            money: text::money(energy, &plant.site).unwrap_or_default(),
            share: share.unwrap_or_default(),
            bar: format!("{:.1}", bar.unwrap_or(0.0)),
        }
    };
    shown.into_iter().map(row).collect()
}

fn ledger(energy: &EnergyReview) -> Result<Vec<Drawn>, PageError> {
    let mut largest: Vec<(Loss, f64)> = energy
        .site
        .losses()
        .filter(|(_, energy)| energy.wh() >= LEAST_SHOWN_WH)
        .map(|(loss, energy)| (loss, energy.wh()))
        .collect();
    largest.sort_by(|a, b| b.1.total_cmp(&a.1));
    let named: Vec<Loss> = largest
        .iter()
        .map(|(loss, _)| *loss)
        .take(MOST_PARTS - 1)
        .collect();
    let mut parts: Vec<String> = named.iter().map(|loss| text::loss(*loss)).collect();
    if largest.len() > named.len() {
        parts.push("everything else".to_owned());
    }
    let bars: Vec<LedgerBar> = energy
        .buckets()
        .map(|bucket| {
            let (year, month, day) = bucket.date;
            let month = MONTHS[(month - 1) as usize];
            let kwh = |energy: Energy| energy.wh() / 1000.0;
            let of = &bucket.balance;
            let mut missing: Vec<f64> = named
                .iter()
                .map(|loss| kwh(of.sum(|other| other == *loss)))
                .collect();
            if parts.len() > named.len() {
                missing.push(kwh(of.sum(|other| !named.contains(&other))));
            }
            LedgerBar {
                label: day
                    .map_or_else(|| format!("{month} {year}"), |day| format!("{day} {month}")),
                expected_kwh: kwh(of.expected),
                measured_kwh: kwh(of.measured),
                missing_kwh: missing,
            }
        })
        .collect();
    let input = LedgerInput {
        unit: energy.unit.name(),
        bars: &bars,
        parts: &parts,
    };
    let drawn = ledger_picture(&input)?.map(|picture| Drawn {
        svg: picture.svg,
        title: picture.title,
        reading: picture.reading,
    });
    Ok(drawn.into_iter().collect())
}

/// The figures of the whole period, by inverter and of the site.
fn figures(plant: &Plant, performance: &Performance) -> Vec<FigureRow> {
    let whole = performance.figures();
    let whole = whole.iter().filter(|f| f.period == Period::Whole);
    let row = |f: &Figures| {
        let name = f.inverter.map(|i| plant.inverters[i].id.to_string());
        let hours = |value: Option<f64>| value.map_or_else(none, |v| format!("{v:.1} h"));
        let ratio = |value: Option<f64>| value.map_or_else(none, text::percent);
        FigureRow {
            name: name.unwrap_or_else(|| "site".to_owned()),
            cells: [
                hours(f.final_yield_h),
                hours(f.reference_yield_h),
                ratio(f.performance_ratio),
                ratio(f.performance_ratio_25),
                ratio(f.performance_index),
                ratio(f.availability_time_ratio),
            ],
        }
    };
    whole.map(row).collect()
}

fn none() -> String {
    "\u{2013}".to_owned()
}
