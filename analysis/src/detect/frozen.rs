//! Values that stand still where they cannot: a logger that repeats its last answer, a sensor that no
//! longer moves.
//!
//! Model:   a stand is the time over which every one of the watched values is bit-identical. Told
//!          after max(T, 3 polls, 3 x the longest stand seen at work): coarse registers stand for a
//!          while in health, and how long is learned. Before two hours of work have been seen: an
//!          hour. From two thirds of that on, and while it stands, the values are not believed.
//! Symbols: T [min], shortest time for this kind of values.
//! Range:   polls in order of time; only while the device is at work in the light. Night, sleep and
//!          a silence of more than three polls start afresh.
//! Source:  own; 10 min common practice.
//! Check:   unit tests below; tests/acceptance/engine/measuring.rs.

use super::Edge;
use crate::reading::{ChannelId, Span, Time};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Identical polls after the first.
const REPEATS: u32 = 3;
/// Over the longest stand in health.
const LONGER_TIMES: i64 = 3;
const SUSPECT_TIMES: i64 = 2;
/// Work that shows how long the registers stand in health, and the limit before that.
const LEARNED_AFTER: Span = Span::from_h(2);
const UNLEARNED: Span = Span::from_h(1);
/// Values that are not believed any more, before anything is said.
const SUSPECT_FROM: Span = Span::from_min(5);

/// What stood still.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Frozen {
    /// How many values.
    pub values: usize,
    /// The longest that they had stood in health.
    pub longest: Span,
}

/// Watches values that move together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FrozenWatch {
    every: Span,
    shortest: Span,
    last: BTreeMap<ChannelId, f64>,
    /// First and latest poll of the stand, and how many came after the first.
    stand: Option<(Time, Time, u32)>,
    longest: Span,
    learned: Span,
    is_standing: bool,
}

impl FrozenWatch {
    /// Of a device that is read every `every`, told after `shortest` at the earliest.
    pub fn new(every: Span, shortest: Span) -> Self {
        Self {
            every,
            shortest,
            last: BTreeMap::new(),
            stand: None,
            longest: Span::ZERO,
            learned: Span::ZERO,
            is_standing: false,
        }
    }

    /// Takes the values of a poll. Says whether they may be believed, and what began or ended.
    pub fn poll(
        &mut self,
        at: Time,
        values: &[(ChannelId, f64)],
        at_work: bool,
    ) -> (bool, Option<Edge<Frozen>>) {
        if values.is_empty() {
            return (!self.is_standing, None);
        }
        let is_same = |(id, value): &(ChannelId, f64)| self.last.get(id) == Some(value);
        let moved = !values.iter().all(is_same);
        self.last.extend(values.iter().copied());
        let before = self.stand.filter(|(_, then, _)| at - *then <= self.every * i64::from(REPEATS));
        if moved || !at_work || before.is_none() {
            self.learn(at, before, moved && at_work);
            self.stand = Some((at, at, 0));
            let ended = moved && std::mem::take(&mut self.is_standing);
            return (!self.is_standing, ended.then_some(Edge::Ended { at }));
        }
        let (since, _, repeats) = before.unwrap_or((at, at, 0));
        let repeats = repeats + 1;
        self.stand = Some((since, at, repeats));
        let stood = at - since;
        let enough = repeats >= REPEATS;
        let suspect = enough && stood >= SUSPECT_FROM.max(self.longest * SUSPECT_TIMES);
        if self.is_standing || !enough || stood < self.told_after() {
            return (!(self.is_standing || suspect), None);
        }
        self.is_standing = true;
        let seen = Frozen {
            values: values.len(),
            longest: self.longest,
        };
        let found = Edge::Found {
            began: since,
            found: at,
            seen,
        };
        (false, Some(found))
    }

    /// Whether the values are known to stand still.
    pub fn is_frozen(&self) -> bool {
        self.is_standing
    }

    fn learn(&mut self, at: Time, before: Option<(Time, Time, u32)>, in_health: bool) {
        let Some((since, then, _)) = before.filter(|_| in_health && !self.is_standing) else {
            return;
        };
        self.longest = self.longest.max(then - since);
        self.learned = self.learned + (at - since);
    }

    fn told_after(&self) -> Span {
        let polls = self.every * i64::from(REPEATS);
        let least = if self.learned < LEARNED_AFTER {
            UNLEARNED
        } else {
            self.longest * LONGER_TIMES
        };
        least.max(polls).max(self.shortest)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHORTEST: Span = Span::from_min(10);

    fn at(min: i64) -> Time {
        Time::from_unix_ms(min * 60_000)
    }

    /// What is told of minutes with these values, and how many were not believed.
    fn told(minutes: i64, value: impl Fn(i64) -> f64) -> (Vec<Edge<Frozen>>, usize) {
        let mut watch = FrozenWatch::new(Span::from_min(1), SHORTEST);
        let polls = (0..minutes).map(|n| watch.poll(at(n), &[(ChannelId(0), value(n))], true));
        let polls: Vec<_> = polls.collect();
        let doubted = polls.iter().filter(|(believed, _)| !believed).count();
        (polls.into_iter().filter_map(|p| p.1).collect(), doubted)
    }

    #[test]
    fn what_moves_at_every_poll_and_stops_is_told_after_ten_minutes() {
        let value = |n: i64| if (200..300).contains(&n) { 199.0 } else { n as f64 };
        let (edges, doubted) = told(400, value);
        let [Edge::Found { began, found, .. }, Edge::Ended { at: ended }] = edges[..] else {
            panic!("{edges:?}");
        };
        assert_eq!((began, found, ended), (at(199), at(209), at(300)));
        assert_eq!(doubted, 96);
    }

    #[test]
    fn coarse_registers_stand_for_a_while_in_health() {
        let (edges, doubted) = told(2000, |n| (n / 9) as f64);
        assert_eq!((edges.len(), doubted), (0, 4), "only before it has been learned");
        let value = |n: i64| if n >= 1000 { 7e9 } else { (n / 9) as f64 };
        let (edges, _) = told(1200, value);
        let [Edge::Found { found, .. }] = edges[..] else {
            panic!("{edges:?}");
        };
        assert_eq!(found, at(1024));
    }

    #[test]
    fn nobody_is_frozen_at_night() {
        let mut watch = FrozenWatch::new(Span::from_min(1), SHORTEST);
        for n in 0..900 {
            let (believed, edge) = watch.poll(at(n), &[(ChannelId(0), 0.5)], false);
            assert!(believed && edge.is_none());
        }
    }
}
