//! Protection of the inverter that acted, by its event bits, poll by poll.
//!
//! One poll is enough. Bits that come and go are one episode until none of them has been seen for more
//! than `QUIET`: then it ended with the last poll that showed one. Silence ends nothing. An episode
//! is told again when a bit joins that it did not have.
//! Never in here: bits that other detectors tell (ground fault; supply, by `supply`), and a
//! shutdown by hand, which is no fault.

use crate::plant::EventBit;
use crate::reading::{Span, Time};
use serde::{Deserialize, Serialize};

/// Longer than the time within which the book takes a finding that comes back for the same one, so
/// that whether it does is decided here.
const QUIET: Span = Span::from_h(1);

/// What can act, the most urgent first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Protection {
    /// An arc was detected.
    Arc,
    /// DC voltage too high.
    DcOverVoltage,
    /// A string fuse has blown.
    BlownStringFuse,
    /// A test of the inverter's own hardware failed.
    HardwareTest,
    /// Too hot.
    OverTemperature,
    /// Cabinet open.
    CabinetOpen,
    /// DC side disconnected, in the light.
    DcDisconnect,
    /// AC side disconnected, in the light, and nothing says that the supply did it.
    AcDisconnect,
    /// Memory or communication lost inside.
    MemoryLoss,
    /// An alarm of the maker's own.
    MakersAlarm,
    /// Too cold.
    UnderTemperature,
}

impl Protection {
    /// All of them, the most urgent first.
    pub const ALL: [Self; 11] = [
        Self::Arc,
        Self::DcOverVoltage,
        Self::BlownStringFuse,
        Self::HardwareTest,
        Self::OverTemperature,
        Self::CabinetOpen,
        Self::DcDisconnect,
        Self::AcDisconnect,
        Self::MemoryLoss,
        Self::MakersAlarm,
        Self::UnderTemperature,
    ];

    fn bit(self) -> EventBit {
        match self {
            Self::Arc => EventBit::ArcDetected,
            Self::DcOverVoltage => EventBit::DcOverVoltage,
            Self::BlownStringFuse => EventBit::BlownStringFuse,
            Self::HardwareTest => EventBit::HardwareTestFailure,
            Self::OverTemperature => EventBit::OverTemperature,
            Self::CabinetOpen => EventBit::CabinetOpen,
            Self::DcDisconnect => EventBit::DcDisconnect,
            Self::AcDisconnect => EventBit::AcDisconnect,
            Self::MemoryLoss => EventBit::MemoryLoss,
            Self::MakersAlarm => EventBit::MakersAlarm,
            Self::UnderTemperature => EventBit::UnderTemperature,
        }
    }

    /// Whether an inverter that shows it stands still because of it. A fuse stops one string; an open
    /// cabinet, lost memory and a maker's own alarm may stop it or not.
    fn stops(self) -> bool {
        matches!(
            self,
            Self::Arc
                | Self::DcOverVoltage
                | Self::HardwareTest
                | Self::OverTemperature
                | Self::UnderTemperature
                | Self::DcDisconnect
                | Self::AcDisconnect
        )
    }

    /// Whether an inverter may show it by night with nothing wrong: switches are open then.
    fn needs_light(self) -> bool {
        matches!(self, Self::DcDisconnect | Self::AcDisconnect)
    }
}

/// What a poll says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProtectionPoll {
    /// Event bits, as on the channel.
    pub event_bits: Option<f64>,
    /// Whether there is light enough to produce, and the inverter does not say that it sleeps.
    pub lit: bool,
    /// Whether the supply may have opened the AC side: it let go, or its bits are set.
    pub by_supply: bool,
}

/// Bits that acted together or soon after each other.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Acted {
    /// First poll with one of them.
    pub began: Time,
    /// Last poll with one of them.
    pub last: Time,
    /// Which, the most urgent first, and in how many polls each.
    pub which: Vec<(Protection, u32)>,
    /// How often one came after a poll without any.
    pub times: u32,
}

/// What changed.
#[derive(Debug, Clone, PartialEq)]
pub enum ProtectionEdge {
    /// It began, or another bit has joined.
    Acts(Acted),
    /// It is over.
    Ended(Acted),
}

/// Watches the event bits of one inverter.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ProtectionWatch {
    episode: Option<Acted>,
    was_set: bool,
}

