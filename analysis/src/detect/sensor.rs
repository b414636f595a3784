//! Whether a light sensor shows the light that the inputs get, day by day.
//!
//! Model:   in a valid slot r = median_i(I_i / I_rated,i) 1000 / (s e): what the inputs get over what
//!          the sensor shows; e what glass lets through; k = s / s_clear, the sensor's own clear-sky
//!          index. A day's r is its median; k counts on days on which it is steady.
//!          low, from the first day:  ln r
//!          low, since the baseline:  min(ln r / r0, - ln k / k0)
//!          high:                     min(- ln r / r0, ln k / k0)
//!          skewed:                   the smaller of what r and k, the other way round, change over noon
//!          shaded:                   ln of the r that half an hour exceeds, over the median
//!          Each a stream of `ShiftWatch`. Inputs that are washed change r and not k; hazy air changes
//!          k and not r; only a sensor changes both. What all inputs lose with k as it was is left to
//!          soiling.
//!          A horizontal sensor has r = a / k, a the median over all inputs of I / I_rated over what a
//!          clear sky gives their cells. On it, and on a sensor over one input, only the slots count in
//!          which a is that of a clear sky, and of them those with a steady k; what is low or high from
//!          the first day must be so in r and in k:
//!          low:  min(ln r, - ln k)       over:  min(- ln r, ln k)
//! Symbols: I [A], s, s_clear [W/m2], r, e, k [-]; r0, k0 medians of the first ten days that count
//! Range:   in a plane with two inputs or more: that agree to 6 %; an hour of valid light for r, three
//!          for k. Else `CLEAR_LEAST_H` of clear light.
//! Source:  own; common practice compares the array as its own sensor and the clear-sky index.
//!          Edges: a class B sensor with meter, modules and model may be 10 % off for ever (one of 120 drawn
//!          plants was 9 %); k varies by 5 % with the air (engineering judgement).
//! Check:   unit tests below; tests/acceptance/engine/measuring.rs.

use super::{Budget, DayValue, Edge, Kind, Shift, ShiftWatch, Sought};
use crate::reading::{MEDIAN_OVER_MEAN, SolarDay, Span, Time, median, robust_spread};
use serde::{Deserialize, Serialize};

/// Light that a day needs [h], and a clear one.
const LEAST_H: f64 = 1.0;
const CLEAR_LEAST_H: f64 = 3.0;
/// Largest difference between inputs [-].
const MAX_SPREAD_RATIO: f64 = 0.06;
/// Clear-sky index of a clear day [-], how near to its median slots must be, and how many of them.
const CLEAR_INDEX: std::ops::RangeInclusive<f64> = 0.4..=1.6;
const STEADY_WITHIN: f64 = 0.06;
const STEADY_SHARE: f64 = 0.8;
/// Days that make the baseline.
const BASELINE_DAYS: usize = 10;
/// One standard deviation from day to day [-]: spectrum, dew, the diffuse part.
const RATIO_SIGMA: f64 = 0.008;
const INDEX_SIGMA: f64 = 0.012;
const SKEW_SIGMA: f64 = 0.01;
const SHADE_SIGMA: f64 = 0.02;
/// What is large is not that steady, and lies between the sizes that are looked for [-].
const OF_SIZE: f64 = 0.2;
const LARGE: f64 = 2.0 * SMALLEST;
/// Of a sensor that is compared with other planes or with one input: planes that face a little
/// otherwise, the clear sky's haze.
const WIDER: Strays = Strays {
    spread: 0.3,
    ratio: 0.015,
    index: 0.025,
    first: 0.08,
    since: 0.03,
    baseline_days: 5,
};
/// What lasting errors may make of a healthy sensor [-].
const EDGE_FIRST: f64 = 0.1;
const EDGE_SINCE: f64 = 0.015;
const EDGE_SKEW: f64 = 0.02;
const EDGE_SHADE: f64 = 0.05;
/// Smallest shift worth a finding [-].
const SMALLEST: f64 = 0.03;
const SMALLEST_SHADE: f64 = 0.05;
/// Days between false alarms of a test that would be content with the evidence that makes a sensor
/// doubtful: it gathers within one or two days and costs no more than the next best light.
const DOUBTED_FROM: f64 = 100.0;
/// Half an hour of a day.
const SHADE_H: f64 = 0.5;
/// Each half of a skewed day needs so much light [h].
const HALF_LEAST_H: f64 = 1.5;

