//! Figures of performance by day, month and year.

use super::rounded;
use crate::store::{Store, StoreError};
use crate::text::date;
use crate::web::Page;
use analysis::ledger::{Figures, Period};
use serde::Serialize;

/// The figures of an inverter or the site in a period; what too little was measured for is `None`.
#[derive(Debug, Clone, Serialize)]
pub struct Kpi {
    pub period: &'static str,
    pub first_day: String,
    pub last_day: String,
    /// `None`: the site.
    pub inverter: Option<String>,
    pub output_wh: Option<f64>,
    pub reference_yield_h: Option<f64>,
    pub array_yield_h: Option<f64>,
    pub final_yield_h: Option<f64>,
    pub performance_ratio: Option<f64>,
    pub performance_25_degc_ratio: Option<f64>,
    pub performance_index_ratio: Option<f64>,
    pub availability_time_ratio: Option<f64>,
    pub availability_energy_ratio: Option<f64>,
}

/// Every period of one length, the latest first, the site before its inverters; `most` periods.
pub fn figures(
    page: &Page,
    store: &Store,
    period: Period,
    most: usize,
) -> Result<Vec<Kpi>, StoreError> {
    page.tally.go_on(store)?;
    let figures = page.tally.figures();
    let mut shown: Vec<&Figures> = figures.iter().filter(|f| f.period == period).collect();
    shown.sort_by_key(|f| (std::cmp::Reverse(f.first), f.inverter));
    let mut periods: Vec<_> = shown.iter().map(|f| f.first).collect();
    periods.dedup();
    if let Some(oldest) = periods.get(most.saturating_sub(1)) {
        shown.retain(|f| f.first >= *oldest);
    }
    Ok(shown.into_iter().map(|f| kpi(page, f)).collect())
}

fn kpi(page: &Page, f: &Figures) -> Kpi {
    let ratio = |value: Option<f64>| value.map(|value| rounded(value, 4));
    let inverters = &page.site.plant.inverters;
    Kpi {
        period: f.period.name(),
        first_day: date(f.first),
        last_day: date(f.last),
        inverter: f.inverter.map(|i| inverters[i].id.to_string()),
        output_wh: f.output_wh.map(|wh| rounded(wh, 1)),
        reference_yield_h: ratio(f.reference_yield_h),
        array_yield_h: ratio(f.array_yield_h),
        final_yield_h: ratio(f.final_yield_h),
        performance_ratio: ratio(f.performance_ratio),
        performance_25_degc_ratio: ratio(f.performance_ratio_25),
        performance_index_ratio: ratio(f.performance_index),
        availability_time_ratio: ratio(f.availability_time_ratio),
        availability_energy_ratio: ratio(f.availability_energy_ratio),
    }
}
