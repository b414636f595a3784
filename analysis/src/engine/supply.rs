//! The supply beyond a single trip: polls to the watchers of patterns and of the own export, and
//! what they say into the book.
//! Never in here: rules and thresholds (`detect`).

use super::Engine;
use super::polls::DeviceValues;
use crate::detect::{
    Edge, ExportPoll, ExportSite, Exporter, Kind, Neighbours, PatternEdge, PatternPoll, Poll,
    SupplyEdge, SupplyFacts, Together, TripReport,
};
use crate::diagnose::{Subject, explain_supply};
use crate::expected::{Learned, LearnedOf};
use crate::plant::{Inverter, Plant};
use crate::reading::{Channel, Place, Quantity, Span, Time};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Inverters that let go within this time and the jitter of their polls do so together.
const TOGETHER_WITHIN: Span = Span::from_s(5);
/// A trip is told up to ten minutes after it began.
const LETTING_GO_KEPT: Span = Span::from_min(20);
/// Phase voltage over nominal from which a neighbour has its supply [-].
const NEIGHBOUR_HAS_SUPPLY_RATIO: f64 = 0.8;
/// Phase to neutral under which there is no voltage to speak of [V].
const LEAST_PHASE_V: f64 = 20.0;

const VOLTS: [Quantity; 3] = [
    Quantity::AcVoltageL1,
    Quantity::AcVoltageL2,
    Quantity::AcVoltageL3,
];
const AMPS: [Quantity; 3] = [
    Quantity::AcCurrentL1,
    Quantity::AcCurrentL2,
    Quantity::AcCurrentL3,
];

/// Which inverters have lately let go of the supply, and when.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct LettingGo(VecDeque<(Time, usize)>);

impl LettingGo {
    fn note(&mut self, at: Time, i: usize) {
        self.0.push_back((at, i));
        while self
            .0
            .front()
            .is_some_and(|(t, _)| at - *t > LETTING_GO_KEPT)
        {
            self.0.pop_front();
        }
    }
}

impl Engine {
    /// Trips of one inverter, once its supply watcher has seen the poll.
    pub(super) fn watch_trips(
        &mut self,
        i: usize,
        at: Time,
        lit: bool,
        trips: &[Edge<TripReport>],
    ) {
        let off_since = self.state.inverters[i].supply.off_since();
        if off_since == Some(at) {
            self.state.letting_go.note(at, i);
        }
        let began = trips.iter().find_map(|trip| match trip {
            Edge::Found { began, .. } => Some(*began),
            Edge::Ended { .. } => None,
        });
        let together = began.map_or(Together::default(), |began| self.together(i, began));
        let longitude_deg = self.plant.site.longitude.deg();
        let poll = PatternPoll {
            at,
            day: at.solar_day(longitude_deg),
            hour: began.unwrap_or(at).solar_hour(longitude_deg) as u8,
            producing: self.state.inverters[i].supply.is_producing(),
            lit_off: lit && off_since.is_some(),
        };
        let edges = self.state.inverters[i].trips.poll(&poll, trips, together);
        let device = &self.plant.inverters[i].id;
        for edge in edges {
            match edge {
                PatternEdge::Repeats {
                    began,
                    found,
                    seen,
                    again,
                } => {
                    let new = explain_supply::grid_trips_repeated(device, began, found, &seen);
                    self.state.book.keep(new, again);
                }
                PatternEdge::Ended { at, cause } => {
                    let class = explain_supply::trip_class(cause);
                    let (subject, kind) = (Subject::device(device), Kind::GridTripsRepeated);
                    self.state.book.end_class(&subject, kind, class, at);
                }
            }
        }
    }

