//! A device that does not answer. Silence arrives as ticks, so it replays like data.
//! Never in here: sockets, retries; only when the last reading came.

use super::Edge;
use crate::reading::{Span, Time};
use serde::{Deserialize, Serialize};

/// Polls without an answer that make a link lost.
const MISSED_POLLS: i64 = 3;

/// Watches one device.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LinkWatch {
    every: Span,
    last_contact: Option<Time>,
    is_lost: bool,
}

impl LinkWatch {
    /// A device that should answer every `every`.
    pub fn new(every: Span) -> Self {
        Self {
            every,
            last_contact: None,
            is_lost: false,
        }
    }

    /// A reading of the device, good or not: it answered. `asleep`: whether it owed no answer
    /// since its last one.
    pub fn contact(&mut self, at: Time, asleep: bool) -> Vec<Edge<()>> {
        let mut edges: Vec<_> = self.silence(at, asleep).into_iter().collect();
        self.last_contact = Some(at);
        if std::mem::take(&mut self.is_lost) {
            edges.push(Edge::Ended { at });
        }
        edges
    }

    /// Nothing has come up to `now`. `asleep`: an inverter at night owes no answer.
    /// A device that never answered counts from the first look at it.
    pub fn silence(&mut self, now: Time, asleep: bool) -> Option<Edge<()>> {
        let last = *self.last_contact.get_or_insert(now);
        let deadline = last + self.every * MISSED_POLLS;
        if self.is_lost || asleep || now <= deadline {
            return None;
        }
        self.is_lost = true;
        // Said as of the deadline, so that it does not matter how often somebody looks.
        Some(Edge::Found {
            began: last + self.every,
            found: deadline,
            seen: (),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_missed_polls_are_a_lost_link_once() {
        let at = |s: i64| Time::from_unix_ms(s * 1000);
        let mut watch = LinkWatch::new(Span::from_s(10));
        assert_eq!(watch.contact(at(0), false), []);
        assert_eq!(watch.silence(at(30), false), None);
        assert_eq!(watch.silence(at(31), true), None);
        let found = Edge::Found {
            began: at(10),
            found: at(30),
            seen: (),
        };
        assert_eq!(watch.silence(at(45), false), Some(found));
        assert_eq!(watch.silence(at(60), false), None);
        assert_eq!(watch.contact(at(61), false), [Edge::Ended { at: at(61) }]);
    }

    #[test]
    fn a_gap_that_nobody_looked_at_is_seen_at_the_next_contact() {
        let at = |s: i64| Time::from_unix_ms(s * 1000);
        let mut watch = LinkWatch::new(Span::from_s(10));
        watch.contact(at(0), false);
        let found = Edge::Found {
            began: at(10),
            found: at(30),
            seen: (),
        };
        assert_eq!(
            watch.contact(at(90), false),
            [found, Edge::Ended { at: at(90) }]
        );
    }
}
