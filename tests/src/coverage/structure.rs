//! How measured over expected is made up: what lasts, what changes from day to day, what scatters
//! within a day.
//!
//! Model:   r = measured / expected by the datasheet. Lasting: median of the daily medians of r,
//!          less 1. Day to day: their scatter around that, drift and seasons included; next day:
//!          the scatter of the difference of one recorded day to the next, over sqrt(2). Within
//!          the day: r over its day's median, by class of light, incidence and diffuse share: its
//!          median (a shape that returns) and its scatter. Slopes with temperature and light are
//!          by least squares within the day, one at a time and both together. Scatter is 1.4826 x
//!          the median absolute deviation; of pairs half the range of the middle 68 %.
//! Symbols: all ratios; temperature [K].
//! Range:   days with at least `LEAST_A_DAY` observations.
//! Source:  own.
//! Check:   tests/acceptance/coverage.rs, a known noise.

use super::classes::{Class, classes};
use super::observe::{Judged, Observation};
use super::shares::least_squares;
use analysis::reading::SolarDay;
use std::collections::BTreeMap;
use std::fmt;

/// Observations that a day takes to have a median of its own.
const LEAST_A_DAY: usize = 6;
/// Steps from day to day that a scatter takes.
const LEAST_STEPS: usize = 5;
/// Scatter of a normal distribution over its median absolute deviation.
const SIGMA_OVER_MAD: f64 = 1.4826;

/// The parts of the errors of one quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct Structure {
    /// Median of all ratios, less 1 [-].
    pub lasting: f64,
    /// Scatter of the daily medians [-].
    pub day_to_day: f64,
    /// Scatter of a day's median beside the day before, over sqrt(2) [-].
    pub next_day: Option<f64>,
    /// Days of all inputs together.
    pub days: usize,
    /// Median of each thirty days beside what lasts [-], of recordings that are longer.
    pub months: Vec<f64>,
    /// Scatter within the days [-].
    pub within: f64,
    /// Change of the ratio with cell temperature, within the day [1/K].
    pub per_k: Option<f64>,
    /// Change of the ratio with the logarithm of the light, within the day [-].
    pub per_ln_light: Option<f64>,
    /// Both at once [1/K], [-]; they mostly rise together, so each may lend to the other.
    pub together: Option<[f64; 2]>,
    /// By light, incidence and diffuse share.
    pub classes: Vec<Class>,
}

/// The parts of one quantity, each input on its own terms; `None` without a day of enough light.
pub fn structure(seen: &[Observation], what: Judged) -> Option<Structure> {
    let days = by_day(seen);
    let median = |of: &[&Observation]| median_ratio(of, what);
    let mut of_inputs: BTreeMap<(usize, usize), Vec<f64>> = BTreeMap::new();
    for ((_, input), of_day) in &days {
        of_inputs.entry(*input).or_default().push(median(of_day));
    }
    let lasting_of = |medians: &Vec<f64>| quantile(medians.clone(), 0.5);
    let steps = of_inputs.values().flat_map(|medians| {
        let step = |pair: &[f64]| (pair[1] / pair[0] - 1.0) / 2.0_f64.sqrt();
        medians.windows(2).map(step)
    });
    let steps: Vec<f64> = steps.collect();
    let beside_lasting = of_inputs.values().flat_map(|medians| {
        let lasting = lasting_of(medians);
        medians.iter().map(move |m| m / lasting - 1.0)
    });
    let within: Vec<(&Observation, f64)> = days
        .values()
        .flat_map(|of_day| {
            let of_this = median(of_day);
            of_day
                .iter()
                .map(move |o| (*o, o.ratio(what) / of_this - 1.0))
        })
        .collect();
    let lasting: Vec<f64> = of_inputs.values().map(lasting_of).collect();
    if lasting.is_empty() {
        return None;
    }
    let [per_k, per_ln_light] = within_slopes(&within);
    Some(Structure {
        lasting: quantile(lasting, 0.5) - 1.0,
        day_to_day: scatter(beside_lasting.collect()),
        next_day: (steps.len() >= LEAST_STEPS).then(|| scatter(steps)),
        days: days.len(),
        months: months(&days, what),
        within: scatter(within.iter().map(|(_, r)| *r).collect()),
        per_k,
        per_ln_light,
        together: both_slopes(&within),
        classes: classes(&within),
    })
}

/// Days of all inputs, with their observations.
type Days<'a> = BTreeMap<(SolarDay, (usize, usize)), Vec<&'a Observation>>;

/// Days with enough observations.
fn by_day(seen: &[Observation]) -> Days<'_> {
    let mut days = Days::new();
    for o in seen {
        days.entry((o.day, o.input)).or_default().push(o);
    }
    days.retain(|_, of_day| of_day.len() >= LEAST_A_DAY);
    days
}

fn median_ratio(of: &[&Observation], what: Judged) -> f64 {
    quantile(of.iter().map(|o| o.ratio(what)).collect(), 0.5)
}

