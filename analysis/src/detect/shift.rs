//! Whether a stream of daily values has left health for good, with a stated rate of false alarms.
//!
//! Model:   a day's value x is normal around e (the edge of health: what lasting errors may make of
//!          nothing) with its own s, or around e + m from an unknown day on, m one of the sizes
//!          M, 2 M, .. 64 M with weights w_m, each -+ 35 % so that none falls between two. Both with a
//!          share c of days that are wrong by anything.
//!          R_m <- (1 + R_m) L_m(x),  L_m = f(x; e + m) / f(x; e);  said at sum w_m R_m >= A.
//!          In health E[R] grows by one a day at most, for any mean up to e, so false alarms are at
//!          least A days apart on the mean (optional stopping; Shiryaev's and Roberts' procedure).
//!          What is believed later than a stated time after it began is not said, unless it lies 4 M
//!          beyond e and is twice e at least: it stands unsaid, and what grows beyond it is looked for anew.
//!          It ends by the same rule the other way round: from the size that stands back to e.
//! Symbols: x, s, e, m in the unit of the stream, larger is worse; R, A [-].
//! Range:   s > 0, M > 0, A > 1.
//! Source:  the martingale argument above; the procedure by name from memory (M. Pollak, Ann. Statist.
//!          13, 1985). Mixture, edge and wrong days are own.
//! Check:   unit tests below: the distance between false alarms and the delay, by simulation.

use super::Edge;
use crate::reading::{Span, Time};
use serde::{Deserialize, Serialize};

/// Sizes looked for, over the smallest, and their weights: a small fault is the likelier one, and 16 times
/// the smallest is told in three days all the same. What lies far beyond the largest is no shift but a row
/// of wrong days.
const SIZES: [f64; 7] = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0];
const WEIGHTS: [f64; 7] = [0.4, 0.25, 0.13, 0.08, 0.1, 0.02, 0.02];
/// Half width of each size (one standard deviation) [-].
const SPREAD: f64 = 0.35;
/// Share of days whose value is wrong by anything, and how far that spreads over s [-] (engineering
/// judgement: one day in a month).
const WRONG_DAYS: f64 = 0.03;
const WRONG_SPREAD: f64 = 30.0;
/// Days between false ends of a finding whose fault still stands.
const DAYS_BETWEEN_FALSE_ENDS: f64 = 3650.0;
/// What lies so many of the smallest sizes beyond the edge, and is twice the edge at least, is said, however long
/// it took (engineering judgement).
const UNSAID_AT_MOST: f64 = 4.0;
/// Weight of the latest day in the size that stands [-].
const LATEST: f64 = 0.1;

/// One value of a stream.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DayValue {
    /// First slot of the day that counts.
    pub began: Time,
    /// The value; larger is worse.
    pub value: f64,
    /// Standard deviation that is this day's own.
    pub sigma: f64,
    /// What lasting errors may make of a healthy stream: the edge of health.
    pub edge: f64,
}

/// What is looked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sought {
    /// Smallest shift worth a finding, in the unit of the stream.
    pub smallest: f64,
    /// Days between false alarms on the mean.
    pub days_between: f64,
    /// What takes longer to be believed is not said, unless it is large or grows.
    pub within: Option<Span>,
}

/// A shift that was found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Shift {
    /// Mean value since it began, weighted by s^-2.
    pub size: f64,
    /// Standard deviation of that mean, the edge not counted.
    pub sigma: f64,
    /// Days in it.
    pub days: u32,
}

/// The days since evidence of one size began to gather.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Run {
    evidence: f64,
    began: Option<Time>,
    days: u32,
    weight: f64,
    weighted: f64,
}

/// One stream.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ShiftWatch {
    runs: [Run; SIZES.len()],
    standing: Option<Standing>,
}

/// A shift that is believed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Standing {
    size: f64,
    /// Its size when it was believed, if it took too long to be said: the edge of what is looked for then.
    unsaid: Option<f64>,
    recovery: Run,
}

