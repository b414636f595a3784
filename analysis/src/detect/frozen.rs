//! Values that stand still where they cannot: a logger that repeats its last answer, a sensor that no
//! longer moves.
//!
//! Model:   a stand is the time over which every one of the watched values is bit-identical. Told
//!          after max(T, 3 polls, 3 x the longest stand seen at work): coarse registers stand for a
//!          while in health, and how long is learned. Before two hours of work have been seen: an
//!          hour. From two thirds of that on, and while it stands, the values are not believed.
//!          Where a limit holds power and current at one number, the voltages of array and supply and
//!          the frequency still move, if they are published finely enough: of a device or an input,
//!          one of them must have moved at two thirds of the polls at work, or nothing is told.
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

/// Share of polls at which a value moves that decides about a device [-].
const LIVELY_RATIO: f64 = 2.0 / 3.0;

/// One value of a poll.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WatchedValue {
    /// Its channel.
    pub channel: ChannelId,
    /// The value.
    pub value: f64,
    /// Whether it moves whatever limits act on the device.
    pub always_moves: bool,
}

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
    /// Of those that always move, by channel: at how many polls at work they moved, and of how many.
    moves: BTreeMap<ChannelId, (u32, u32)>,
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
            moves: BTreeMap::new(),
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
        values: &[WatchedValue],
        at_work: bool,
    ) -> (bool, Option<Edge<Frozen>>) {
        if values.is_empty() {
            return (!self.is_standing, None);
        }
        let mut moved = false;
        let mut moves: Vec<(ChannelId, bool)> = Vec::new();
        for v in values {
            let has_moved = self.last.insert(v.channel, v.value) != Some(v.value);
            moved |= has_moved;
            if v.always_moves {
                moves.push((v.channel, has_moved));
            }
        }
        if at_work && moved {
            self.count(&moves);
        }
        let before = self
            .stand
            .filter(|(_, then, _)| at - *then <= self.every * i64::from(REPEATS));
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
        let enough = repeats >= REPEATS && self.can_decide(&moves);
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

    /// Whether something moved at the latest poll, which was at this time, or the watch starts afresh there.
    pub fn moved_at(&self, at: Time) -> bool {
        self.stand.is_some_and(|(since, ..)| since == at)
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

    fn count(&mut self, moves: &[(ChannelId, bool)]) {
        for (channel, moved) in moves {
            let (moves, polls) = self.moves.entry(*channel).or_default();
            *moves = moves.saturating_add(u32::from(*moved));
            *polls = polls.saturating_add(1);
        }
    }

    /// A lone value decides by itself; of many, one that is known to move.
    fn can_decide(&self, moves: &[(ChannelId, bool)]) -> bool {
        let is_lively = |(channel, _): &(ChannelId, bool)| {
            let counted = self.moves.get(channel).copied().unwrap_or_default();
            f64::from(counted.0) >= LIVELY_RATIO * f64::from(counted.1.max(1))
        };
        self.last.len() == 1 || (self.learned >= LEARNED_AFTER && moves.iter().any(is_lively))
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

    fn watched(value: f64) -> [WatchedValue; 1] {
        [WatchedValue {
            channel: ChannelId(0),
            value,
            always_moves: true,
        }]
    }

    /// What is told of minutes with these values, and how many were not believed.
    fn told(minutes: i64, value: impl Fn(i64) -> f64) -> (Vec<Edge<Frozen>>, usize) {
        let mut watch = FrozenWatch::new(Span::from_min(1), SHORTEST);
        let polls = (0..minutes).map(|n| watch.poll(at(n), &watched(value(n)), true));
        let polls: Vec<_> = polls.collect();
        let doubted = polls.iter().filter(|(believed, _)| !believed).count();
        (polls.into_iter().filter_map(|p| p.1).collect(), doubted)
    }

    #[test]
    fn what_moves_at_every_poll_and_stops_is_told_after_ten_minutes() {
        let value = |n: i64| {
            if (200..300).contains(&n) {
                199.0
            } else {
                n as f64
            }
        };
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
        assert_eq!(
            (edges.len(), doubted),
            (0, 4),
            "only before it has been learned"
        );
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
            let (believed, edge) = watch.poll(at(n), &watched(0.5), false);
            assert!(believed && edge.is_none());
        }
    }
}
