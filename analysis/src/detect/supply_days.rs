//! What many days say about the supply of an inverter: its resistance slowly, how far its own export
//! lifts the voltage, whether the network is high by itself, whether a joint is going bad.
//!
//! Model:   rise at rated export = r I_rated                                                eq. (1)
//!          export at the limit = phases V_lim (V_lim - V0) / r                             eq. (2)
//!          heat in a joint at rated export = (r - r_baseline) I_rated^2                    eq. (3)
//! Symbols: r [ohm], I_rated [A] of a phase with all that shares it, V0 [V] the voltage
//!          without export, V_lim [V] the limit of the ten-minute mean
//! Range:   resistances from three good days on, compared with a baseline of the first five.
//! Source:  rules and thresholds REFERENCE E.4 (2 % of nominal: practice of network operators);
//!          what is marked below is engineering judgement.
//! Check:   tests/acceptance/engine/export.rs: worked numbers, operating curves, quiet months.
//! Never in here: single polls.

use super::Edge;
use super::export_day::ExportDay;
use super::phase_days::{DaysMean, Phase, PhaseLearned};
use crate::expected::{Known, SupplyNumber};
use crate::plant::GridLimits;
use crate::reading::{SolarDay, Time};
use serde::{Deserialize, Serialize};

/// Rise at rated export over nominal voltage [-]: where it begins, and where it has ended.
const RISE_RATIO: f64 = 0.02;
const RISE_OVER_RATIO: f64 = 0.018;
/// Standard deviations that a rise must be above its limit (engineering judgement).
const RISE_SIGMAS: f64 = 2.0;
/// Resistance over baseline, and standard deviations above it, under which a change has ended [-]
/// (engineering judgement).
const CHANGE_OVER_RATIO: f64 = 1.1;
const CHANGE_OVER_SIGMAS: f64 = 1.5;
/// Voltage without export over the sustained limit from which the network is high, and under which
/// it is not [-]: 250 V and 248 V of 258 V.
const NETWORK_HIGH_RATIO: f64 = 250.0 / 258.0;
const NETWORK_GOOD_RATIO: f64 = 248.0 / 258.0;
/// Days of the last seven on which it was high before it is said.
const HIGH_DAYS: usize = 3;

/// Which of two makes the voltage high.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum HighBecause {
    /// The network, also without export.
    Network,
    /// The own export over the service cable and the network's impedance.
    OwnExport,
}

/// Voltage high at the inverter.
#[derive(Debug, Clone, PartialEq)]
pub struct VoltageHigh {
    /// The leading cause with its weight [-]; the other has the rest.
    pub because: (HighBecause, f64),
    /// Phase from 1: with the largest rise, or the highest without export.
    pub phase: usize,
    /// Resistance of that phase, where it is known.
    pub resistance: Option<DaysMean>,
    /// Rise at rated export of the site [V] and over nominal [-].
    pub rise: Option<(f64, f64)>,
    /// Exceeded for half an hour of a day, on the highest of the last days: without export, and as
    /// measured [V].
    pub without_export_v: Option<f64>,
    /// As measured [V].
    pub measured_v: Option<f64>,
    /// Limit of the ten-minute mean [V].
    pub limit_v: f64,
    /// Export of the site at which that limit is reached [W]; 0 where the network is over it.
    pub export_at_limit_w: Option<f64>,
}

/// Resistance of a phase above its baseline.
#[derive(Debug, Clone, PartialEq)]
pub struct ResistanceHigh {
    /// Phase from 1.
    pub phase: usize,
    /// Now.
    pub now: DaysMean,
    /// At first.
    pub baseline: DaysMean,
    /// Least change of the other phases over their baselines [-], where they are known.
    pub others_ratio: Option<f64>,
    /// Heat in a joint that has the difference, at rated export [W], eq. (3).
    pub heat_w: f64,
}

/// What has begun or ended.
#[derive(Debug, Clone, PartialEq)]
pub enum SupplyEdge {
    /// Voltage high.
    Voltage(Edge<VoltageHigh>),
    /// A joint going bad.
    Resistance(Edge<ResistanceHigh>),
}

/// What is remembered of one inverter's supply.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct SupplyDays {
    phases: [Phase; 3],
    network_is_high: bool,
    rise_is_high: bool,
    /// While it stands: which phase, and how many days it took to tell.
    resistance_is_high: Option<(usize, usize)>,
}