impl ProtectionWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Whether what acts says why the inverter stands still.
    pub fn explains_standstill(&self) -> bool {
        let acted = self.episode.iter().flat_map(|episode| &episode.which);
        acted.copied().any(|(which, _)| which.stops())
    }

    /// One poll: what ended before it, then what acts.
    pub fn poll(&mut self, at: Time, poll: ProtectionPoll) -> Vec<ProtectionEdge> {
        let Some(bits) = poll.event_bits else {
            return Vec::new();
        };
        let mut edges = Vec::new();
        if let Some(over) = self.episode.take_if(|e| at - e.last > QUIET) {
            edges.push(ProtectionEdge::Ended(over));
        }
        let counts = |p: &Protection| {
            p.bit().is_set(bits)
                && (poll.lit || !p.needs_light())
                && !(*p == Protection::AcDisconnect && poll.by_supply)
        };
        let set: Vec<Protection> = Protection::ALL.into_iter().filter(counts).collect();
        let came = !set.is_empty() && !self.was_set;
        self.was_set = !set.is_empty();
        if set.is_empty() {
            return edges;
        }
        let episode = self.episode.get_or_insert_with(|| Acted {
            began: at,
            last: at,
            which: Vec::new(),
            times: 0,
        });
        let before = episode.which.len();
        episode.last = at;
        episode.times += u32::from(came);
        for protection in set {
            match episode.which.iter_mut().find(|(p, _)| *p == protection) {
                Some((_, polls)) => *polls += 1,
                None => episode.which.push((protection, 1)),
            }
        }
        episode.which.sort();
        if episode.which.len() > before {
            edges.push(ProtectionEdge::Acts(episode.clone()));
        }
        edges
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(s: i64) -> Time {
        Time::from_unix_ms(s * 1000)
    }

    fn lit(bits: &[EventBit]) -> ProtectionPoll {
        let all = bits.iter().fold(0, |all, bit| all | 1_u32 << *bit as u32);
        ProtectionPoll {
            event_bits: Some(f64::from(all)),
            lit: true,
            by_supply: false,
        }
    }

    #[test]
    fn a_bit_that_flickers_for_minutes_is_one_episode_and_ends_with_its_last_poll() {
        let mut watch = ProtectionWatch::new();
        let mut edges = Vec::new();
        for n in 0..600 {
            let bits: &[EventBit] = if n < 300 && n % 2 == 0 {
                &[EventBit::OverTemperature]
            } else {
                &[]
            };
            edges.extend(watch.poll(at(10 * n), lit(bits)));
        }
        // Nothing but the hour after it.
        assert_eq!(edges.len(), 1, "{edges:?}");
        edges.extend(watch.poll(at(2980 + 3601), lit(&[])));
        let ProtectionEdge::Ended(acted) = &edges[1] else {
            panic!("{edges:?}");
        };
        assert_eq!((acted.began, acted.last), (at(0), at(2980)));
        assert_eq!(acted.which, [(Protection::OverTemperature, 150)]);
        assert_eq!(acted.times, 150);
    }

    #[test]
    fn another_bit_is_told_and_the_most_urgent_stands_first() {
        let mut watch = ProtectionWatch::new();
        watch.poll(at(0), lit(&[EventBit::OverTemperature]));
        let both = [EventBit::OverTemperature, EventBit::ArcDetected];
        let edges = watch.poll(at(10), lit(&both));
        let [ProtectionEdge::Acts(acted)] = &edges[..] else {
            panic!("{edges:?}");
        };
        assert_eq!(acted.which[0], (Protection::Arc, 1));
    }

    #[test]
    fn silence_ends_nothing() {
        let mut watch = ProtectionWatch::new();
        watch.poll(at(0), lit(&[EventBit::BlownStringFuse]));
        let unknown = ProtectionPoll {
            event_bits: None,
            ..lit(&[])
        };
        assert_eq!(watch.poll(at(90_000), unknown), []);
        assert_eq!(watch.poll(at(90_010), lit(&[])).len(), 1);
    }

    #[test]
    fn what_others_tell_a_hand_and_switches_open_by_night_are_none() {
        use EventBit::*;
        let mut watch = ProtectionWatch::new();
        let others = [
            GroundFault,
            GridDisconnect,
            ManualShutdown,
            OverFrequency,
            UnderFrequency,
            AcOverVoltage,
            AcUnderVoltage,
        ];
        assert_eq!(watch.poll(at(0), lit(&others)), []);
        let night = ProtectionPoll {
            lit: false,
            ..lit(&[AcDisconnect, DcDisconnect])
        };
        assert_eq!(watch.poll(at(1), night), []);
        let by_supply = ProtectionPoll {
            by_supply: true,
            ..lit(&[AcDisconnect])
        };
        assert_eq!(watch.poll(at(2), by_supply), []);
        assert_eq!(watch.poll(at(3), lit(&[AcDisconnect])).len(), 1);
    }
}
