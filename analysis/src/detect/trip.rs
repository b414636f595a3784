//! What made an inverter let go of the supply, judged from what was seen before and meanwhile.
//!
//! A bit outweighs a value at its limit; the limits are those that the inverter publishes, else those
//! of the site's rules. Stops that the supply did not cause are known by their bits, by a command that
//! takes all power, by an inverter that says that it sleeps, and by there having been hardly any power
//! before. Where nothing is seen on this inverter, its neighbours tell the network from a branch.
//! Source:  classes and their signs REFERENCE E.4; the weights are engineering judgement.
//! Check:   tests/acceptance/engine/supply.rs
//! Never in here: when to tell (`supply`).

use super::reconnection::{Reconnecting, Reconnection};
use super::supply::Poll;
use super::trip_pattern::Together;
use crate::plant::{EventBit, GridLimits, State};
use crate::reading::Time;
use serde::{Deserialize, Serialize};

/// How near to a limit the last polled value counts as at it [V], [Hz]: polls miss the peak.
const NEAR_V: f64 = 3.0;
const NEAR_MEAN_V: f64 = 1.5;
const NEAR_HZ: f64 = 0.2;
/// Phase voltage over nominal below which there is no supply [-].
const NO_SUPPLY_RATIO: f64 = 0.2;
/// Phase voltages over nominal that show, at one time, a phase that is gone beside one that is there, and
/// a neutral that is: then the phases share the voltage between them by their loads [-].
const PHASE_GONE_RATIO: f64 = 0.22; // 50 V of 230 V
const PHASE_THERE_RATIO: f64 = 0.8;
const DISPLACED_RATIO: f64 = 1.2;
/// A power limit in force over rated power from which all power was taken by command [-].
const COMMANDED_OFF_RATIO: f64 = 0.01;

/// Which limit acted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum TripCause {
    /// The ten-minute mean of the voltage.
    SustainedOverVoltage,
    /// A short over-voltage.
    OverVoltage,
    /// Under-voltage.
    UnderVoltage,
    /// One phase gone, the others there.
    PhaseLost,
    /// One phase low while another is far too high: the neutral is open.
    NeutralLost,
    /// Frequency too high.
    OverFrequency,
    /// Frequency too low.
    UnderFrequency,
    /// No supply at all.
    SupplyLost,
    /// No supply at this inverter while others of the site have theirs.
    BranchOpen,
    /// Too fast for the polls, on all inverters of the site at once.
    NetworkNotVisible,
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
    /// The limit that the leading cause is at, in force on this inverter [V] or [Hz].
    pub limit: Option<f64>,
    /// How many inverters let go together.
    pub together: Together,
    /// How it came back, where it is told at reconnection.
    pub reconnection: Option<Reconnection>,
}