    /// What the other inverters show while `i` is off; before it is, they have nothing to say.
    pub(super) fn neighbours(&self, i: usize, at: Time) -> Neighbours {
        let Some(began) = self.state.inverters[i].supply.off_since() else {
            return Neighbours::default();
        };
        let nominal_v = self.plant.site.grid_limits.nominal_voltage.v();
        let others = self.state.inverters.iter().enumerate();
        let seen = others.filter(|(j, _)| *j != i).filter_map(|(j, other)| {
            let fresh = TOGETHER_WITHIN + self.plant.inverters[j].every * 2;
            let is_now = |(t, _): &(Time, f64)| *t >= began && at - *t <= fresh;
            other.last_v.filter(is_now).map(|(_, v)| v)
        });
        Neighbours {
            have_supply: seen
                .map(|v| v >= NEIGHBOUR_HAS_SUPPLY_RATIO * nominal_v)
                .reduce(|a, b| a || b),
            together: self.together(i, began),
        }
    }

    /// How many inverters let go together with `i`, of those that were at work.
    fn together(&self, i: usize, began: Time) -> Together {
        let every = |j: usize| self.plant.inverters[j].every;
        let mut count = Together::default();
        for (j, watched) in self.state.inverters.iter().enumerate() {
            let within = TOGETHER_WITHIN + every(i).max(every(j));
            let is_near = |(at, who): &(Time, usize)| {
                *who == j && *at - began <= within && began - *at <= within
            };
            let let_go = j == i || self.state.letting_go.0.iter().any(is_near);
            count.off += u32::from(let_go);
            count.of += u32::from(let_go || watched.supply.is_producing());
        }
        count
    }

    /// The AC side of one inverter in one poll.
    pub(super) fn watch_export(&mut self, i: usize, at: Time, poll: &ExportPoll) {
        if self.roles.export.phases(i) == 0 {
            return;
        }
        let day = at.solar_day(self.plant.site.longitude.deg());
        let (site, inverters) = (&self.roles.export, &self.state.inverters);
        let known_ohm = |j: usize, phase| inverters[j].supply_days.known_ohm(phase);
        let over = self.state.export.poll(site, (i, at), day, poll, known_ohm);
        let Some((yesterday, days)) = over else {
            return;
        };
        for (j, shown) in days.iter().enumerate() {
            let Some(rated_a) = self.roles.export.rated_a(j) else {
                continue;
            };
            let facts = SupplyFacts {
                limits: &self.limits[j],
                phases: self.roles.export.phases(j),
                rated_a,
            };
            let watched = &mut self.state.inverters[j].supply_days;
            for edge in watched.close_day((yesterday, at), shown, &facts) {
                self.book_supply(j, edge);
            }
            let known = self.state.inverters[j].supply_days.learned();
            let learned = known.into_iter().map(|(phase, of, now, baseline)| Learned {
                of: LearnedOf::Supply(j, phase, of),
                now,
                baseline,
            });
            self.learned.extend(learned);
        }
    }

    fn book_supply(&mut self, j: usize, edge: SupplyEdge) {
        let device = &self.plant.inverters[j].id;
        let (kind, at) = match edge {
            SupplyEdge::Voltage(Edge::Found { began, found, seen }) => {
                let new = explain_supply::grid_voltage_high(device, began, found, &seen);
                return self.state.book.keep(new, false);
            }
            SupplyEdge::Resistance(Edge::Found { began, found, seen }) => {
                let new = explain_supply::supply_resistance_high(device, began, found, &seen);
                return self.state.book.keep(new, false);
            }
            SupplyEdge::Voltage(Edge::Ended { at }) => (Kind::GridVoltageHigh, at),
            SupplyEdge::Resistance(Edge::Ended { at }) => (Kind::SupplyResistanceHigh, at),
        };
        self.state.book.end(&Subject::device(device), kind, at);
    }
}

/// The inverters that publish voltage and export.
pub(super) fn export_site(plant: &Plant) -> ExportSite {
    let exporter = |inverter: &Inverter| {
        let has = |quantity| {
            let channel = Channel {
                device: inverter.id.clone(),
                place: Place::Device,
                quantity,
            };
            plant.channels.id(&channel).is_some()
        };
        let phases = usize::from(inverter.phases).min(3);
        let has_all = |of: &[Quantity; 3]| of.iter().take(phases).all(|q| has(*q));
        let nominal_v = plant.site.grid_limits.nominal_voltage.v();
        (has_all(&VOLTS) && (has_all(&AMPS) || has(Quantity::AcPower))).then_some(Exporter {
            phases,
            rated_a: inverter.rated_ac.w() / (phases as f64 * nominal_v),
        })
    };
    let every = plant.inverters.iter().map(|i| i.every).max();
    let exporters = plant.inverters.iter().map(exporter).collect();
    ExportSite::new(exporters, every.unwrap_or(Span::ZERO))
}