/// What the array shows where the sky is clear, over what it should by its datasheet [-].
const ARRAY_CLEAR: std::ops::RangeInclusive<f64> = 0.75..=1.3;

/// What a sensor is compared with.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum SensorBasis {
    /// Two inputs or more, in the plane of the sensor.
    #[default]
    Inputs,
    /// One input in its plane, and the clear sky.
    OneInput,
    /// A horizontal sensor: inputs on other planes, and the clear sky.
    OtherPlanes,
}

/// How far a healthy sensor strays, by what it is compared with [-].
struct Strays {
    /// Largest difference between inputs.
    spread: f64,
    /// From day to day, r and k.
    ratio: f64,
    index: f64,
    /// For ever, from the first day, and since the baseline.
    first: f64,
    since: f64,
    /// Days that make the baseline of k.
    baseline_days: usize,
}

impl SensorBasis {
    fn strays(self) -> Strays {
        match self {
            Self::Inputs => Strays {
                spread: MAX_SPREAD_RATIO,
                ratio: RATIO_SIGMA,
                index: INDEX_SIGMA,
                first: EDGE_FIRST,
                since: EDGE_SINCE,
                baseline_days: BASELINE_DAYS,
            },
            Self::OneInput | Self::OtherPlanes => WIDER,
        }
    }

    fn streams(self) -> &'static [SensorFault] {
        match self {
            Self::Inputs => &STREAMS[..5],
            Self::OneInput | Self::OtherPlanes => &[
                SensorFault::Low,
                SensorFault::Falling,
                SensorFault::High,
                SensorFault::Over,
            ],
        }
    }
}

/// How a sensor is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum SensorFault {
    /// Shows less than there is, by more than its class allows.
    Low,
    /// Shows less than it did.
    Falling,
    /// Shows more than it did.
    High,
    /// Shows more than there is.
    Over,
    /// Shows too much before noon and too little after, or the other way round.
    Skewed,
    /// Shows too little at some positions of the sun.
    Shaded,
}

const STREAMS: [SensorFault; 6] = [
    SensorFault::Low,
    SensorFault::Falling,
    SensorFault::High,
    SensorFault::Skewed,
    SensorFault::Shaded,
    SensorFault::Over,
];

/// A sensor beside its inputs in one slot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SensorSlot {
    /// Beginning of the slot.
    pub start: Time,
    /// Solar hour of its middle [h].
    pub hour: f64,
    /// What the inputs get over what the sensor shows, r [-].
    pub ratio: f64,
    /// Largest difference between inputs over r [-].
    pub spread: f64,
    /// Clear-sky index of the sensor, k [-].
    pub clear_index: f64,
}

/// What a day says about a sensor.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct SensorDay {
    began: Time,
    ln_ratio: f64,
    sigma: f64,
    clear: Option<ClearDay>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct ClearDay {
    ln_index: f64,
    /// ln of before noon over after noon, of r and of k.
    skew: Option<(f64, f64)>,
    shade: f64,
}

/// Watches one sensor.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct SensorWatch {
    basis: SensorBasis,
    today: Option<(SolarDay, Vec<SensorSlot>)>,
    streams: [ShiftWatch; STREAMS.len()],
    ratios: Vec<f64>,
    indices: Vec<f64>,
    skews: Vec<(f64, f64)>,
    is_doubtful: bool,
}

impl SensorWatch {
    /// Nothing seen yet.
    pub fn new(basis: SensorBasis) -> Self {
        Self {
            basis,
            ..Self::default()
        }
    }

    /// What it is compared with.
    pub fn basis(&self) -> SensorBasis {
        self.basis
    }

    /// Takes a valid slot.
    pub fn add(&mut self, day: SolarDay, slot: SensorSlot) {
        match &mut self.today {
            Some((today, slots)) if *today == day => slots.push(slot),
            _ => self.today = Some((day, vec![slot])),
        }
    }

    /// The slots of today will come again.
    pub fn forget_today(&mut self) {
        self.today = None;
    }

    /// Whether evidence against the sensor has begun to gather: tests lean on siblings meanwhile.
    pub fn is_doubtful(&self) -> bool {
        self.is_doubtful || self.is_wrong()
    }

    /// Whether any stream says that the sensor is wrong.
    pub fn is_wrong(&self) -> bool {
        self.streams
            .iter()
            .any(|stream| stream.standing().is_some())
    }