/// What the other inverters of the site show of the supply, at one poll.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Neighbours {
    /// Whether one of them has voltage; `None` where none has lately answered.
    pub have_supply: Option<bool>,
    /// How many let go with this one.
    pub together: Together,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Extremes {
    pub(super) highest_v: f64,
    pub(super) lowest_v: f64,
    /// The lowest that the highest phase came to: with no supply all phases are gone.
    pub(super) lowest_of_highest_v: f64,
    pub(super) highest_hz: f64,
    pub(super) lowest_hz: f64,
    pub(super) bits: u32,
    /// Seen at one time: a phase gone beside one that is there; a phase low beside one too high.
    pub(super) phase_gone: bool,
    pub(super) displaced: bool,
    /// While this inverter had no supply another had.
    pub(super) only_here: bool,
    /// Longest wait that it published [s].
    pub(super) waits_s: Option<f64>,
    /// All power taken by command.
    pub(super) commanded_off: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Pending {
    pub(super) began: Time,
    pub(super) polls: u32,
    pub(super) reported: bool,
    pub(super) seen: Extremes,
    pub(super) mean_v: Option<f64>,
    pub(super) before_v: Option<(f64, f64)>,
    pub(super) before_hz: Option<f64>,
    /// Whether there was hardly any power before, or the inverter says that it sleeps.
    pub(super) wants_light: bool,
    pub(super) together: Together,
    pub(super) reconnecting: Reconnecting,
}

impl Pending {
    pub(super) fn see(
        &mut self,
        at: Time,
        poll: &Poll,
        neighbours: Neighbours,
        limits: &GridLimits,
    ) {
        self.together = neighbours.together;
        self.reconnecting.see(at, poll, limits);
        let nominal_v = limits.nominal_voltage.v();
        let seen = &mut self.seen;
        seen.look_at_phases(poll.highest_v.zip(poll.lowest_v), nominal_v);
        let is_dark = poll
            .highest_v
            .is_some_and(|v| v < NO_SUPPLY_RATIO * nominal_v);
        seen.only_here |= is_dark && neighbours.have_supply == Some(true);
        let waits_s = poll.reconnect_wait_s.filter(|s| *s > 0.0);
        seen.waits_s = seen.waits_s.into_iter().chain(waits_s).reduce(f64::max);
        let command = poll.power_limit_ratio;
        seen.commanded_off |= command.is_some_and(|ratio| ratio <= COMMANDED_OFF_RATIO);
        seen.highest_v = seen.highest_v.max(poll.highest_v.unwrap_or(f64::MIN));
        seen.lowest_v = seen.lowest_v.min(poll.lowest_v.unwrap_or(f64::MAX));
        let highest_now = poll.highest_v.unwrap_or(f64::MAX);
        seen.lowest_of_highest_v = seen.lowest_of_highest_v.min(highest_now);
        seen.highest_hz = seen.highest_hz.max(poll.frequency_hz.unwrap_or(f64::MIN));
        // An inverter off the supply may publish zero; that is no frequency.
        let hz = poll.frequency_hz.filter(|f| *f > 1.0);
        seen.lowest_hz = seen.lowest_hz.min(hz.unwrap_or(f64::MAX));
        seen.bits |= poll.event_bits.unwrap_or(0.0) as u32;
        self.wants_light |= poll.state == Some(State::Sleeping);
    }

    fn bit(&self, bit: EventBit) -> bool {
        bit.is_set(f64::from(self.seen.bits))
    }

    /// Stopped by a hand, a fault of its own or the array: not the supply's doing.
    pub(super) fn is_own_stop(&self) -> bool {
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

    /// Stopped under a dark cloud or by command, with a supply that was there and no bit that says
    /// otherwise.
    pub(super) fn is_without_cause_in_supply(&self, limits: &GridLimits) -> bool {
        use EventBit::*;
        let supply = [
            AcDisconnect,
            GridDisconnect,
            OverFrequency,
            UnderFrequency,
            AcOverVoltage,
            AcUnderVoltage,
        ];
        let by_supply = supply.into_iter().any(|bit| self.bit(bit)) || self.has_no_supply(limits);
        (self.wants_light || self.seen.commanded_off) && !by_supply
    }

    fn has_no_supply(&self, limits: &GridLimits) -> bool {
        self.seen.lowest_of_highest_v < NO_SUPPLY_RATIO * limits.nominal_voltage.v()
    }

    pub(super) fn report(
        &self,
        limits: &GridLimits,
        reconnection: Option<Reconnection>,
    ) -> TripReport {
        let mut weights = if self.is_own_stop() {
            Vec::new()
        } else {
            self.weights(limits)
        };
        let unseen = match self.together.is_whole_site() {
            Some(true) => TripCause::NetworkNotVisible,
            _ => TripCause::NotVisible,
        };
        weights.push((unseen, 0.05));
        weights.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        let total: f64 = weights.iter().map(|(_, w)| w).sum();
        let leading = weights.first().map(|(cause, _)| *cause);
        TripReport {
            limit: leading.and_then(|cause| limit_of(cause, limits)),
            together: self.together,
            reconnection,
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
        /// What all phases or a neighbour show at once is a fact and no trace of one.
        const SEEN: f64 = 5.0;
        let seen = &self.seen;
        let weight = |bit: bool, value: bool| {
            f64::from(u8::from(bit)) * BIT + f64::from(u8::from(value)) * VALUE
        };
        let lost = self.has_no_supply(limits);
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
            // What the phases show together is more than that one of them is low.
            (
                TripCause::PhaseLost,
                weight(self.bit(AcUnderVoltage) && seen.phase_gone, seen.phase_gone) * SEEN,
            ),
            (
                TripCause::NeutralLost,
                weight(over_bit && seen.displaced, seen.displaced) * SEEN * SEEN,
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
            (
                TripCause::BranchOpen,
                weight(self.bit(AcDisconnect) && seen.only_here, seen.only_here) * SEEN,
            ),
        ];
        weights.into_iter().filter(|(_, w)| *w > 0.0).collect()
    }
}

impl Extremes {
    /// What the phases show at one time, from the highest and the lowest.
    pub(super) fn look_at_phases(&mut self, phases_v: Option<(f64, f64)>, nominal_v: f64) {
        let Some((highest_v, lowest_v)) = phases_v else {
            return;
        };
        let is_there = highest_v >= PHASE_THERE_RATIO * nominal_v;
        self.phase_gone |= is_there && lowest_v < PHASE_GONE_RATIO * nominal_v;
        self.displaced |=
            highest_v >= DISPLACED_RATIO * nominal_v && lowest_v < PHASE_THERE_RATIO * nominal_v;
    }
}

/// The limit that a cause is told by, the mildest of several.
fn limit_of(cause: TripCause, limits: &GridLimits) -> Option<f64> {
    match cause {
        TripCause::SustainedOverVoltage => limits.sustained_over_voltage.map(|v| v.v()),
        TripCause::OverVoltage => limits.over_voltage.first().map(|l| l.limit.v()),
        TripCause::UnderVoltage => limits.under_voltage.first().map(|l| l.limit.v()),
        TripCause::OverFrequency => limits.over_frequency.first().map(|l| l.limit.hz()),
        TripCause::UnderFrequency => limits.under_frequency.first().map(|l| l.limit.hz()),
        TripCause::PhaseLost
        | TripCause::NeutralLost
        | TripCause::SupplyLost
        | TripCause::BranchOpen
        | TripCause::NetworkNotVisible
        | TripCause::NotVisible => None,
    }
}
