//! Event bits of each inverter, poll by poll.
//! Never in here: which bits count (`detect`), words (`diagnose`).

use super::Engine;
use crate::detect::{Kind, Poll, ProtectionEdge, ProtectionPoll};
use crate::diagnose::{Subject, explain};
use crate::plant::{EventBit, State};
use crate::reading::Time;

/// Bits by which an inverter says that the supply opened its AC side.
const OF_SUPPLY: [EventBit; 5] = [
    EventBit::GridDisconnect,
    EventBit::OverFrequency,
    EventBit::UnderFrequency,
    EventBit::AcOverVoltage,
    EventBit::AcUnderVoltage,
];

impl Engine {
    /// Looks at one poll, after the supply's watcher has.
    pub(super) fn watch_protection(&mut self, i: usize, at: Time, facts: &Poll) {
        let watched = &mut self.state.inverters[i];
        let by_bits = facts
            .event_bits
            .is_some_and(|bits| OF_SUPPLY.iter().any(|bit| bit.is_set(bits)));
        let poll = ProtectionPoll {
            event_bits: facts.event_bits,
            lit: watched.lit_since.is_some() && facts.state != Some(State::Sleeping),
            by_supply: by_bits || watched.supply.off_since().is_some(),
        };
        let device = &self.plant.inverters[i].id;
        let (subject, kind) = (Subject::device(device), Kind::ProtectionActed);
        for edge in watched.protection.poll(at, poll) {
            match edge {
                ProtectionEdge::Acts(acted) => {
                    let (new, urgency) = explain::protection_acted(device, at, &acted);
                    self.state.book.keep(new, true);
                    self.state.book.urge(&subject, kind, Some(urgency));
                }
                ProtectionEdge::Ended(acted) => {
                    let numbers = explain::acted_evidence(&acted);
                    self.state.book.add_evidence(&subject, kind, numbers);
                    self.state.book.end(&subject, kind, acted.last);
                }
            }
        }
    }
}
