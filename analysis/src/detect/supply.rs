//! Disconnections by the supply: from state, power, AC voltages and frequency, poll by poll.
//!
//! Fast trips last less than a poll, so they are seen by their aftermath: the inverter was
//! producing in good light, then is not for more than one poll. What acted is judged from the event
//! bits, the last values before, the worst values meanwhile and the ten-minute mean, against the
//! protection limits of the site's rules (AS/NZS 4777.2 and the like, as data in the site file).
//! Never in here: stops that the supply did not cause; bits for those silence this detector.

use super::Edge;
use crate::plant::{EventBit, GridLimits, State};
use crate::reading::{Span, Time};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Polls without production that make a disconnection.
const POLLS_OFF: u32 = 2;
/// A trip is reported at reconnection, or after this long.
const REPORT_AFTER: Span = Span::from_min(10);
/// Length of the sustained over-voltage mean.
const MEAN_OVER: Span = Span::from_min(10);
/// Width of a bin of that mean.
const BIN: Span = Span::from_s(30);
/// How near to a limit the last polled value counts as at it [V], [Hz]: polls miss the peak.
const NEAR_V: f64 = 3.0;
const NEAR_MEAN_V: f64 = 1.5;
const NEAR_HZ: f64 = 0.2;
/// Phase voltage over nominal below which there is no supply [-].
const NO_SUPPLY_RATIO: f64 = 0.2;

/// What one poll of an inverter says about it and its supply.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Poll {
    /// Operating state.
    pub state: Option<State>,
    /// Event bits, as on the channel.
    pub event_bits: Option<f64>,
    /// Highest phase voltage [V].
    pub highest_v: Option<f64>,
    /// Lowest phase voltage [V].
    pub lowest_v: Option<f64>,
    /// Frequency [Hz].
    pub frequency_hz: Option<f64>,
    /// AC power over rated power [-].
    pub load_ratio: Option<f64>,
}

impl Poll {
    /// Whether the inverter produces: by its state, or by its power where it publishes no state.
    pub fn is_producing(&self) -> Option<bool> {
        /// AC power over rated power below which nothing is produced [-].
        const IDLE_RATIO: f64 = 0.003;
        self.state
            .map(State::is_producing)
            .or(self.load_ratio.map(|load| load > IDLE_RATIO))
    }
}

/// Which limit acted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum TripCause {
    /// The ten-minute mean of the voltage.
    SustainedOverVoltage,
    /// A short over-voltage.
    OverVoltage,
    /// Under-voltage or a lost phase.
    UnderVoltage,
    /// Frequency too high.
    OverFrequency,
    /// Frequency too low.
    UnderFrequency,
    /// No supply at all.
    SupplyLost,
    /// Too fast for the polls.
    NotVisible,
}

/// A disconnection, with what is known about it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TripReport {
    /// Weights of the causes, largest first; they sum to 1.
    pub causes: Vec<(TripCause, f64)>,
    /// Last highest and lowest phase voltage before it [V].
    pub voltage_before_v: Option<(f64, f64)>,
    /// Last frequency before it [Hz].
    pub frequency_before_hz: Option<f64>,
    /// Mean of the highest phase over the ten minutes before it [V].
    pub mean_v: Option<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Extremes {
    highest_v: f64,
    lowest_v: f64,
    /// The lowest that the highest phase came to: with no supply all phases are gone.
    lowest_of_highest_v: f64,
    highest_hz: f64,
    lowest_hz: f64,
    bits: u32,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Pending {
    began: Time,
    polls: u32,
    reported: bool,
    seen: Extremes,
    mean_v: Option<f64>,
    before_v: Option<(f64, f64)>,
    before_hz: Option<f64>,
}

/// Watches the supply of one inverter.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct SupplyWatch {
    was_producing: bool,
    before_v: Option<(f64, f64)>,
    before_hz: Option<f64>,
    bins: VecDeque<(Time, f64, u32)>,
    pending: Option<Pending>,
}

