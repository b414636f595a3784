//! One day of one inverter, slot by slot: for the chart, for programs, and as a table.

use super::rounded;
use super::utc;
use crate::report::page::on_curve;
use crate::store::{Store, StoreError};
use crate::text;
use crate::web::Page;
use crate::web::calendar::{self, Length};
use analysis::chart::{DayInput, Look, darkened, day_svg};
use analysis::detect::{InputSlot, InverterSlot, Slot};
use analysis::review::{Review, healthy_curve};
use chrono::NaiveDate;
use serde::Serialize;

/// A day.
#[derive(Debug, Clone, Serialize)]
pub struct Day {
    pub inverter: String,
    /// Of the calendar at the site.
    pub date: String,
    pub slots: Vec<DaySlot>,
}

/// One slot of the inverter.
#[derive(Debug, Clone, Serialize)]
pub struct DaySlot {
    pub start_utc: String,
    pub span_s: i64,
    /// On the plane of its first input.
    pub poa_w_m2: Option<f64>,
    pub ac_power_w: Option<f64>,
    pub expected_ac_power_w: Option<f64>,
    pub limit: Option<&'static str>,
    pub inputs: Vec<DayInputSlot>,
}

/// One slot of an input.
#[derive(Debug, Clone, Serialize)]
pub struct DayInputSlot {
    pub input: u8,
    pub dc_voltage_v: Option<f64>,
    pub dc_current_a: Option<f64>,
    pub expected_dc_voltage_v: Option<f64>,
    pub expected_dc_current_a: Option<f64>,
    pub expected_dc_voltage_sigma_v: Option<f64>,
    pub expected_dc_current_sigma_a: Option<f64>,
    /// `valid`, or why it was not tested.
    pub gate: String,
}

/// A day of the inverter with this index.
pub fn day(page: &Page, store: &Store, i: usize, date: NaiveDate) -> Result<Day, StoreError> {
    let plant = &page.site.plant;
    let inverter = &plant.inverters[i];
    let plane = inverter.inputs.first().map(|input| input.plane());
    let (from, to) = calendar::span(date, Length::Day, page.site.timezone);
    let slot = |slot: &Slot| {
        let now: &InverterSlot = &slot.inverters[i];
        let poa = plane.and_then(|plane| slot.planes[plane].poa);
        let inputs = now.inputs.iter().zip(&inverter.inputs);
        DaySlot {
            start_utc: utc(slot.start),
            span_s: slot.span.ms() / 1000,
            poa_w_m2: poa.map(|(poa, _)| rounded(poa.w_m2(), 1)),
            ac_power_w: now.ac_power.map(|p| rounded(p.w(), 1)),
            expected_ac_power_w: now.expected_ac_power.map(|p| rounded(p.w(), 1)),
            limit: now.limit.map(|limit| limit.name()),
            inputs: inputs
                .map(|(now, fixed)| input(now, fixed.number))
                .collect(),
        }
    };
    Ok(Day {
        inverter: inverter.id.to_string(),
        date: date.to_string(),
        slots: store.slots_of(i, from, to)?.iter().map(slot).collect(),
    })
}

fn input(now: &InputSlot, number: u8) -> DayInputSlot {
    let expected = now.expected;
    DayInputSlot {
        input: number,
        dc_voltage_v: now.voltage.map(|v| rounded(v.v(), 2)),
        dc_current_a: now.current.map(|i| rounded(i.a(), 3)),
        expected_dc_voltage_v: expected.map(|e| rounded(e.voltage.v(), 2)),
        expected_dc_current_a: expected.map(|e| rounded(e.current.a(), 3)),
        expected_dc_voltage_sigma_v: expected.map(|e| rounded(e.sigma_voltage.v(), 2)),
        expected_dc_current_sigma_a: expected.map(|e| rounded(e.sigma_current.a(), 3)),
        gate: serde_json::to_value(now.gate)
            .ok()
            .and_then(|name| name.as_str().map(str::to_owned))
            .unwrap_or_default(),
    }
}

