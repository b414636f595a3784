//! Whether the times of a device's readings fit the sun, from clear days.
//!
//! Model:   on a clear day the response of a plane is  y(t) = sum_j a_j x_j(t - tau)  with
//!          x = DNI K (east, north, up), DHI:  any plane near the stated one, whatever its gain, so
//!          that a plane which is turned is not taken for a clock: what is left to tell tau are both
//!          edges of the day. For a horizontal sensor x = GHI alone. tau by least squares over whole
//!          days (cyclic), then by minutes.
//!          K is that of the plane that was fitted, in three rounds from the stated one.
//!          s_tau^2 = s_0^2 + 2 s^2 / SSE'' + s_p^2,  s^2 = 6 SSE / n: neighbouring slots err alike;
//!          s_0 1 min for a horizontal sensor, 7 min for a plane: glass, diffuse light, shade;
//!          s_p = (tau - tau_p) / 2 with tau_p of the plane as stated, y = a_1 DNI K cos(aoi) + a_2 DHI.
//!          In summer a turned plane and a late clock differ at the edges of the day alone, by
//!          less than an afternoon of haze does: a plane that the fit turns on one such day, and not on
//!          the next, has bought its minutes with that turn.
//!          Two to five latest clear days agree: mean with weights 1 / s_tau^2, s^2 the harmonic mean
//!          of theirs and their spread. Told where |mean| is over 4 min and 3.5 s: from 4 min with a
//!          horizontal sensor at best, from 25 with planes alone: half an hour and more.
//! Symbols: tau stamps minus true time [min]; K incidence modifier; SSE over y_max^2 [-].
//! Range:   slots that divide a day, up to 15 min; days without clouds; true to about a minute of slot
//!          and the edges of a horizon.
//! Source:  own; common practice shifts measured against clear-sky power, threshold 4 min.
//! Check:   unit tests below; tests/acceptance/engine/clocks.rs.

use super::Edge;
use crate::reading::{Span, Time};
use crate::sky::incidence_modifier_at;
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Columns of the fit.
pub const COLUMNS: usize = 4;
const DAY_MIN: f64 = 1440.0;
const LONGEST_SLOT: Span = Span::from_min(15);
/// Response over the day's highest from which the sun is up on the plane [-].
const LIT_RATIO: f64 = 0.1;
/// Both ends of the day must be seen down to this [-].
const EDGE_RATIO: f64 = 0.25;
const LEAST_LIT: Span = Span::from_h(5);
/// A kink between three slots, over the highest [-], in five minutes; share of them on a clear day.
const KINK_RATIO: f64 = 0.025;
const MAX_KINKS_SHARE: f64 = 0.06;
/// Scatter about the fit, over the highest [-].
const MAX_SCATTER_RATIO: f64 = 0.02;
/// Least share of the response that the beam gives on a clear day [-].
const LEAST_BEAM_SHARE: f64 = 0.5;
/// Rounding of a least sum of squares, and more [-].
const IN_THE_DARK: f64 = 1e-3;
/// Slots in a row that err alike.
const ALIKE: f64 = 6.0;
/// Uncertainty that no fit shows: the middle of slots, the equation of time of the clear day [min].
const FLOOR_MIN: f64 = 1.0;
/// The same of planes: glass, diffuse light, horizon and shade at both edges of the day. Drawn healthy
/// plants with 3 min here were told of clocks that are 10 to 16 min off, eight times in 6.6 inverter-years.
const PLANE_FLOOR_MIN: f64 = 7.0;
/// Rounds in which the plane is fitted.
const ROUNDS: usize = 3;
/// Smallest offset that is told, and how sure it must be.
const SMALLEST_MIN: f64 = 4.0;
const SIGMAS: f64 = 3.5;
/// Share of the minutes that a turn of the plane has bought which may be wrong [-].
const TRADED_SHARE: f64 = 0.5;
/// A single day that is less sure than this says nothing: an hour would be three of it [min].
const MAX_SIGMA_MIN: f64 = 20.0;
/// The same for what the noise of the day alone leaves open [min].
const MAX_NOISE_SIGMA_MIN: f64 = 7.4;
/// How far clear days may differ and still agree [min].
const AGREE_MIN: f64 = 3.0;
const DAYS: usize = 2;
const DAYS_KEPT: usize = 5;