impl SupplyWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// One poll. `lit`: whether the array had light enough to produce.
    pub fn poll(
        &mut self,
        at: Time,
        poll: &Poll,
        lit: bool,
        limits: &GridLimits,
    ) -> Vec<Edge<TripReport>> {
        let Some(producing) = poll.is_producing() else {
            return Vec::new();
        };
        if producing {
            let edges = self.reconnected(at, limits);
            self.remember(at, poll);
            self.was_producing = true;
            return edges;
        }
        if self.was_producing && lit && self.pending.is_none() {
            self.pending = Some(self.start(at));
        }
        self.was_producing = false;
        self.off(at, poll, lit, limits).into_iter().collect()
    }

    fn remember(&mut self, at: Time, poll: &Poll) {
        self.before_v = poll.highest_v.zip(poll.lowest_v);
        self.before_hz = poll.frequency_hz;
        let Some(v) = poll.highest_v else { return };
        let bin = at.slot_start(BIN);
        match self.bins.back_mut() {
            Some((start, sum, count)) if *start == bin => {
                *sum += v;
                *count += 1;
            }
            _ => self.bins.push_back((bin, v, 1)),
        }
        while self
            .bins
            .front()
            .is_some_and(|(start, ..)| at - *start > MEAN_OVER)
        {
            self.bins.pop_front();
        }
    }

    fn start(&self, at: Time) -> Pending {
        let (sum, count) = self
            .bins
            .iter()
            .fold((0.0, 0), |(s, n), (_, sum, c)| (s + sum, n + c));
        let seen = Extremes {
            highest_v: self.before_v.map_or(f64::MIN, |(high, _)| high),
            lowest_v: self.before_v.map_or(f64::MAX, |(_, low)| low),
            lowest_of_highest_v: f64::MAX,
            highest_hz: self.before_hz.unwrap_or(f64::MIN),
            lowest_hz: self.before_hz.unwrap_or(f64::MAX),
            bits: 0,
        };
        Pending {
            began: at,
            polls: 0,
            reported: false,
            seen,
            mean_v: (count > 0).then(|| sum / f64::from(count)),
            before_v: self.before_v,
            before_hz: self.before_hz,
        }
    }

    fn off(
        &mut self,
        at: Time,
        poll: &Poll,
        lit: bool,
        limits: &GridLimits,
    ) -> Option<Edge<TripReport>> {
        let pending = self.pending.as_mut()?;
        pending.polls += 1;
        pending.see(poll);
        if !lit && !pending.reported {
            // Dusk, not the supply.
            self.pending = None;
            return None;
        }
        if pending.reported || at - pending.began < REPORT_AFTER || pending.polls < POLLS_OFF {
            return None;
        }
        let report = pending.report(limits);
        // Still off with a good supply and nothing that points to it: the inverter's own matter.
        if report
            .causes
            .first()
            .is_none_or(|(cause, _)| *cause == TripCause::NotVisible)
        {
            self.pending = None;
            return None;
        }
        pending.reported = true;
        Some(Edge::Found {
            began: pending.began,
            found: at,
            seen: report,
        })
    }

    fn reconnected(&mut self, at: Time, limits: &GridLimits) -> Vec<Edge<TripReport>> {
        let Some(pending) = self.pending.take() else {
            return Vec::new();
        };
        let ended = Edge::Ended { at };
        if pending.reported {
            return vec![ended];
        }
        if pending.polls < POLLS_OFF || pending.is_own_stop() {
            return Vec::new();
        }
        let seen = pending.report(limits);
        vec![
            Edge::Found {
                began: pending.began,
                found: at,
                seen,
            },
            ended,
        ]
    }
}