    /// Decides on the day before, if a new one has begun.
    pub fn close_day(
        &mut self,
        day: SolarDay,
        slot: Span,
        found: Time,
        budget: Budget,
    ) -> Vec<(SensorFault, Edge<Shift>)> {
        let Some((_, slots)) = self.today.take_if(|(closing, _)| *closing < day) else {
            return Vec::new();
        };
        let Some(seen) = SensorDay::of(&slots, slot, self.basis) else {
            return Vec::new();
        };
        let streams = self.basis.streams();
        let days_between = budget.observations_between(Kind::SensorWrong, streams.len(), 365.0);
        let values = STREAMS.map(|fault| self.value(fault, &seen));
        let mut edges = Vec::new();
        let mut suspicious = false;
        for ((fault, stream), value) in STREAMS.iter().zip(&mut self.streams).zip(values) {
            if !streams.contains(fault) {
                continue;
            }
            let smallest = match fault {
                SensorFault::Shaded => SMALLEST_SHADE,
                _ => SMALLEST,
            };
            let sought = Sought {
                smallest,
                days_between,
                within: None,
            };
            if let Some(value) = value {
                let edge = stream.add(&value, found, &sought);
                let first = self.basis.strays().first;
                edges.extend(edge.map(|edge| (*fault, of_sensor(*fault, first, edge))));
            }
            suspicious |= stream.is_suspicious(&Sought {
                days_between: DOUBTED_FROM,
                ..sought
            });
        }
        self.is_doubtful = suspicious;
        if !suspicious {
            self.learn(&seen);
        }
        edges
    }

    fn learn(&mut self, day: &SensorDay) {
        let keep = |of: &mut Vec<f64>, value: f64| {
            if of.len() < BASELINE_DAYS {
                of.push(value);
            }
        };
        keep(&mut self.ratios, day.ln_ratio);
        if let Some(clear) = day.clear {
            keep(&mut self.indices, clear.ln_index);
            if let Some(skew) = clear.skew
                && self.skews.len() < BASELINE_DAYS
            {
                self.skews.push(skew);
            }
        }
    }

    /// The value of a stream on a day, where there is one.
    fn value(&self, fault: SensorFault, day: &SensorDay) -> Option<DayValue> {
        let strays = self.basis.strays();
        let known = |of: &[f64]| baseline(of, strays.baseline_days);
        let change = || {
            let ratio = day.ln_ratio - known(&self.ratios)?;
            let index = day.clear?.ln_index - known(&self.indices)?;
            Some((ratio, index))
        };
        let (value, sigma, edge) = match fault {
            SensorFault::Low if self.basis == SensorBasis::Inputs => {
                (day.ln_ratio - strays.first, day.sigma, 0.0)
            }
            SensorFault::Low => {
                let both = day.ln_ratio.min(-day.clear?.ln_index);
                (both - strays.first, day.sigma.hypot(strays.index), 0.0)
            }
            SensorFault::Over => {
                let both = day.clear?.ln_index.min(-day.ln_ratio);
                (both - strays.first, day.sigma.hypot(strays.index), 0.0)
            }
            SensorFault::Falling => {
                let (ratio, index) = change()?;
                (
                    ratio.min(-index),
                    day.sigma.hypot(strays.index),
                    strays.since,
                )
            }
            SensorFault::High => {
                let (ratio, index) = change()?;
                (
                    index.min(-ratio),
                    day.sigma.hypot(strays.index),
                    strays.since,
                )
            }
            SensorFault::Skewed => {
                let (ratio, index) = day.clear?.skew?;
                let ratio = ratio - baseline_of(&self.skews, |s| s.0)?;
                let index = index - baseline_of(&self.skews, |s| s.1)?;
                // Where r rises k falls, or it is the array that is in the shade.
                let both = if ratio * index < 0.0 {
                    ratio.abs().min(index.abs())
                } else {
                    0.0
                };
                (both, SKEW_SIGMA, EDGE_SKEW)
            }
            SensorFault::Shaded => (day.clear?.shade, SHADE_SIGMA, EDGE_SHADE),
        };
        // What points the other way is nothing, however far.
        let value = value.max(0.0);
        Some(DayValue {
            began: day.began,
            value,
            sigma: sigma.hypot(OF_SIZE * (value - LARGE).max(0.0)),
            edge,
        })
    }
}

/// The size of a shift as an error of the sensor.
fn of_sensor(fault: SensorFault, first: f64, edge: Edge<Shift>) -> Edge<Shift> {
    let beyond = match fault {
        SensorFault::Low | SensorFault::Over => first,
        _ => 0.0,
    };
    match edge {
        Edge::Found { began, found, seen } => Edge::Found {
            began,
            found,
            seen: Shift {
                size: seen.size + beyond,
                ..seen
            },
        },
        Edge::Ended { at } => Edge::Ended { at },
    }
}