/// What a clear sky offers over one day, slot by slot.
#[derive(Debug, Clone)]
pub struct Course {
    /// Middle of the first slot.
    pub start: Time,
    /// From one to the next.
    pub step: Span,
    /// Where the plane looks as stated: east, north, up; `None` for a horizontal sensor.
    pub normal: Option<[f64; 3]>,
    /// One for each slot of the day: beam from east, north and up, diffuse light. A horizontal sensor
    /// has its global light in the first, and nothing else.
    pub columns: Vec<[f64; COLUMNS]>,
}

/// How far stamps are ahead of the sun.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Offset {
    /// Stamp minus true time [min].
    pub minutes: f64,
    /// One standard deviation [min].
    pub sigma: f64,
}

/// Whether a day's response may be a clear one: smooth, long, and seen down to both ends.
pub fn is_smooth(day: &[(Time, f64)], slot: Span) -> bool {
    let highest = day.iter().map(|s| s.1).fold(0.0, f64::max);
    let day = &in_order_of_sun(day, slot)[..];
    let lit = |s: &&(Time, f64)| s.1 >= LIT_RATIO * highest;
    let lit: Vec<&(Time, f64)> = day.iter().filter(lit).collect();
    if slot > LONGEST_SLOT
        || highest <= 0.0
        || (lit.len() as f64) * slot.hours() < LEAST_LIT.hours()
    {
        return false;
    }
    // The course of the sun itself bends more from one slot to the next where slots are long.
    let most = KINK_RATIO * highest * (slot.hours() * 12.0);
    let triples = lit.windows(3).filter(|w| w[2].0 - w[0].0 < slot * 3);
    let kinks: Vec<bool> = triples
        .map(|w| (w[2].1 - 2.0 * w[1].1 + w[0].1).abs() > most)
        .collect();
    let rough = kinks.iter().filter(|kink| **kink).count() as f64;
    let low = |s: &(Time, f64)| s.1 <= EDGE_RATIO * highest;
    let peak = day.iter().position(|s| s.1 == highest).unwrap_or(0);
    let both_ends = day[..peak].iter().any(low) && day[peak..].iter().any(low);
    both_ends && !kinks.is_empty() && rough <= MAX_KINKS_SHARE * kinks.len() as f64
}

/// A day as the sun has it: begun where it is dark, which need not be where its stamps begin. What
/// comes before that is put a day later.
fn in_order_of_sun(day: &[(Time, f64)], slot: Span) -> Vec<(Time, f64)> {
    let later = |s: &(Time, f64)| (s.0 + Span::from_h(24), s.1);
    let gap = |k: usize| day[k].0 - day[k - 1].0;
    let widest = (1..day.len()).max_by_key(|k| gap(*k));
    let lowest = || {
        let least = (0..day.len()).min_by(|a, b| day[*a].1.total_cmp(&day[*b].1));
        least.unwrap_or(0)
    };
    let dark = widest
        .filter(|k| gap(*k) > slot * 12)
        .unwrap_or_else(lowest);
    day[dark..]
        .iter()
        .copied()
        .chain(day[..dark].iter().map(later))
        .collect()
}

/// The offset of the stamps of one day; `None` where the day is no clear one.
pub fn offset(day: &[(Time, f64)], course: &Course) -> Option<Offset> {
    let highest = day.iter().map(|s| s.1).fold(0.0, f64::max);
    let step_min = course.step.seconds() / 60.0;
    let slots = course.columns.len() as i64;
    if highest <= 0.0 || (slots as f64 * step_min - DAY_MIN).abs() > 1e-6 {
        return None;
    }
    let y: Vec<(f64, f64)> = day
        .iter()
        .map(|(t, v)| ((*t - course.start).seconds() / 60.0 / step_min, v / highest))
        .collect();
    let Some(stated) = course.normal else {
        return Some(fitted(&y, &course.columns, step_min, FLOOR_MIN)?.0);
    };
    let mut normal = stated;
    let mut told = None;
    for _ in 0..ROUNDS {
        let columns = through_glass(&course.columns, normal);
        let (tau, best) = fitted(&y, &columns, step_min, PLANE_FLOOR_MIN)?;
        told = Some(tau);
        let [east, north, up, _] = best.gains;
        let length = (east * east + north * north + up * up).sqrt();
        normal = [east, north, up].map(|part| part / length);
    }
    let told = told?;
    let (_, unturned) = least(&y, &on_plane(&course.columns, stated), step_min)?;
    let traded = TRADED_SHARE * (told.minutes - unturned);
    let sigma = told.sigma.hypot(traded);
    (sigma <= MAX_SIGMA_MIN).then_some(Offset { sigma, ..told })
}

