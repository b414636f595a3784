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
use super::phase_days::{DaysMean, Phase};
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
    resistance_is_high: bool,
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

    /// What is known of the resistance of each phase [ohm].
    pub fn known_ohm(&self) -> [Option<f64>; 3] {
        self.phases.each_ref().map(|p| p.lately().map(|m| m.ohm))
    }

    /// The day `day` is over and has shown this; it is `now`.
    pub fn close_day(
        &mut self,
        (day, now): (SolarDay, Time),
        shown: &ExportDay,
        facts: &SupplyFacts,
    ) -> Vec<SupplyEdge> {
        for (phase, shown) in self.phases.iter_mut().zip(&shown.phases) {
            phase.take(day, shown, facts);
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

    fn resistance(&mut self, now: Time, facts: &SupplyFacts) -> Option<Edge<ResistanceHigh>> {
        let ratios: Vec<Option<f64>> = self.phases[..facts.phases]
            .iter()
            .map(Phase::ratio)
            .collect();
        let worst = largest(&ratios, |ratio| ratio.unwrap_or(0.0))?;
        let ratio = ratios[worst]?;
        let phase = &self.phases[worst];
        let is_over = ratio < CHANGE_OVER_RATIO || phase.excess_sigmas()? < CHANGE_OVER_SIGMAS;
        if self.resistance_is_high && is_over {
            self.resistance_is_high = false;
            return Some(Edge::Ended { at: now });
        }
        let change = phase.changed()?;
        let others = ratios.iter().enumerate().filter(|(p, _)| *p != worst);
        let others_ratio = others
            .map(|(_, ratio)| *ratio)
            .reduce(|a, b| Some(a?.min(b?)))
            .flatten();
        self.resistance_is_high = true;
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
mod tests {
    use super::super::export_day::Mean;
    use super::*;
    use crate::plant::VoltageLimit;
    use crate::reading::{Frequency, Span, Voltage};

    fn limits() -> GridLimits {
        let over = VoltageLimit {
            limit: Voltage::from_v(265.0),
            within: Span::from_s(2),
        };
        GridLimits {
            rules: "test".to_owned(),
            nominal_voltage: Voltage::from_v(230.0),
            nominal_frequency: Frequency::from_hz(50.0),
            under_voltage: Vec::new(),
            over_voltage: vec![over],
            sustained_over_voltage: Some(Voltage::from_v(258.0)),
            under_frequency: Vec::new(),
            over_frequency: Vec::new(),
            volt_watt: Vec::new(),
            enter_service: None,
        }
    }

    /// A day of clouds over a supply of one phase, with so much reactive current for every ampere.
    fn shown(ohm: f64, reactive_per_active: f64) -> ExportDay {
        let mean = |n: i64| {
            let amps = 15.0 + 10.0 * (n as f64 * 0.8).sin();
            Mean {
                start: Time::from_unix_ms(n * 60_000),
                volts: 230.0 + ohm * amps,
                amps,
                reactive_a: Some(reactive_per_active * amps),
                is_producing: true,
            }
        };
        let mut day = ExportDay::default();
        for n in 0..300 {
            day.add(0, &mean(n), 36.0, None, Span::from_min(1));
            day.step(0, &mean(n), &mean(n + 1), 36.0);
        }
        day
    }

    /// Edges of resistance after five days of the first and four of the second.
    fn edges(first: ExportDay, then: ExportDay) -> usize {
        let limits = limits();
        let facts = SupplyFacts {
            limits: &limits,
            phases: 1,
            rated_a: 36.0,
        };
        let mut supply = SupplyDays::new();
        let mut count = 0;
        for n in 0..9 {
            let shown = if n < 5 { &first } else { &then };
            let day = SolarDay::from_number(n);
            let now = Time::from_unix_ms(n * 86_400_000);
            let edges = supply.close_day((day, now), shown, &facts);
            let is_resistance = |e: &&SupplyEdge| matches!(e, SupplyEdge::Resistance(_));
            count += edges.iter().filter(is_resistance).count();
        }
        count
    }

    /// Told on the third of the days that have changed, and on the next.
    #[test]
    fn a_change_is_told_unless_the_reactive_power_has_been_set_another_way() {
        assert_eq!(edges(shown(0.1, 0.0), shown(0.14, 0.0)), 2);
        assert_eq!(edges(shown(0.1, -0.3), shown(0.14, -0.3)), 2);
        assert_eq!(edges(shown(0.1, -0.3), shown(0.14, 0.0)), 0);
        assert_eq!(edges(shown(0.1, 0.0), shown(0.11, 0.0)), 0);
    }

    #[test]
    fn what_export_the_limit_leaves() {
        // 8 V over 0.08 ohm are 100 A on each of three phases.
        let left = export_at_limit_w(3, 258.0, 250.0, 0.08).expect("it rises");
        assert!((left - 77_400.0).abs() < 1e-6, "{left}");
        assert_eq!(export_at_limit_w(3, 258.0, 259.0, 0.08), Some(0.0));
        assert_eq!(export_at_limit_w(3, 258.0, 250.0, 0.0), None);
    }
}
