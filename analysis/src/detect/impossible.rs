//! Values that cannot be, poll by poll: one alone is dropped, several are told.
//!
//! Model:   told at the third poll with an impossible value within a day, in a row or not; what came
//!          in a row ends with the first of three good polls, what returned ends after a day without.
//!          A lifetime counter may not fall, nor rise by more than 1.2 x rated power x time and two of its
//!          steps. The time counts from the renewal before, at most a quarter of an hour back, for devices
//!          renew it less often than they are asked. One that has been put back is believed again after
//!          an hour.
//! Symbols: counter [Wh].
//! Range:   polls in order of time.
//! Source:  own; 1.2 and the sentinels as common practice has them. Three polls are the project's
//!          design.
//! Check:   unit tests below; tests/acceptance/engine/measuring.rs.

use super::Edge;
use crate::reading::{ChannelId, Power, Span, Time};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Polls with an impossible value that are told, and good ones in a row that end it.
const BAD_POLLS: usize = 3;
const GOOD_POLLS: u32 = 3;
/// Within this time they belong together.
const TOGETHER: Span = Span::from_h(24);
/// A counter that goes on from another level for so long was put back or exchanged.
const PUT_BACK_AFTER: Span = Span::from_h(1);
/// Over rated power [-]; steps of a counter that may come at once.
const FASTEST_RATIO: f64 = 1.2;
const STEPS_AT_ONCE: f64 = 2.0;
/// Devices renew a counter at least so often, and an answer is as old as this at most when it is read (engineering
/// judgement).
const LONGEST_RENEWAL: Span = Span::from_min(15);
const LATE_BY: Span = Span::from_s(20);
/// A counter whose steps are not known yet counts in these at most [Wh].
const COARSEST_WH: f64 = 100_000.0;

/// A value that cannot be.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ImpossibleValue {
    /// Where it was shown.
    pub channel: ChannelId,
    /// What was shown, in the unit of the channel.
    pub value: f64,
    /// What could have been: lowest and highest.
    pub possible: (f64, f64),
}

/// Watches the channels of one input, or of a device as a whole.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ImpossibleWatch {
    /// The latest polls with an impossible value, and whether the poll before had one too.
    bad: VecDeque<(Time, bool)>,
    /// Good polls since, and the first of them.
    good: Option<(Time, u32)>,
    standing: Option<Standing>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
enum Standing {
    InARow,
    Returning,
}

impl ImpossibleWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes what was impossible in a poll, if anything.
    pub fn poll(
        &mut self,
        at: Time,
        impossible: Option<ImpossibleValue>,
    ) -> Option<Edge<ImpossibleValue>> {
        let Some(seen) = impossible else {
            return self.good(at);
        };
        let in_a_row = self.good.is_none() && !self.bad.is_empty();
        self.good = None;
        self.bad.push_back((at, in_a_row));
        while self.bad.len() > BAD_POLLS || self.bad.front().is_some_and(|b| at - b.0 >= TOGETHER) {
            self.bad.pop_front();
        }
        let row = self.bad.iter().skip(1).all(|b| b.1);
        if self.standing.is_some() {
            // What came now and then may have come to stay.
            if row && self.bad.len() == BAD_POLLS {
                self.standing = Some(Standing::InARow);
            }
            return None;
        }
        if self.bad.len() < BAD_POLLS {
            return None;
        }
        self.standing = Some(if row {
            Standing::InARow
        } else {
            Standing::Returning
        });
        Some(Edge::Found {
            began: self.bad[0].0,
            found: at,
            seen,
        })
    }

    fn good(&mut self, at: Time) -> Option<Edge<ImpossibleValue>> {
        let (first, polls) = self.good.unwrap_or((at, 0));
        self.good = Some((first, polls.saturating_add(1)));
        let is_over = match self.standing? {
            Standing::InARow => polls + 1 >= GOOD_POLLS,
            Standing::Returning => at - first >= TOGETHER,
        };
        if !is_over {
            return None;
        }
        self.standing = None;
        self.bad.clear();
        Some(Edge::Ended { at: first })
    }
}

/// A lifetime counter of energy.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct CounterWatch {
    /// The last that was believed.
    believed: Option<Shown>,
    /// A level that it cannot have and goes on from: since when, and the latest.
    other: Option<(Time, Shown)>,
    /// Smallest rise seen [Wh].
    step_wh: Option<f64>,
}

/// What a counter showed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Shown {
    at: Time,
    wh: f64,
    /// The latest poll that was surely before it was renewed to that.
    since: Time,
}

impl Shown {
    /// What it shows after that, or first.
    fn after(last: Option<Self>, at: Time, wh: f64) -> Self {
        let since = match last {
            None => at,
            Some(last) if wh > last.wh => last.at,
            Some(last) => last.since,
        };
        Self { at, wh, since }
    }
}