/// The beam on a plane in one column, which no gain can turn, and diffuse light.
fn on_plane(columns: &[[f64; COLUMNS]], normal: [f64; 3]) -> Vec<[f64; COLUMNS]> {
    let toward = |[east, north, up, diffuse]: [f64; COLUMNS]| {
        let beam = east * normal[0] + north * normal[1] + up * normal[2];
        [beam, 0.0, 0.0, diffuse]
    };
    through_glass(columns, normal)
        .into_iter()
        .map(toward)
        .collect()
}

/// The beam as far as glass lets it in; none from behind the plane.
fn through_glass(columns: &[[f64; COLUMNS]], normal: [f64; 3]) -> Vec<[f64; COLUMNS]> {
    let through = |[east, north, up, diffuse]: &[f64; COLUMNS]| {
        let dni = (east * east + north * north + up * up).sqrt();
        let toward = east * normal[0] + north * normal[1] + up * normal[2];
        let share = if dni > 0.0 && toward > 0.0 {
            incidence_modifier_at(toward / dni)
        } else {
            0.0
        };
        [east * share, north * share, up * share, *diffuse]
    };
    columns.iter().map(through).collect()
}

/// The least sum of squares over all shifts, and its shift to the minute.
fn least(y: &[(f64, f64)], columns: &[[f64; COLUMNS]], step_min: f64) -> Option<(f64, f64)> {
    let slots = columns.len() as i64;
    let least = |taus: &mut dyn Iterator<Item = f64>| {
        taus.map(|tau| (sse(y, columns, tau / step_min), tau))
            .min_by(|a, b| a.0.total_cmp(&b.0))
    };
    // No shift that leaves more in the dark than the right time leaves at all can be the least.
    let most = sse(y, columns, 0.0) + IN_THE_DARK;
    let is_open = |tau: &f64| in_the_dark(y, columns, tau / step_min, most) <= most;
    let coarse = (-slots / 2..slots / 2).map(|k| k as f64 * step_min);
    let (_, coarse) = least(&mut coarse.filter(is_open))?;
    let minutes = step_min.round() as i64 + 1;
    least(&mut (-minutes..=minutes).map(|m| coarse + m as f64))
}

/// Sum of squares of what is measured while a shifted course has no light, up to `most`: no gain
/// explains any of it.
fn in_the_dark(y: &[(f64, f64)], columns: &[[f64; COLUMNS]], shift: f64, most: f64) -> f64 {
    let mut sum = 0.0;
    for (k, value) in y {
        let (from, to, _) = between(columns, k - shift);
        if is_dark(from) && is_dark(to) {
            sum += value * value;
            if sum > most {
                break;
            }
        }
    }
    sum
}

fn sse(y: &[(f64, f64)], columns: &[[f64; COLUMNS]], shift: f64) -> f64 {
    fit(y, columns, shift).map_or(f64::INFINITY, |f| f.sse)
}

