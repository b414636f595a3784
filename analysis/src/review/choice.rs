//! Which days of which inputs are worth a look: the worst day of a finding, and the last clear day.

use super::Review;
use crate::detect::Severity;
use crate::diagnose::Finding;
use crate::plant::Plant;
use crate::reading::Time;
use std::collections::BTreeMap;

/// Share of the lit slots of a clear day in which the light was steady (convention).
const CLEAR_STEADY_RATIO: f64 = 0.8;
/// Of the best day within a month: less is a grey day, however steady (convention).
const CLEAR_LEAST_RATIO: f64 = 0.7;
const MONTH_DAYS: i64 = 30;
/// Of one input; more findings are in the table.
const MOST_WORST_DAYS: usize = 3;

/// Why a day was chosen.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Why {
    /// It cost most while this stood: place of the finding among those handed in.
    Worst(usize),
    /// The latest on which the sky was clear.
    Clear,
}

/// A day of an input to look at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChosenDay {
    /// Places of inverter and input in the plant.
    pub input: (usize, usize),
    /// Days from 1970-01-01 by the date at the site.
    pub day: i64,
    /// Why.
    pub why: Why,
}

/// The days, by input; each day of an input once.
pub fn chosen_days(
    review: &Review,
    plant: &Plant,
    findings: &[Finding],
    utc_offset: super::UtcOffset,
) -> Vec<ChosenDay> {
    let clear = last_clear_day(review);
    let mut chosen = Vec::new();
    for (i, inverter) in plant.inverters.iter().enumerate() {
        for (k, fixed) in inverter.inputs.iter().enumerate() {
            let mut of_input: BTreeMap<i64, Why> = BTreeMap::new();
            let own = findings.iter().enumerate().filter(|(_, f)| {
                f.subject.device == inverter.id && f.subject.input == Some(fixed.number)
            });
            let mut own: Vec<_> = own.filter(|(_, f)| f.severity > Severity::Note).collect();
            // Those that stand first, then the latest.
            own.sort_by_key(|(_, f)| std::cmp::Reverse((f.ended.is_none(), f.began)));
            for (n, finding) in own.into_iter().take(MOST_WORST_DAYS) {
                let days = &review.inputs[i][k].days;
                let day = |at: Time| super::local_day(at, utc_offset);
                let (from, to) = (day(finding.began), finding.ended.map(day));
                let inside = days
                    .iter()
                    .filter(|d| d.number >= from && to.is_none_or(|to| d.number <= to));
                if let Some(worst) = inside.max_by(|a, b| a.missing_wh.total_cmp(&b.missing_wh)) {
                    of_input.entry(worst.number).or_insert(Why::Worst(n));
                }
            }
            if let Some(day) = clear {
                of_input.entry(day).or_insert(Why::Clear);
            }
            let chosen_here = of_input.into_iter().map(|(day, why)| ChosenDay {
                input: (i, k),
                day,
                why,
            });
            chosen.extend(chosen_here);
        }
    }
    chosen
}

/// The latest day that was clear for most inputs; without one that with the most expected energy of
/// the latest month.
fn last_clear_day(review: &Review) -> Option<i64> {
    let mut days: BTreeMap<i64, (f64, usize, usize)> = BTreeMap::new();
    for day in review.inputs.iter().flatten().flat_map(|input| &input.days) {
        let (expected, lit, steady) = days.entry(day.number).or_default();
        *expected += day.expected_wh;
        *lit += day.lit;
        *steady += day.steady;
    }
    let best_near = |day: i64| {
        let near = days.range(day - MONTH_DAYS..=day + MONTH_DAYS);
        near.map(|(_, (expected, ..))| *expected)
            .fold(0.0, f64::max)
    };
    let is_clear = |(day, (expected, lit, steady)): &(&i64, &(f64, usize, usize))| {
        *steady as f64 >= CLEAR_STEADY_RATIO * *lit as f64
            && *expected >= CLEAR_LEAST_RATIO * best_near(**day)
            && *expected > 0.0
    };
    let clear = days.iter().rev().find(is_clear).map(|(day, _)| *day);
    let (last, _) = days.last_key_value()?;
    let latest = days.range(last - MONTH_DAYS..);
    let best = latest.max_by(|a, b| a.1.0.total_cmp(&b.1.0));
    clear.or_else(|| best.map(|(day, _)| *day))
}