/// The same as a table: one row for each slot, five columns and seven for each input.
pub fn csv(day: &Day) -> Result<Vec<u8>, csv::Error> {
    let mut rows = csv::Writer::from_writer(Vec::new());
    let numbers = day
        .slots
        .first()
        .map(|slot| slot.inputs.iter().map(|k| k.input));
    let mut header: Vec<String> = [
        "start_utc",
        "poa_w_m2",
        "ac_power_w",
        "expected_ac_power_w",
        "limit",
    ]
    .map(str::to_owned)
    .into();
    for n in numbers.into_iter().flatten() {
        let of_input = |name: &str| format!("input-{n}/{name}");
        header.extend(
            [
                "dc_voltage_v",
                "expected_dc_voltage_v",
                "expected_dc_voltage_sigma_v",
                "dc_current_a",
                "expected_dc_current_a",
                "expected_dc_current_sigma_a",
                "gate",
            ]
            .map(of_input),
        );
    }
    rows.write_record(&header)?;
    let number = |number: Option<f64>| number.map_or_else(String::new, |n| n.to_string());
    for slot in &day.slots {
        let mut row = vec![
            slot.start_utc.clone(),
            number(slot.poa_w_m2),
            number(slot.ac_power_w),
            number(slot.expected_ac_power_w),
            slot.limit.unwrap_or_default().to_owned(),
        ];
        for k in &slot.inputs {
            row.extend([
                number(k.dc_voltage_v),
                number(k.expected_dc_voltage_v),
                number(k.expected_dc_voltage_sigma_v),
                number(k.dc_current_a),
                number(k.expected_dc_current_a),
                number(k.expected_dc_current_sigma_a),
                k.gate.clone(),
            ]);
        }
        rows.write_record(&row)?;
    }
    rows.into_inner().map_err(|error| error.into_error().into())
}

/// The picture of a day, of all inputs or of one; `None` where there is nothing to draw.
pub fn picture(
    page: &Page,
    store: &Store,
    (i, only): (usize, Option<usize>),
    date: NaiveDate,
    (look, width_px): (Look, u32),
) -> Result<Option<String>, StoreError> {
    let timezone = page.site.timezone;
    let day = calendar::span(date, Length::Day, timezone);
    let slots = store.slots_of(i, day.0, day.1)?;
    let input = DayInput {
        plant: &page.site.plant,
        inverter: i,
        input: only,
        slots: &slots,
        day,
        utc_offset: &|at| text::utc_offset(at, timezone),
        look,
        width_px,
    };
    match day_svg(&input) {
        Ok(svg) => Ok(Some(svg)),
        Err(error) => {
            tracing::debug!(%error, "no picture of the day");
            Ok(None)
        }
    }
}

/// Where an input of the inverter worked on its curve on a day; `None` where no slot could be tested.
pub fn curve(
    page: &Page,
    store: &Store,
    (i, k): (usize, usize),
    date: NaiveDate,
    (look, width_px): (Look, u32),
) -> Result<Option<String>, StoreError> {
    let (plant, timezone) = (&page.site.plant, page.site.timezone);
    let period = calendar::span(date, Length::Day, timezone);
    let findings = store.findings_in(period.0, period.1)?;
    let utc_offset = |at| text::utc_offset(at, timezone);
    let mut review = Review::new(plant, &findings, period, &utc_offset);
    for slot in store.slots_of(i, period.0, period.1)? {
        review.add(&slot, &[]);
    }
    let (inverter, of_input) = (&plant.inverters[i], &review.inputs[i][k]);
    let input = &inverter.inputs[k];
    let name = format!("{} input {}", inverter.id, input.number);
    let stands = of_input.findings.iter().any(|(_, end)| *end == period.1);
    let curve = healthy_curve(plant, input).unwrap_or_default();
    match on_curve(&name, of_input, stands, &curve, width_px) {
        Ok(picture) => Ok(picture.map(|picture| match look {
            Look::Light => picture.svg,
            Look::Dark => darkened(&picture.svg),
        })),
        Err(error) => {
            tracing::debug!(%error, "no picture of the curve");
            Ok(None)
        }
    }
}

/// Places of the inputs of an inverter that have a slot of these on their curve.
pub fn on_a_curve(slots: &[Slot], i: usize) -> Vec<usize> {
    let of_input = |k: usize| slots.iter().map(move |slot| &slot.inverters[i].inputs[k]);
    let has = |k: &usize| of_input(*k).any(|input| input.on_curve().is_some());
    let inputs = slots
        .first()
        .map_or(0, |slot| slot.inverters[i].inputs.len());
    (0..inputs).filter(has).collect()
}