fn fitted(
    y: &[(f64, f64)],
    columns: &[[f64; COLUMNS]],
    step_min: f64,
    floor: f64,
) -> Option<(Offset, Fit)> {
    let (lowest, fine) = least(y, columns, step_min)?;
    let best = fit(y, columns, fine / step_min)?;
    let n = y.len() as f64;
    if !best.is_clear() || (lowest / n).sqrt() > MAX_SCATTER_RATIO {
        return None;
    }
    let sse_at = |tau_min: f64| sse(y, columns, tau_min / step_min);
    let (below, above) = (sse_at(fine - step_min), sse_at(fine + step_min));
    let bend = (below + above - 2.0 * lowest) / (step_min * step_min);
    if bend.is_nan() || bend <= 0.0 {
        return None;
    }
    let top = 0.5 * (below - above) / (bend * step_min);
    let formal = (2.0 * ALIKE * lowest / n / bend).sqrt();
    let sigma = formal.hypot(floor);
    let offset = Offset {
        minutes: fine + top.clamp(-1.0, 1.0),
        sigma,
    };
    (formal <= MAX_NOISE_SIGMA_MIN).then_some((offset, best))
}

struct Fit {
    sse: f64,
    gains: [f64; COLUMNS],
    /// Sums of each column over the samples.
    sums: [f64; COLUMNS],
}

impl Fit {
    fn is_clear(&self) -> bool {
        let given: Vec<f64> = (0..COLUMNS).map(|j| self.gains[j] * self.sums[j]).collect();
        let all: f64 = given.iter().sum();
        let beam: f64 = given[..COLUMNS - 1].iter().sum();
        // On the ground there is one column, and it is the first.
        let looks_up = self.gains[2] > 0.0 || self.sums[2] == 0.0;
        let sky = self.gains[COLUMNS - 1] >= 0.0;
        looks_up && sky && all > 0.0 && beam >= LEAST_BEAM_SHARE * all
    }
}

fn fit(y: &[(f64, f64)], columns: &[[f64; COLUMNS]], shift: f64) -> Option<Fit> {
    let (mut a, mut b) = ([[0.0; COLUMNS]; COLUMNS], [0.0; COLUMNS]);
    let (mut yy, mut sums) = (0.0, [0.0; COLUMNS]);
    for (k, value) in y {
        yy += value * value;
        let (from, to, share) = between(columns, k - shift);
        // By night there is nothing to add.
        if is_dark(from) && is_dark(to) {
            continue;
        }
        let x: [f64; COLUMNS] = std::array::from_fn(|j| from[j] * (1.0 - share) + to[j] * share);
        for i in 0..COLUMNS {
            sums[i] += x[i];
            b[i] += x[i] * value;
            for j in 0..COLUMNS {
                a[i][j] += x[i] * x[j];
            }
        }
    }
    let gains = solved(a, b)?;
    let explained: f64 = (0..COLUMNS).map(|j| gains[j] * b[j]).sum();
    Some(Fit {
        sse: (yy - explained).max(0.0),
        gains,
        sums,
    })
}

/// The columns before and after a place in the day, and how far it is from one to the other.
fn between(columns: &[[f64; COLUMNS]], at: f64) -> (&[f64; COLUMNS], &[f64; COLUMNS], f64) {
    let low = at.floor();
    let n = columns.len() as i64;
    // A division only where the place lies in another day.
    let in_the_day = |i: i64| {
        if (0..n).contains(&i) {
            i
        } else {
            i.rem_euclid(n)
        }
    };
    let column = |i: i64| &columns[in_the_day(i) as usize];
    (column(low as i64), column(low as i64 + 1), at - low)
}

fn is_dark(column: &[f64; COLUMNS]) -> bool {
    column.iter().all(|part| *part == 0.0)
}

/// Solves the normal equations by elimination; a column of zeros has no gain.
fn solved(mut a: [[f64; COLUMNS]; COLUMNS], mut b: [f64; COLUMNS]) -> Option<[f64; COLUMNS]> {
    let largest = (0..COLUMNS).map(|i| a[i][i]).fold(0.0, f64::max);
    if largest <= 0.0 {
        return None;
    }
    for (i, row) in a.iter_mut().enumerate() {
        // Keeps what the day leaves open at nothing.
        row[i] += 1e-9 * largest;
    }
    for i in 0..COLUMNS {
        for k in i + 1..COLUMNS {
            let times = a[k][i] / a[i][i];
            let upper = a[i];
            for (of, by) in a[k].iter_mut().zip(upper) {
                *of -= times * by;
            }
            b[k] -= times * b[i];
        }
    }
    for i in (0..COLUMNS).rev() {
        let known: f64 = (i + 1..COLUMNS).map(|j| a[i][j] * b[j]).sum();
        b[i] = (b[i] - known) / a[i][i];
    }
    Some(b)
}

