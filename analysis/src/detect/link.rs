//! A device that does not answer. Silence arrives as ticks, so it replays like data.
//! Never in here: sockets, retries; only when the last reading came.

use super::Edge;
use crate::reading::{Span, Time};
use serde::{Deserialize, Serialize};

/// Polls without an answer that make a link lost.
const MISSED_POLLS: i64 = 3;
/// Light after which a device that was silent in the dark should have answered.
const AWAKE_AFTER: Span = Span::from_min(30);

/// Watches one device.
///
/// Inverters owe an answer in the light only: many take their power from the array, and what they
/// said last before they went need not be that they sleep.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LinkWatch {
    every: Span,
    last_contact: Option<Time>,
    is_lost: bool,
    /// Whole slots of light since the last contact: when the first began, and how long they are.
    unanswered_light: Option<(Time, Span)>,
}

impl LinkWatch {
    /// A device that should answer every `every`.
    pub fn new(every: Span) -> Self {
        Self {
            every,
            last_contact: None,
            is_lost: false,
            unanswered_light: None,
        }
    }

    /// From now on the device may answer. One that never does counts from here.
    pub fn begin(&mut self, at: Time) {
        // Of a clock that is set back, what was heard before lies ahead: it must hide no silence.
        if !self.is_lost || self.last_contact > Some(at) {
            self.last_contact = Some(at);
        }
    }

    /// A reading of the device, good or not: it answered. What was read before the clock was set forward and
    /// comes late does not undo that silence counts from there.
    pub fn contact(&mut self, at: Time) -> Option<Edge<()>> {
        self.last_contact = self.last_contact.max(Some(at));
        self.unanswered_light = None;
        std::mem::take(&mut self.is_lost).then_some(Edge::Ended { at })
    }

    /// Nothing has come up to `now`, from a device that owes answers at any time.
    pub fn silence(&mut self, now: Time) -> Option<Edge<()>> {
        let last = self.last_contact?;
        let deadline = last + self.every * MISSED_POLLS;
        if self.is_lost || now <= deadline {
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

    /// A slot full of light has ended, for a device that owes answers in the light only; `lit_since`:
    /// when the light came. Asked slot by slot, because a poll does not know how light it is.
    pub fn lit_slot(&mut self, start: Time, slot: Span, lit_since: Time) -> Option<Edge<()>> {
        let (last, end) = (self.last_contact?, start + slot);
        if last < start {
            let light = self.unanswered_light.map_or(Span::ZERO, |(_, light)| light);
            let began = self.unanswered_light.map_or(start, |(began, _)| began);
            self.unanswered_light = Some((began, light + slot));
        }
        let answered_in_this_light = last >= lit_since;
        let had_time_to_wake = self
            .unanswered_light
            .is_some_and(|(_, light)| light >= AWAKE_AFTER);
        let missed = end > last + self.every * MISSED_POLLS;
        if self.is_lost || !missed || !(answered_in_this_light || had_time_to_wake) {
            return None;
        }
        self.is_lost = true;
        let first = last + self.every;
        let light = self.unanswered_light.map_or(first, |(began, _)| began);
        Some(Edge::Found {
            began: if answered_in_this_light { first } else { light },
            found: end,
            seen: (),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(s: i64) -> Time {
        Time::from_unix_ms(s * 1000)
    }

    const SLOT: Span = Span::from_min(5);

    #[test]
    fn three_missed_polls_are_a_lost_link_once() {
        let mut watch = LinkWatch::new(Span::from_s(10));
        assert_eq!(watch.contact(at(0)), None);
        assert_eq!(watch.silence(at(30)), None);
        let found = Edge::Found {
            began: at(10),
            found: at(30),
            seen: (),
        };
        assert_eq!(watch.silence(at(45)), Some(found));
        assert_eq!(watch.silence(at(60)), None);
        assert_eq!(watch.contact(at(61)), Some(Edge::Ended { at: at(61) }));
    }

    #[test]
    fn a_clock_that_is_set_forward_is_no_silence() {
        let mut watch = LinkWatch::new(Span::from_s(10));
        watch.contact(at(0));
        watch.begin(at(3_600));
        // Read before, and let through after.
        watch.contact(at(5));
        assert_eq!(watch.silence(at(3_625)), None);
        assert_eq!(watch.lit_slot(at(0), SLOT, at(0)), None);
        assert!(watch.silence(at(3_631)).is_some());
        // Set back, it counts from there.
        watch.contact(at(3_640));
        watch.begin(at(100));
        assert_eq!(watch.silence(at(125)), None);
        assert!(watch.silence(at(131)).is_some());
        // Also while it is lost.
        watch.begin(at(50));
        assert_eq!(watch.contact(at(60)), Some(Edge::Ended { at: at(60) }));
        assert!(watch.silence(at(91)).is_some());
    }

    #[test]
    fn silent_in_the_light_it_is_told_with_the_slot() {
        let mut watch = LinkWatch::new(Span::from_s(60));
        watch.contact(at(100));
        let found = Edge::Found {
            began: at(160),
            found: at(300),
            seen: (),
        };
        assert_eq!(watch.lit_slot(at(0), SLOT, at(0)), Some(found));
        assert_eq!(watch.lit_slot(at(300), SLOT, at(0)), None);
    }

    #[test]
    fn silent_since_last_night_it_has_half_an_hour_of_light_to_wake() {
        let mut watch = LinkWatch::new(Span::from_min(1));
        watch.contact(at(0));
        let morning = at(36_000);
        let lit = |n: i64| morning + SLOT * n;
        // Clouds between may be dark.
        for n in [0, 1, 2, 5, 6] {
            assert_eq!(watch.lit_slot(lit(n), SLOT, morning), None);
        }
        let found = Edge::Found {
            began: morning,
            found: lit(8),
            seen: (),
        };
        assert_eq!(watch.lit_slot(lit(7), SLOT, morning), Some(found));
    }
}