/// Voltages and active currents by phase. A current that is published has no sign and holds the
/// reactive part; without one all phases carry the same.
pub(super) fn export_poll(values: &DeviceValues, facts: &Poll, inverter: &Inverter) -> ExportPoll {
    let get = |quantity: Quantity| values.get(quantity);
    let producing = facts.is_producing() == Some(true);
    let volts = VOLTS.map(|q| get(q).filter(|v| *v > LEAST_PHASE_V));
    let phases = f64::from(inverter.phases);
    let per_phase = |power: f64, volts: f64| power / phases / volts;
    let reactive_w = get(Quantity::AcReactivePower);
    let reactive = |v: f64| reactive_w.map(|q| per_phase(q, v));
    let mut amps = [None; 3];
    for (phase, amps) in amps.iter_mut().enumerate() {
        let Some(v) = volts[phase] else { continue };
        let by_power = get(Quantity::AcPower).map(|p| per_phase(p, v));
        let active = |a: f64| match reactive(v) {
            // Noise of two meters: with less current than reactive current there is none left.
            Some(q) if a > q.abs() => (a * a - q * q).sqrt(),
            Some(_) => 0.0,
            None => a,
        };
        let measured = get(AMPS[phase]).map(active);
        *amps = if producing {
            measured.or(by_power)
        } else {
            // What a filter draws is no export.
            measured.or(by_power).map(|_| 0.0)
        };
    }
    ExportPoll {
        producing,
        volts,
        amps,
        reactive_a: volts[0].and_then(reactive),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::State;
    use crate::reading::{ApparentPower, DeviceId, Power, Resistance, Voltage};

    /// Polls of a three-phase inverter of 10 kW at 230 V.
    fn amps(state: State, values: &[(Quantity, f64)]) -> [Option<f64>; 3] {
        let inverter = Inverter {
            id: DeviceId::new("inv-1"),
            rated_ac: Power::from_w(10_000.0),
            max_apparent: ApparentPower::from_va(10_000.0),
            max_dc_voltage: Voltage::from_v(1000.0),
            start_voltage: Voltage::from_v(200.0),
            tracking_min: Voltage::from_v(160.0),
            tracking_max: Voltage::from_v(900.0),
            phases: 3,
            efficiency: Vec::new(),
            isolation_limit: Resistance::from_ohm(1e5),
            inputs: Vec::new(),
            derating: None,
            every: Span::from_s(10),
        };
        let volts = VOLTS.map(|q| (q, 230.0));
        let values: DeviceValues = volts.into_iter().chain(values.to_vec()).collect();
        let facts = Poll {
            state: Some(state),
            ..Poll::default()
        };
        export_poll(&values, &facts, &inverter).amps
    }

    #[test]
    fn current_is_what_is_published_less_its_reactive_part_else_power_over_phases_and_voltage() {
        let at_work = |values: &[_]| amps(State::Tracking, values);
        let measured = AMPS.map(|q| (q, 5.0));
        let power = (Quantity::AcPower, 2760.0);
        assert_eq!(at_work(&measured), [Some(5.0); 3]);
        assert_eq!(at_work(&[power]), [Some(4.0); 3]);
        // 2070 var on three phases of 230 V are 3 A: of 5 A 4 are active.
        let reactive = (Quantity::AcReactivePower, -2070.0);
        let both: Vec<_> = measured.into_iter().chain([reactive]).collect();
        assert_eq!(at_work(&both), [Some(4.0); 3]);
        assert_eq!(at_work(&[]), [None; 3]);
        assert_eq!(at_work(&[(Quantity::AcVoltageL2, 3.0), power])[1], None);
    }

    #[test]
    fn what_a_filter_draws_is_no_export() {
        let measured = AMPS.map(|q| (q, 0.6));
        assert_eq!(amps(State::Standby, &measured), [Some(0.0); 3]);
    }
}