impl ShiftWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes the value of a day that has ended; `found` is when it could be said.
    pub fn add(&mut self, day: &DayValue, found: Time, sought: &Sought) -> Option<Edge<Shift>> {
        let mut edge = day.edge;
        if let Some(standing) = &mut self.standing {
            let was_said = standing.unsaid.is_none();
            if let Some(ended) = standing.add(day, sought) {
                *self = Self::default();
                return was_said.then_some(Edge::Ended { at: ended });
            }
            edge = edge.max(standing.unsaid?);
        }
        let (began, seen) = self.gather(&DayValue { edge, ..*day }, sought)?;
        let took_long = sought.within.is_some_and(|within| found - began > within);
        let large = (UNSAID_AT_MOST * sought.smallest).max(day.edge);
        let is_small = seen.size < day.edge + large;
        let unsaid = (took_long && is_small).then_some(seen.size);
        *self = Self {
            standing: Some(Standing {
                size: seen.size,
                unsaid,
                recovery: Run::default(),
            }),
            ..Self::default()
        };
        let told = Edge::Found { began, found, seen };
        unsaid.is_none().then_some(told)
    }

    /// Whether evidence has begun to gather, or something stands, said or not: such days should teach nothing.
    pub fn is_suspicious(&self, sought: &Sought) -> bool {
        self.standing.is_some() || self.evidence() >= sought.days_between.sqrt()
    }

    /// The size that stands and has been said.
    pub fn standing(&self) -> Option<f64> {
        let said = self.standing.filter(|standing| standing.unsaid.is_none());
        said.map(|standing| standing.size)
    }

    fn evidence(&self) -> f64 {
        let weighted = self.runs.iter().zip(WEIGHTS).map(|(r, w)| w * r.evidence);
        weighted.sum()
    }

    fn gather(&mut self, day: &DayValue, sought: &Sought) -> Option<(Time, Shift)> {
        for (run, size) in self.runs.iter_mut().zip(SIZES) {
            let shift = size * sought.smallest;
            let to = (day.edge + shift, SPREAD * shift);
            run.add(day, likelihood_ratio(day, to, day.edge));
        }
        if self.evidence() < sought.days_between {
            return None;
        }
        let weighted = self.runs.iter().zip(WEIGHTS);
        let (run, _) = weighted
            .max_by(|a, b| (a.0.evidence * a.1).total_cmp(&(b.0.evidence * b.1)))
            .expect("there are sizes");
        Some((run.began.unwrap_or(day.began), run.shift()))
    }
}

impl Standing {
    fn add(&mut self, day: &DayValue, sought: &Sought) -> Option<Time> {
        // Better than the edge is as good as the edge, and no wrong day.
        let recovered = DayValue {
            value: day.value.max(day.edge),
            ..*day
        };
        let ratio = likelihood_ratio(&recovered, (day.edge, 0.0), self.size);
        self.recovery.add(day, ratio);
        if self.recovery.evidence >= DAYS_BETWEEN_FALSE_ENDS {
            return self.recovery.began;
        }
        // One wrong day must not pull it to where it never was.
        if (day.value - self.size).abs() < 3.0 * day.sigma.max(sought.smallest) {
            self.size += LATEST * (day.value - self.size);
            self.size = self.size.max(day.edge + sought.smallest / 2.0);
        }
        None
    }
}

impl Run {
    fn add(&mut self, day: &DayValue, ratio: f64) {
        if self.evidence < 1.0 {
            *self = Self {
                evidence: self.evidence,
                began: Some(day.began),
                ..Self::default()
            };
        }
        // Enough for any threshold, and far from infinity.
        self.evidence = ((1.0 + self.evidence) * ratio).min(1e100);
        self.days += 1;
        self.weight += day.sigma.powi(-2);
        self.weighted += day.value * day.sigma.powi(-2);
    }

    fn shift(&self) -> Shift {
        Shift {
            size: self.weighted / self.weight,
            sigma: self.weight.sqrt().recip(),
            days: self.days,
        }
    }
}