impl CounterWatch {
    /// What it could show now, where it shows what it cannot.
    pub fn poll(&mut self, at: Time, wh: f64, rated: Power) -> Option<(f64, f64)> {
        let Some(last) = self.believed else {
            self.believe(at, wh);
            return None;
        };
        let possible = self.possible(last, at, rated);
        if wh >= possible.0 && wh <= possible.1 {
            self.believe(at, wh);
            return None;
        }
        let goes_on = self.other.filter(|(_, level)| {
            let possible = self.possible(*level, at, rated);
            wh >= possible.0 && wh <= possible.1
        });
        let since = goes_on.map_or(at, |(since, _)| since);
        let level = goes_on.map(|(_, level)| level);
        self.other = Some((since, Shown::after(level, at, wh)));
        if at - since >= PUT_BACK_AFTER {
            self.believed = None;
            self.believe(at, wh);
            return None;
        }
        Some(possible)
    }

    fn possible(&self, last: Shown, at: Time, rated: Power) -> (f64, f64) {
        let step = self.step_wh.unwrap_or(COARSEST_WH);
        let not_renewed = (last.at - last.since).min(LONGEST_RENEWAL);
        let time = (at - last.at) + not_renewed + LATE_BY;
        let most = FASTEST_RATIO * (rated * time).wh() + STEPS_AT_ONCE * step;
        // A float that is published in coarse steps may be rounded differently.
        (last.wh - last.wh.abs() * 1e-6, last.wh + most)
    }

    fn believe(&mut self, at: Time, wh: f64) {
        let rise = self.believed.map_or(0.0, |last| wh - last.wh);
        if rise > 0.0 {
            self.step_wh = Some(self.step_wh.map_or(rise, |step| step.min(rise)));
        }
        self.believed = Some(Shown::after(self.believed, at, wh));
        self.other = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(min: i64) -> Time {
        Time::from_unix_ms(min * 60_000)
    }

    const SEEN: ImpossibleValue = ImpossibleValue {
        channel: ChannelId(0),
        value: 6553.5,
        possible: (0.0, 1000.0),
    };

    /// Edges of minutes of which some are bad.
    fn edges(minutes: i64, is_bad: impl Fn(i64) -> bool) -> Vec<Edge<ImpossibleValue>> {
        let mut watch = ImpossibleWatch::new();
        (0..minutes)
            .filter_map(|n| watch.poll(at(n), is_bad(n).then_some(SEEN)))
            .collect()
    }

    #[test]
    fn the_third_in_a_row_is_told_and_the_first_good_one_ends_it() {
        let told = edges(40, |n| (10..20).contains(&n));
        let [Edge::Found { began, found, .. }, Edge::Ended { at: ended }] = told[..] else {
            panic!("{told:?}");
        };
        assert_eq!((began, found, ended), (at(10), at(12), at(20)));
    }

    #[test]
    fn one_spike_or_two_a_day_are_dropped_and_a_third_is_told_until_a_day_is_good() {
        assert_eq!(
            edges(3 * 1440, |n| n % 1440 == 7 || n % 1440 == 900).len(),
            0
        );
        let told = edges(3 * 1440, |n| [7, 300, 900].contains(&n));
        let [Edge::Found { began, found, .. }, Edge::Ended { at: ended }] = told[..] else {
            panic!("{told:?}");
        };
        assert_eq!((began, found, ended), (at(7), at(900), at(901)));
    }

    #[test]
    fn a_counter_does_not_fall_jump_or_stay_put_back() {
        let rated = Power::from_w(10_000.0);
        let mut counter = CounterWatch::default();
        // A kilowatt-hour at a time, every twelve minutes.
        for n in 0..60 {
            let wh = 5e6 + 1000.0 * f64::from(n / 12);
            assert_eq!(counter.poll(at(n.into()), wh, rated), None, "{n}");
        }
        assert!(counter.poll(at(60), 0.0, rated).is_some());
        assert!(counter.poll(at(61), 5e6 + 30_000.0, rated).is_some());
        assert_eq!(counter.poll(at(62), 5e6 + 5000.0, rated), None);
        let reset: Vec<bool> = (63..130)
            .map(|n| counter.poll(at(n), 0.0, rated).is_some())
            .collect();
        assert_eq!(reset.iter().filter(|bad| **bad).count(), 60);
        assert!(!reset[66]);
    }

    #[test]
    fn a_counter_that_is_renewed_each_minute_may_be_asked_each_second() {
        let rated = Power::from_w(10_000.0);
        let mut counter = CounterWatch::default();
        let second = |n: i64| Time::from_unix_ms(n * 1000);
        // From a watt-hour a minute at dawn to as much as it can.
        let wh = |minute: i64| {
            5e6 + (0..minute)
                .map(|m| (m as f64).clamp(1.0, 160.0))
                .sum::<f64>()
        };
        for n in 0..3 * 3600 {
            assert_eq!(counter.poll(second(n), wh(n / 60), rated), None, "{n}");
        }
        let next = 3 * 3600;
        assert!(
            counter
                .poll(second(next), wh(180) + 65_535.0, rated)
                .is_some()
        );
        // Put back at noon: not believed for an hour, and believed from then on.
        let put_back = |n: i64| (n / 60) as f64 * 160.0;
        let refused = (1..2 * 3600).filter(|n| {
            counter
                .poll(second(next + n), put_back(*n), rated)
                .is_some()
        });
        assert_eq!(refused.count(), 3600);
    }
}