/// What is fixed about the supply of an inverter.
#[derive(Debug, Clone, Copy)]
pub struct SupplyFacts<'a> {
    /// Limits in force.
    pub limits: &'a GridLimits,
    /// Phases of the inverter.
    pub phases: usize,
    /// Current of a phase with all that shares it at rated power [A].
    pub rated_a: f64,
}

impl SupplyDays {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// What is known of the resistance of a phase, from 0 [ohm].
    pub fn known_ohm(&self, phase: usize) -> Option<f64> {
        self.phases[phase].lately().map(|mean| mean.ohm)
    }

    /// The day `day` is over and has shown this; it is `now`.
    pub fn close_day(
        &mut self,
        (day, now): (SolarDay, Time),
        shown: &ExportDay,
        facts: &SupplyFacts,
    ) -> Vec<SupplyEdge> {
        let grows = self.resistance_is_high.is_none();
        for (phase, shown) in self.phases.iter_mut().zip(&shown.phases) {
            phase.take(day, shown, facts, grows);
        }
        let voltage = self.voltage(now, facts).map(SupplyEdge::Voltage);
        let resistance = self.resistance(now, facts).map(SupplyEdge::Resistance);
        voltage.into_iter().chain(resistance).collect()
    }

    fn voltage(&mut self, now: Time, facts: &SupplyFacts) -> Option<Edge<VoltageHigh>> {
        let nominal_v = facts.limits.nominal_voltage.v();
        let limit_v = sustained_limit_v(facts.limits)?;
        let phases = &self.phases[..facts.phases];
        let rise = |p: &Phase| p.lately().map_or(0.0, |m| rise_v(m.ohm, facts.rated_a));
        let by_rise = largest(phases, rise)?;
        let by_network = largest(phases, |p| p.without_export_v().unwrap_or(0.0))?;
        let network_v = NETWORK_HIGH_RATIO * limit_v;
        let high_days = phases[by_network].days_over(network_v);
        let network = high_days >= if self.network_is_high { 1 } else { HIGH_DAYS };
        let (sigmas, ratio) = if self.rise_is_high {
            (0.0, RISE_OVER_RATIO)
        } else {
            (RISE_SIGMAS, RISE_RATIO)
        };
        let least_v = |m: DaysMean| rise_v(m.ohm - sigmas * m.sigma_ohm, facts.rated_a);
        let lately = phases[by_rise].lately();
        let rises = lately.is_some_and(|m| least_v(m) > ratio * nominal_v);
        let stood = self.network_is_high || self.rise_is_high;
        (self.network_is_high, self.rise_is_high) = (network, rises);
        if !rises && !network {
            return stood.then_some(Edge::Ended { at: now });
        }
        let phases = &self.phases[..facts.phases];
        let without_v = phases[by_network].without_export_v();
        let is_good = without_v.is_some_and(|v| v < NETWORK_GOOD_RATIO * limit_v);
        // Engineering judgement: both at once share the blame, the network first.
        let because = match (network, rises) {
            (true, true) => (HighBecause::Network, 0.6),
            (true, false) => (HighBecause::Network, 0.9),
            (false, _) if is_good => (HighBecause::OwnExport, 0.8),
            (false, _) => (HighBecause::OwnExport, 0.6),
        };
        let at = if network { by_network } else { by_rise };
        let began = phases[at].began(network.then_some(network_v))?;
        let phase = &phases[at];
        let resistance = phase.lately();
        let without_export_v = phase.without_export_v();
        Some(Edge::Found {
            began,
            found: now,
            seen: VoltageHigh {
                because,
                phase: at + 1,
                resistance,
                rise: resistance.map(|m| {
                    let volts = rise_v(m.ohm, facts.rated_a);
                    (volts, volts / nominal_v)
                }),
                without_export_v,
                measured_v: phase.measured_v(),
                limit_v,
                export_at_limit_w: resistance
                    .zip(without_export_v)
                    .and_then(|(m, v0)| export_at_limit_w(facts.phases, limit_v, v0, m.ohm)),
            },
        })
    }

    /// As many days as it took to tell must show that it is over; what no day of the last month shows,
    /// because another inverter of the site is silent, say, nobody can assert any more.
    fn resistance_is_over(&self) -> bool {
        let Some((phase, days)) = self.resistance_is_high else {
            return false;
        };
        let beside = self.phases[phase].beside_baseline(days);
        beside
            .is_none_or(|(ratio, sigmas)| ratio < CHANGE_OVER_RATIO || sigmas < CHANGE_OVER_SIGMAS)
    }

