//! What made an inverter let go of the supply, judged from what was seen before and meanwhile.
//!
//! A bit outweighs a value at its limit; the limits are those of the site's rules. Stops that the
//! supply did not cause are known by their bits, by an inverter that says that it sleeps, and by
//! there having been hardly any power before.
//! Never in here: when to tell (`supply`).

use super::supply::Poll;
use crate::plant::{EventBit, GridLimits, State};
use crate::reading::Time;
use serde::{Deserialize, Serialize};

/// How near to a limit the last polled value counts as at it [V], [Hz]: polls miss the peak.
const NEAR_V: f64 = 3.0;
const NEAR_MEAN_V: f64 = 1.5;
const NEAR_HZ: f64 = 0.2;
/// Phase voltage over nominal below which there is no supply [-].
const NO_SUPPLY_RATIO: f64 = 0.2;

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
pub(super) struct Extremes {
    pub(super) highest_v: f64,
    pub(super) lowest_v: f64,
    /// The lowest that the highest phase came to: with no supply all phases are gone.
    pub(super) lowest_of_highest_v: f64,
    pub(super) highest_hz: f64,
    pub(super) lowest_hz: f64,
    pub(super) bits: u32,
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
}

impl Pending {
    pub(super) fn see(&mut self, poll: &Poll) {
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

    /// Stopped under a dark cloud, with a supply that was there and no bit that says otherwise.
    pub(super) fn is_for_want_of_light(&self, limits: &GridLimits) -> bool {
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
        self.wants_light && !by_supply
    }

    fn has_no_supply(&self, limits: &GridLimits) -> bool {
        self.seen.lowest_of_highest_v < NO_SUPPLY_RATIO * limits.nominal_voltage.v()
    }

    pub(super) fn report(&self, limits: &GridLimits) -> TripReport {
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