impl Pending {
    fn see(&mut self, poll: &Poll) {
        let seen = &mut self.seen;
        seen.highest_v = seen.highest_v.max(poll.highest_v.unwrap_or(f64::MIN));
        seen.lowest_v = seen.lowest_v.min(poll.lowest_v.unwrap_or(f64::MAX));
        let highest_now = poll.highest_v.unwrap_or(f64::MAX);
        seen.lowest_of_highest_v = seen.lowest_of_highest_v.min(highest_now);
        seen.highest_hz = seen.highest_hz.max(poll.frequency_hz.unwrap_or(f64::MIN));
        // An inverter off the supply may publish zero; that is no frequency.
        let hz = poll.frequency_hz.filter(|f| *f > 1.0);
        seen.lowest_hz = seen.lowest_hz.min(hz.unwrap_or(f64::MAX));
        seen.bits |= poll.event_bits.unwrap_or(0.0) as u32;
    }

    fn bit(&self, bit: EventBit) -> bool {
        bit.is_set(f64::from(self.seen.bits))
    }

    /// Stopped by a hand, a fault of its own or the array: not the supply's doing.
    fn is_own_stop(&self) -> bool {
        use EventBit::*;
        let own = [
            GroundFault,
            DcOverVoltage,
            DcDisconnect,
            ManualShutdown,
            OverTemperature,
            BlownStringFuse,
            HardwareTestFailure,
        ];
        own.into_iter().any(|bit| self.bit(bit))
    }

    fn report(&self, limits: &GridLimits) -> TripReport {
        let mut weights = if self.is_own_stop() {
            Vec::new()
        } else {
            self.weights(limits)
        };
        weights.push((TripCause::NotVisible, 0.05));
        weights.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        let total: f64 = weights.iter().map(|(_, w)| w).sum();
        TripReport {
            causes: weights
                .into_iter()
                .map(|(cause, w)| (cause, w / total))
                .collect(),
            voltage_before_v: self.before_v,
            frequency_before_hz: self.before_hz,
            mean_v: self.mean_v,
        }
    }

    /// A bit outweighs a value at its limit (engineering judgement: the weights order the causes, they
    /// are no measured probabilities).
    fn weights(&self, limits: &GridLimits) -> Vec<(TripCause, f64)> {
        use EventBit::*;
        const BIT: f64 = 3.0;
        const VALUE: f64 = 1.0;
        let seen = &self.seen;
        let weight = |bit: bool, value: bool| {
            f64::from(u8::from(bit)) * BIT + f64::from(u8::from(value)) * VALUE
        };
        let lost = seen.lowest_of_highest_v < NO_SUPPLY_RATIO * limits.nominal_voltage.v();
        let sustained = limits
            .sustained_over_voltage
            .zip(self.mean_v)
            .is_some_and(|(limit, mean)| mean >= limit.v() - NEAR_MEAN_V);
        let over_v = limits
            .over_voltage
            .first()
            .map_or(f64::MAX, |l| l.limit.v());
        let under_v = limits
            .under_voltage
            .first()
            .map_or(f64::MIN, |l| l.limit.v());
        let over_hz = limits
            .over_frequency
            .first()
            .map_or(f64::MAX, |l| l.limit.hz());
        let under_hz = limits
            .under_frequency
            .first()
            .map_or(f64::MIN, |l| l.limit.hz());
        let over_bit = self.bit(AcOverVoltage);
        let weights = [
            (
                TripCause::SustainedOverVoltage,
                weight(over_bit && sustained, sustained),
            ),
            (
                TripCause::OverVoltage,
                weight(over_bit && !sustained, seen.highest_v >= over_v - NEAR_V),
            ),
            (
                TripCause::UnderVoltage,
                weight(
                    self.bit(AcUnderVoltage),
                    !lost && seen.lowest_v <= under_v + NEAR_V,
                ),
            ),
            (
                TripCause::OverFrequency,
                weight(
                    self.bit(OverFrequency),
                    seen.highest_hz >= over_hz - NEAR_HZ,
                ),
            ),
            (
                TripCause::UnderFrequency,
                weight(
                    self.bit(UnderFrequency),
                    seen.lowest_hz <= under_hz + NEAR_HZ,
                ),
            ),
            (
                TripCause::SupplyLost,
                weight(self.bit(GridDisconnect) || self.bit(AcDisconnect), lost),
            ),
        ];
        weights.into_iter().filter(|(_, w)| *w > 0.0).collect()
    }
}