    /// What is known of the resistance of a phase lately and at first, by phase from 0: the resistance,
    /// and where it was measured reactive over active current.
    pub fn learned(&self) -> Vec<(usize, SupplyNumber, Known, Known)> {
        let mut all = Vec::new();
        for (n, phase) in self.phases.iter().enumerate() {
            let Some(PhaseLearned { now, baseline }) = phase.learned() else {
                continue;
            };
            let known = |value, sigma, mean: DaysMean, (from, to)| Known {
                value,
                sigma,
                from,
                to,
                days: mean.days,
            };
            let ohm = |(mean, days): (DaysMean, _)| known(mean.ohm, mean.sigma_ohm, mean, days);
            all.push((n, SupplyNumber::Resistance, ohm(now), ohm(baseline)));
            let ratios = now
                .0
                .reactive_per_active
                .zip(baseline.0.reactive_per_active);
            all.extend(ratios.map(|(lately, first)| {
                let lately = known(lately, 0.0, now.0, now.1);
                let first = known(first, 0.0, baseline.0, baseline.1);
                (n, SupplyNumber::Reactive, lately, first)
            }));
        }
        all
    }

    /// Takes over a baseline that an earlier run has kept; of one phase the resistance first.
    pub fn recall(&mut self, phase: usize, of: SupplyNumber, baseline: &Known) {
        let Some(phase) = self.phases.get_mut(phase) else {
            return;
        };
        match of {
            SupplyNumber::Resistance => {
                let mean = DaysMean {
                    ohm: baseline.value,
                    sigma_ohm: baseline.sigma,
                    days: baseline.days,
                    // Which were not kept.
                    steps: 0,
                    reactive_per_active: None,
                };
                phase.recall(mean, baseline.to);
            }
            SupplyNumber::Reactive => phase.recall_reactive(baseline.value),
        }
    }

    fn resistance(&mut self, now: Time, facts: &SupplyFacts) -> Option<Edge<ResistanceHigh>> {
        if self.resistance_is_over() {
            self.resistance_is_high = None;
            return Some(Edge::Ended { at: now });
        }
        let ratios: Vec<Option<f64>> = self.phases[..facts.phases]
            .iter()
            .map(Phase::ratio)
            .collect();
        let worst = largest(&ratios, |ratio| ratio.unwrap_or(0.0))?;
        let phase = &self.phases[worst];
        let change = phase.changed()?;
        let others = ratios.iter().enumerate().filter(|(p, _)| *p != worst);
        let others_ratio = others
            .map(|(_, ratio)| *ratio)
            .reduce(|a, b| Some(a?.min(b?)))
            .flatten();
        let days = self.resistance_is_high.map_or(0, |(_, days)| days);
        self.resistance_is_high = Some((worst, days.max(change.now.days)));
        Some(Edge::Found {
            began: change.began,
            found: now,
            seen: ResistanceHigh {
                phase: worst + 1,
                now: change.now,
                baseline: change.baseline,
                others_ratio,
                heat_w: (change.now.ohm - change.baseline.ohm) * facts.rated_a.powi(2),
            },
        })
    }
}

/// Rise of the voltage [V] at a current [A].
pub fn rise_v(ohm: f64, amps: f64) -> f64 {
    ohm * amps // eq. (1)
}

/// Eq. (2) [W]; 0 where the limit is passed without any export, `None` where the export does not
/// lift the voltage.
fn export_at_limit_w(phases: usize, limit_v: f64, without_v: f64, ohm: f64) -> Option<f64> {
    if without_v >= limit_v {
        return Some(0.0);
    }
    (ohm > 0.0).then(|| phases as f64 * limit_v * (limit_v - without_v) / ohm)
}

/// The limit of the ten-minute mean, or the mildest over-voltage limit where the rules have none.
fn sustained_limit_v(limits: &GridLimits) -> Option<f64> {
    let mildest = limits.over_voltage.first().map(|l| l.limit);
    limits.sustained_over_voltage.or(mildest).map(|v| v.v())
}

fn largest<T>(of: &[T], number: impl Fn(&T) -> f64) -> Option<usize> {
    // The first of equals.
    (0..of.len())
        .rev()
        .max_by(|a, b| number(&of[*a]).total_cmp(&number(&of[*b])))
}

#[cfg(test)]
#[path = "supply_days_tests.rs"]
mod tests;