fn baseline(days: &[f64], least: usize) -> Option<f64> {
    (days.len() >= least).then(|| median(days.iter().copied()))?
}

/// Skew is known sooner: it is a difference within a day.
fn baseline_of(days: &[(f64, f64)], of: fn(&(f64, f64)) -> f64) -> Option<f64> {
    (days.len() >= BASELINE_DAYS / 2).then(|| median(days.iter().map(of)))?
}

impl SensorDay {
    fn of(slots: &[SensorSlot], span: Span, basis: SensorBasis) -> Option<Self> {
        let strays = basis.strays();
        let hours = |n: usize| n as f64 * span.hours();
        let agree: Vec<&SensorSlot> = slots.iter().filter(|s| s.spread <= strays.spread).collect();
        // Where inputs differ for most of the day it is one of them that is wrong.
        if hours(agree.len()) < LEAST_H || 2 * agree.len() < slots.len() {
            return None;
        }
        let agree = match basis {
            SensorBasis::Inputs => agree,
            SensorBasis::OneInput | SensorBasis::OtherPlanes => steady(&agree, span)?,
        };
        let ratio = median(agree.iter().map(|s| s.ratio))?;
        let scatter = robust_spread(agree.iter().map(|s| s.ratio), ratio)?;
        let own = MEDIAN_OVER_MEAN * scatter / ratio / (agree.len() as f64).sqrt();
        Some(Self {
            began: agree[0].start,
            ln_ratio: ratio.ln(),
            sigma: own.hypot(strays.ratio),
            clear: ClearDay::of(&agree, ratio, span),
        })
    }
}

/// The slots of a day in which the array shows a clear sky and the sensor the day's own, if they last.
fn steady<'s>(slots: &[&'s SensorSlot], span: Span) -> Option<Vec<&'s SensorSlot>> {
    let is_clear = |s: &&&SensorSlot| ARRAY_CLEAR.contains(&(s.ratio * s.clear_index));
    let clear: Vec<&SensorSlot> = slots.iter().filter(is_clear).copied().collect();
    let index = median(clear.iter().map(|s| s.clear_index))?;
    let near = |s: &&&SensorSlot| (s.clear_index / index - 1.0).abs() <= STEADY_WITHIN;
    let steady: Vec<&SensorSlot> = clear.iter().filter(near).copied().collect();
    let lasts = steady.len() as f64 * span.hours() >= CLEAR_LEAST_H;
    (lasts && 2 * steady.len() >= clear.len()).then_some(steady)
}

impl ClearDay {
    fn of(slots: &[&SensorSlot], ratio: f64, span: Span) -> Option<Self> {
        let enough = |n: usize, hours: f64| n as f64 * span.hours() >= hours;
        let index = median(slots.iter().map(|s| s.clear_index))?;
        let near = |s: &&&SensorSlot| (s.clear_index / index - 1.0).abs() <= STEADY_WITHIN;
        let steady = slots.iter().filter(near).count() as f64 / slots.len() as f64;
        let is_clear = CLEAR_INDEX.contains(&index) && steady >= STEADY_SHARE;
        if !is_clear || !enough(slots.len(), CLEAR_LEAST_H) {
            return None;
        }
        let half = |before_noon: bool, of: fn(&SensorSlot) -> f64| {
            let half = slots.iter().filter(|s| (s.hour < 12.0) == before_noon);
            let half: Vec<f64> = half.map(|s| of(s)).collect();
            median(half.iter().copied()).filter(|_| enough(half.len(), HALF_LEAST_H))
        };
        let skew = |of: fn(&SensorSlot) -> f64| Some((half(true, of)? / half(false, of)?).ln());
        let mut highest: Vec<f64> = slots.iter().map(|s| s.ratio).collect();
        highest.sort_by(|a, b| b.total_cmp(a));
        let half_an_hour = (SHADE_H / span.hours()).ceil() as usize;
        let shade = highest.get(half_an_hour.max(1) - 1).copied()?;
        Some(Self {
            ln_index: index.ln(),
            skew: skew(|s| s.ratio).zip(skew(|s| s.clear_index)),
            shade: (shade / ratio).ln(),
        })
    }
}

#[cfg(test)]
#[path = "sensor_tests.rs"]
mod tests;