/// The clear days of one device.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ClockWatch {
    days: VecDeque<(Time, Offset)>,
    is_standing: bool,
}

/// A clock that is off.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ClockOff {
    /// By so much.
    pub offset: Offset,
    /// On so many clear days or nights.
    pub days: usize,
    /// Which of them.
    pub by: ShownBy,
}

/// What shows that a clock is off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum ShownBy {
    /// The course of clear days, beside the sun.
    ClearDays,
    /// When days end and begin, beside earlier ones (`nights`).
    Nights,
}

impl ClockWatch {
    /// No clear day yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a clear day that began at `began`; `found` is when it could be said.
    pub fn add(&mut self, began: Time, day: Offset, found: Time) -> Option<Edge<ClockOff>> {
        self.days.push_back((began, day));
        if self.days.len() > DAYS_KEPT {
            self.days.pop_front();
        }
        let (first, mean, _) = agreed(self.days.iter().rev())?;
        if let Some((began, seen)) = self.seen().filter(|_| !self.is_standing) {
            self.is_standing = true;
            return Some(Edge::Found { began, found, seen });
        }
        let is_right = mean.minutes.abs() < SMALLEST_MIN.max(mean.sigma);
        (is_right && std::mem::take(&mut self.is_standing)).then_some(Edge::Ended { at: first })
    }

    /// By how much it is off on the latest days that agree, and since when; `None` where they do not
    /// say that it is.
    pub fn seen(&self) -> Option<(Time, ClockOff)> {
        let (first, offset, days) = agreed(self.days.iter().rev())?;
        let minutes = offset.minutes.abs();
        let is_off = minutes >= SMALLEST_MIN && minutes >= SIGMAS * offset.sigma;
        let by = ShownBy::ClearDays;
        is_off.then_some((first, ClockOff { offset, days, by }))
    }

    /// Whether the clock is known to be off.
    pub fn is_off(&self) -> bool {
        self.is_standing
    }

    /// Whether the clear days since a time show the right one, and none that differs by so many minutes. By planes
    /// alone they never do where these are less than half an hour.
    pub fn is_right_since(&self, at: Time, minutes: f64) -> bool {
        let since = self.days.iter().filter(|(began, _)| *began >= at);
        agreed(since.rev()).is_some_and(|(_, mean, _)| {
            let off = mean.minutes.abs();
            off < mean.sigma && (minutes - mean.minutes).abs() > SIGMAS * mean.sigma
        })
    }
}

/// Of days, latest first, those that agree with the latest, two at least: the first of them, their mean, how many.
fn agreed<'d>(
    mut days: impl Iterator<Item = &'d (Time, Offset)> + Clone,
) -> Option<(Time, Offset, usize)> {
    let row = days.clone();
    let (_, last) = days.next()?;
    let near = |(_, day): &&(Time, Offset)| {
        let apart = (day.minutes - last.minutes).abs();
        apart <= AGREE_MIN.max(2.0 * day.sigma.hypot(last.sigma))
    };
    let row: Vec<&(Time, Offset)> = row.take_while(near).collect();
    if row.len() < DAYS {
        return None;
    }
    let weight = |day: &Offset| 1.0 / (day.sigma * day.sigma);
    let weighted = |of: &dyn Fn(&Offset) -> f64| {
        let sum: f64 = row.iter().map(|d| weight(&d.1) * of(&d.1)).sum();
        sum / row.iter().map(|d| weight(&d.1)).sum::<f64>()
    };
    let minutes = weighted(&|d| d.minutes);
    // What no fit shows is the same every day, so many days are no surer than one of them.
    let of_each = weighted(&|d| d.sigma * d.sigma);
    let spread = weighted(&|d| (d.minutes - minutes) * (d.minutes - minutes));
    let sigma = (of_each + spread).sqrt();
    Some((row.last()?.0, Offset { minutes, sigma }, row.len()))
}

#[cfg(test)]
#[path = "clock_tests.rs"]
mod tests;