/// Medians of the daily medians of each thirty days beside that of all; none of less than two.
fn months(days: &Days, what: Judged) -> Vec<f64> {
    let Some(((first, _), _)) = days.first_key_value() else {
        return Vec::new();
    };
    let mut of_months: BTreeMap<i64, Vec<f64>> = BTreeMap::new();
    for ((day, _), of_day) in days {
        let month = of_months.entry(day.days_since(*first) / 30).or_default();
        month.push(median_ratio(of_day, what));
    }
    if of_months.len() < 2 {
        return Vec::new();
    }
    let all = quantile(of_months.values().flatten().copied().collect(), 0.5);
    let beside = |month: Vec<f64>| quantile(month, 0.5) / all - 1.0;
    of_months.into_values().map(beside).collect()
}

/// Slopes of one at a time: cell temperature [1/K], logarithm of the light [-].
fn within_slopes(within: &[(&Observation, f64)]) -> [Option<f64>; 2] {
    let slope = |x: fn(&Observation) -> f64| {
        let rows = within.iter().map(|(o, r)| ([1.0, x(o)], *r));
        least_squares(rows).map(|[_, slope]| slope)
    };
    [
        slope(|o| o.cell_degc - 25.0),
        slope(|o| (o.poa_w_m2 / 500.0).ln()),
    ]
}

fn both_slopes(within: &[(&Observation, f64)]) -> Option<[f64; 2]> {
    let x = |o: &Observation| [1.0, o.cell_degc - 25.0, (o.poa_w_m2 / 500.0).ln()];
    let [_, per_k, per_ln_light] = least_squares(within.iter().map(|(o, r)| (x(o), *r)))?;
    Some([per_k, per_ln_light])
}

/// Scatter within the day that two inputs of a plane share, and that each has for itself, from the
/// half sum and half difference of their ratios at the same times: (common, own) [-].
pub fn common_and_own(
    seen: &[Observation],
    what: Judged,
    pair: [(usize, usize); 2],
) -> Option<(f64, f64)> {
    let mut at: BTreeMap<_, [Option<f64>; 2]> = BTreeMap::new();
    for o in seen {
        if let Some(n) = pair.iter().position(|input| *input == o.input) {
            at.entry((o.day, o.middle)).or_default()[n] = Some(o.ratio(what).ln());
        }
    }
    let both = |((day, _), r): (&(SolarDay, _), &[Option<f64>; 2])| {
        Some((*day, f64::midpoint(r[0]?, r[1]?), (r[0]? - r[1]?) / 2.0))
    };
    let rows: Vec<(SolarDay, f64, f64)> = at.iter().filter_map(both).collect();
    let of_days = |value: fn(&(SolarDay, f64, f64)) -> f64| -> Vec<f64> {
        let days = rows.chunk_by(|a, b| a.0 == b.0);
        let less_median = |day: &[(SolarDay, f64, f64)]| {
            let values: Vec<f64> = day.iter().map(value).collect();
            let median = quantile(values.clone(), 0.5);
            values.into_iter().map(move |v| v - median)
        };
        days.flat_map(less_median).collect()
    };
    if rows.len() < LEAST_A_DAY {
        return None;
    }
    // Half the difference has half the variance of one input's own; so has its share in half the
    // sum.
    let half_difference = half_range(of_days(|row| row.2));
    let half_sum = half_range(of_days(|row| row.1));
    let common = (half_sum.powi(2) - half_difference.powi(2)).max(0.0).sqrt();
    Some((common, half_difference * 2.0_f64.sqrt()))
}

/// Half of the range of the middle 68 %.
fn half_range(values: Vec<f64>) -> f64 {
    (quantile(values.clone(), 0.84) - quantile(values, 0.16)) / 2.0
}

/// The value under which this share of values lies, the nearest one.
pub fn quantile(mut values: Vec<f64>, share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    let last = values.len().checked_sub(1).expect("there are values");
    values[(share * last as f64).round() as usize]
}

/// 1.4826 x the median absolute deviation.
pub(super) fn scatter(values: Vec<f64>) -> f64 {
    let median = quantile(values.clone(), 0.5);
    let away = values.iter().map(|v| (v - median).abs()).collect();
    SIGMA_OVER_MAD * quantile(away, 0.5)
}

impl fmt::Display for Structure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let percent = |ratio: f64| 100.0 * ratio;
        writeln!(
            f,
            "lasting {:+.2} %, day to day {:.2} %, next day {:.2} % ({} input-days), \
             within the day {:.2} %, {:+.3} %/K, {:+.2} % per e-fold of light",
            percent(self.lasting),
            percent(self.day_to_day),
            percent(self.next_day.unwrap_or(f64::NAN)),
            self.days,
            percent(self.within),
            percent(self.per_k.unwrap_or(f64::NAN)),
            percent(self.per_ln_light.unwrap_or(f64::NAN)),
        )?;
        if let Some([per_k, per_ln_light]) = self.together {
            let (per_k, per_ln_light) = (percent(per_k), percent(per_ln_light));
            writeln!(
                f,
                "    both at once {per_k:+.3} %/K, {per_ln_light:+.2} % per e-fold"
            )?;
        }
        if !self.months.is_empty() {
            let months = self.months.iter().map(|m| format!("{:+.1}", percent(*m)));
            writeln!(
                f,
                "    by thirty days [%]: {}",
                months.collect::<Vec<_>>().join(" ")
            )?;
        }
        for class in &self.classes {
            writeln!(
                f,
                "    {:24} n {:5}  shape {:+.2} %  scatter {:.2} %",
                class.name,
                class.count,
                percent(class.shape),
                percent(class.scatter)
            )?;
        }
        Ok(())
    }
}