/// How much likelier a day is around `to`, known to -+ `spread`, than around `from`.
fn likelihood_ratio(day: &DayValue, (to, spread): (f64, f64), from: f64) -> f64 {
    let normal =
        |mean: f64, sigma: f64| (-0.5 * ((day.value - mean) / sigma).powi(2)).exp() / sigma;
    let to_sigma = day.sigma.hypot(spread);
    // A day on the far side of `from` speaks against `to` as clearly as it can, and at least as one on
    // the edge: the far tail of a wide `to` would vouch for it. Less than the model gives, so the
    // bound holds.
    if (day.value - from) * (to - from) < 0.0 {
        let z = |mean: f64, sigma: f64| (day.value - mean) / sigma;
        let there = z(from, day.sigma).powi(2) - z(to, to_sigma).powi(2);
        let at_edge = -((to - from) / to_sigma).powi(2);
        return (0.5 * there.min(at_edge)).exp() * day.sigma / to_sigma;
    }
    // Wrong days spread round the healthier of the two, whatever else holds.
    let wrong = WRONG_DAYS * normal(from.min(to), WRONG_SPREAD * day.sigma);
    let right = |mean, sigma| (1.0 - WRONG_DAYS) * normal(mean, sigma);
    (right(to, to_sigma) + wrong) / (right(from, day.sigma) + wrong)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SOUGHT: Sought = Sought {
        smallest: 1.0,
        days_between: 500.0,
        within: None,
    };

    /// Draws standard normal values (Box and Muller) from a linear congruential generator (Knuth).
    struct Noise(u64);

    impl Noise {
        fn uniform(&mut self) -> f64 {
            self.0 = self
                .0
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            ((self.0 >> 11) as f64 + 0.5) / (1u64 << 53) as f64
        }

        fn normal(&mut self) -> f64 {
            let (a, b) = (self.uniform(), self.uniform());
            (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
        }
    }

    fn day(n: i64, value: f64) -> DayValue {
        DayValue {
            began: Time::from_unix_ms(n * 86_400_000),
            value,
            sigma: 0.5,
            edge: 0.2,
        }
    }

    #[test]
    fn what_took_long_is_not_said_until_it_grows_and_what_is_large_is() {
        let sought = Sought {
            within: Some(Span::from_h(24 * 21)),
            ..SOUGHT
        };
        let edges = |value: &dyn Fn(i64) -> f64, sought: &Sought| {
            let mut watch = ShiftWatch::new();
            let told = |n: i64| {
                let found = Time::from_unix_ms((n + 1) * 86_400_000);
                let edge = watch.add(&day(n, value(n)), found, sought)?;
                Some((n, matches!(edge, Edge::Found { .. })))
            };
            (0..200).filter_map(told).collect::<Vec<_>>()
        };
        let level = 0.72;
        let hardly = |n: i64| if n < 150 { level } else { 0.0 };
        let [(found, true), (ended, false)] = edges(&hardly, &SOUGHT)[..] else {
            panic!("{:?}", edges(&hardly, &SOUGHT));
        };
        assert!(
            (30..150).contains(&found) && ended >= 150,
            "{found} {ended}"
        );
        assert_eq!(edges(&hardly, &sought), [], "too late, and so is its end");
        let grows = |n: i64| if n < 150 { level } else { level + 2.0 };
        assert!(
            matches!(edges(&grows, &sought)[..], [(150..=156, true)]),
            "{:?}",
            edges(&grows, &sought)
        );
        let creeps = |n: i64| 0.03 * n as f64;
        let [(crept, true)] = edges(&creeps, &sought)[..] else {
            panic!("{:?}", edges(&creeps, &sought));
        };
        assert!(crept < 150, "{crept}");
    }

    /// Days until something is found, from a stream with this mean.
    fn days_until_found(mean: f64, noise: &mut Noise) -> i64 {
        let mut watch = ShiftWatch::new();
        (1..)
            .find(|n| {
                let x = day(*n, mean + 0.5 * noise.normal());
                watch.add(&x, x.began, &SOUGHT).is_some()
            })
            .expect("sooner or later")
    }

    fn mean_days(mean: f64) -> f64 {
        const RUNS: i64 = 400;
        let mut noise = Noise(7);
        (0..RUNS)
            .map(|_| days_until_found(mean, &mut noise))
            .sum::<i64>() as f64
            / RUNS as f64
    }

    #[test]
    fn false_alarms_are_as_far_apart_as_asked_even_at_the_edge_of_health() {
        // The mean of 400 exponential waits scatters by 5 %: three of those.
        let at_the_edge = mean_days(0.2);
        assert!(at_the_edge > 0.85 * SOUGHT.days_between, "{at_the_edge}");
        assert!(mean_days(0.0) > at_the_edge);
    }

    #[test]
    fn the_smallest_shift_is_found_within_days_and_a_large_one_on_the_second() {
        assert!(mean_days(1.2) < 7.0, "{}", mean_days(1.2));
        // Never on the first: one day alone may be wrong by anything.
        assert_eq!(mean_days(4.2), 2.0);
    }

    #[test]
    fn up_to_ninety_times_the_smallest_is_found_on_the_third_day_at_the_latest() {
        for mean in [8.0, 16.0, 30.0, 50.0, 90.0] {
            assert!(mean_days(mean) <= 3.0, "{mean}: {}", mean_days(mean));
        }
    }

    #[test]
    fn one_wrong_day_is_no_shift() {
        let mut watch = ShiftWatch::new();
        let mut noise = Noise(3);
        for n in 0..60 {
            let wrong = if n == 30 { 40.0 } else { 0.0 };
            let x = day(n, wrong + 0.5 * noise.normal());
            assert_eq!(watch.add(&x, x.began, &SOUGHT), None, "day {n}");
        }
    }

    #[test]
    fn it_says_how_much_since_when_and_when_it_was_over() {
        let mut watch = ShiftWatch::new();
        let mut edges = Vec::new();
        let mut noise = Noise(11);
        for n in 0..60 {
            let mean = if (20..40).contains(&n) { 3.0 } else { 0.0 };
            let x = day(n, mean + 0.5 * noise.normal());
            edges.extend(watch.add(&x, x.began, &SOUGHT));
        }
        let [Edge::Found { began, seen, .. }, Edge::Ended { at }] = edges[..] else {
            panic!("{edges:?}");
        };
        assert_eq!(began, Time::from_unix_ms(20 * 86_400_000));
        assert!((seen.size - 3.0).abs() < 3.0 * seen.sigma, "{seen:?}");
        assert_eq!(at, Time::from_unix_ms(40 * 86_400_000));
    }
}
