//! Where every missing watt-hour went, hour by hour and inverter by inverter.
//!
//! Model:   expected = measured + sum over limits + sum over kinds of finding + outage +
//!          not recorded + unexplained, exactly; `unexplained` is what is left and may be negative.
//!          In a slot the shortfall s = max(expected - measured, 0) goes to the findings that stand,
//!          in the order of `Kind::costly`: those that stop an inverter take all of it while that
//!          does not produce and nothing while it does; those on an input at most what the input
//!          missed while no limit held it back, a tracker off its peak also where the limit has no
//!          name; those on the conversion at most what is missing between the two sides. What is left goes to the limits that acted: all of it to the
//!          inverter's; to an input's own at most what that input missed; without a limit to an
//!          outage, if the inverter stood still in the light.
//!          Expected is what there would be without shade: shade that is known is no part of what the
//!          chain expects, so it is added here and booked as shade, as far as it is missing; with it
//!          goes what findings of shade miss beyond it.
//!          Expected power ends at rated power. What the peaks of all inputs would give above that
//!          is counted beside the balance, while the inverter was at rated power.
//! Symbols: energies [Wh] on the AC side.
//! Range:   slots with an expected AC power; what is produced in others (dusk and dawn, a light that
//!          nothing shows) is no part of the balance and counted beside it.
//! Source:  own.
//! Check:   tests/acceptance/engine/ledger.rs: the balance of any slots and findings.

use super::Entry;
use crate::array::Limit;
use crate::detect::{Cost, Gate, InputSlot, InverterSlot, Kind, Slot};
use crate::diagnose::Finding;
use crate::plant::{Inverter, Plant};
use crate::reading::{Energy, Power, Span, Time};
use std::collections::BTreeMap;

/// The ledger as slots go by: no more than an hour is held.
#[derive(Debug)]
pub struct Hours<'a> {
    plant: &'a Plant,
    findings: &'a [Finding],
    open: Option<Hour<'a>>,
}

/// The hour that is being filled.
#[derive(Debug)]
struct Hour<'a> {
    start: Time,
    /// One for each inverter.
    entries: Vec<Entry>,
    /// By inverter, what can cost it something in this hour or later.
    findings: Vec<Vec<&'a Finding>>,
}

/// What one slot of one inverter may be charged to.
struct Charge<'a> {
    of: &'a Inverter,
    now: &'a InverterSlot,
    span: Span,
    /// What of the shortfall has no name yet [Wh].
    left_wh: f64,
    /// What each input missed, and may still be charged [Wh].
    inputs_wh: Vec<f64>,
}

/// The ledger of slots in order of time.
pub fn hourly(plant: &Plant, slots: &[Slot], findings: &[Finding]) -> Vec<Entry> {
    let mut hours = Hours::new(plant, findings);
    let mut entries: Vec<Entry> = slots.iter().flat_map(|slot| hours.add(slot)).collect();
    entries.extend(hours.finish());
    entries
}

impl<'a> Hours<'a> {
    /// The ledger of a plant on which this was found.
    pub fn new(plant: &'a Plant, findings: &'a [Finding]) -> Self {
        Self {
            plant,
            findings,
            open: None,
        }
    }

    /// Takes the next slot in order of time; gives the hour before, if that is over.
    pub fn add(&mut self, slot: &Slot) -> Vec<Entry> {
        let start = slot.start.slot_start(Span::from_h(1));
        let over = self.open.take_if(|hour| hour.start != start);
        let hour = self
            .open
            .get_or_insert_with(|| Hour::new(self.plant, self.findings, start));
        let standing = hour.entries.iter_mut().zip(&hour.findings);
        for (entry, findings) in standing {
            add(entry, self.plant, slot, findings);
        }
        over.map(Hour::close).unwrap_or_default()
    }

    /// The last hour.
    pub fn finish(self) -> Vec<Entry> {
        self.open.map(Hour::close).unwrap_or_default()
    }
}

impl<'a> Hour<'a> {
    fn new(plant: &Plant, findings: &'a [Finding], start: Time) -> Self {
        let can_cost = |f: &&Finding| {
            let over = f.ended.is_some_and(|end| end <= start);
            f.kind.cost() != Cost::Nothing && !over
        };
        let of = |inverter: &Inverter| {
            let own = |f: &&Finding| f.subject.device == inverter.id;
            findings.iter().filter(can_cost).filter(own).collect()
        };
        let inverters = 0..plant.inverters.len();
        Self {
            start,
            entries: inverters.map(|i| Entry::new(start, i)).collect(),
            findings: plant.inverters.iter().map(of).collect(),
        }
    }

    fn close(self) -> Vec<Entry> {
        let counts = |e: &Entry| {
            let energies = [e.expected, e.measured, e.not_compared];
            energies.iter().any(|energy| energy.wh() != 0.0)
        };
        self.entries.into_iter().filter(counts).collect()
    }
}

fn add(entry: &mut Entry, plant: &Plant, slot: &Slot, findings: &[&Finding]) {
    let now = &slot.inverters[entry.inverter];
    let Some(in_shade) = now.expected_ac_power.map(|p| (p * slot.span).wh()) else {
        // What an inverter takes from the supply by night is not produced.
        let produced = now.ac_power.map_or(0.0, |p| (p * slot.span).wh());
        grow(&mut entry.not_compared, produced.max(0.0));
        return;
    };
    let shade = now.shade_ac_power.map_or(0.0, |p| (p * slot.span).wh());
    let expected = in_shade + shade;
    grow(&mut entry.expected, expected);
    let Some(measured) = now.ac_power.map(|p| (p * slot.span).wh()) else {
        grow(&mut entry.not_recorded, expected);
        return;
    };
    grow(&mut entry.measured, measured);
    let missing = expected - measured;
    let of = &plant.inverters[entry.inverter];
    let mut charge = Charge::new(of, now, slot.span, missing.max(0.0));
    // Where nothing is missing, or nothing stands, there is nothing to charge.
    let is_charged = charge.left_wh > 0.0 && (shade > 0.0 || !findings.is_empty());
    for kind in Kind::costly().take_while(|_| is_charged) {
        if kind == Kind::Shade && shade > 0.0 {
            grow_entry(&mut entry.findings, kind, charge.take_at_most(shade));
        }
        for finding in findings.iter().filter(|f| f.kind == kind) {
            let over = finding.ended.is_some_and(|end| end <= slot.start);
            if over || finding.began >= slot.start + slot.span {
                continue;
            }
            let share = charge.take(finding);
            if share > 0.0 {
                grow_entry(&mut entry.findings, kind, share);
            }
        }
    }
    let mut left = charge.left_wh;
    if now.is_down() && now.limit.is_none() {
        grow(&mut entry.outage, left);
        left = 0.0;
    }
    left -= add_limited(entry, now, slot.span, left);
    grow(&mut entry.unexplained, missing.min(0.0) + left);
    if now.limit == Some(Limit::RatedPower) {
        let above_w = offered_ac_w(of, now).map_or(0.0, |w| w - of.rated_ac.w());
        let above = Power::from_w(above_w.max(0.0)) * slot.span;
        grow(&mut entry.above_rated, above.wh());
    }
}

impl<'a> Charge<'a> {
    fn new(of: &'a Inverter, now: &'a InverterSlot, span: Span, left_wh: f64) -> Self {
        Self {
            of,
            now,
            span,
            left_wh,
            inputs_wh: (0..now.inputs.len())
                .map(|k| missing_wh(now, k, span))
                .collect(),
        }
    }

    /// Charges a finding with what it can have cost, and says how much [Wh].
    fn take(&mut self, finding: &Finding) -> f64 {
        let Some(number) = finding.subject.input else {
            return self.take_whole(finding.kind);
        };
        let k = self.of.inputs.iter().position(|i| i.number == number);
        k.map_or(0.0, |k| self.take_input(k, finding.kind))
    }

    /// Of a finding on the inverter as a whole.
    fn take_whole(&mut self, kind: Kind) -> f64 {
        let most = match kind.cost() {
            Cost::Standstill | Cost::Cover if self.now.producing == Some(true) => 0.0,
            Cost::Standstill | Cost::Cover => f64::INFINITY,
            Cost::Input | Cost::Slow => {
                let inputs = 0..self.inputs_wh.len();
                return inputs.map(|k| self.take_input(k, kind)).sum();
            }
            Cost::Conversion => converted_less_wh(self.of, self.now, self.span),
            Cost::Nothing => 0.0,
        };
        self.take_at_most(most)
    }

    /// Takes what has no name yet, at most this, and says how much [Wh].
    fn take_at_most(&mut self, most_wh: f64) -> f64 {
        let share = most_wh.min(self.left_wh);
        self.left_wh -= share;
        share
    }

    fn take_input(&mut self, k: usize, kind: Kind) -> f64 {
        if self
            .now
            .inputs
            .get(k)
            .is_none_or(|i| i.is_spared(kind, self.now.limit))
        {
            return 0.0;
        }
        let share = self.take_at_most(self.inputs_wh[k]);
        self.inputs_wh[k] -= share;
        share
    }
}

/// Books what limits account for in a slot, at most `most_wh`, and says how much [Wh].
fn add_limited(entry: &mut Entry, now: &InverterSlot, span: Span, most_wh: f64) -> f64 {
    if let Some(limit) = now.limit {
        grow_entry(&mut entry.limited, limit, most_wh);
        return most_wh;
    }
    let mut booked = 0.0;
    for (k, input) in now.inputs.iter().enumerate() {
        // A slot from before limits had names has only its gate.
        let is_held = input.gate == Gate::Limited;
        let limit = input.limit.or(is_held.then_some(Limit::NotTold));
        if let Some(limit) = limit {
            let share = missing_wh(now, k, span).min(most_wh - booked);
            grow_entry(&mut entry.limited, limit, share);
            booked += share;
        }
    }
    booked
}

fn grow(energy: &mut Energy, by_wh: f64) {
    *energy = Energy::from_wh(energy.wh() + by_wh);
}

fn grow_entry<K: Ord>(energies: &mut BTreeMap<K, Energy>, key: K, by_wh: f64) {
    grow(energies.entry(key).or_insert(Energy::from_wh(0.0)), by_wh);
}

/// AC power of all inputs at their peaks, as if the inverter could pass on any power [W].
fn offered_ac_w(of: &Inverter, now: &InverterSlot) -> Option<f64> {
    let all_w: Option<f64> = now.inputs.iter().map(expected_w).sum();
    Some(of.ac_without_limit(Power::from_w(all_w?)).w())
}

/// What is missing between the power measured on the DC side and that on the AC side [Wh].
fn converted_less_wh(of: &Inverter, now: &InverterSlot, span: Span) -> f64 {
    let both = now.dc_power().zip(now.ac_power);
    let less_w = both.map_or(0.0, |(dc, ac)| of.ac_from_dc(dc).w() - ac.w());
    (Power::from_w(less_w.max(0.0)) * span).wh()
}

fn expected_w(input: &InputSlot) -> Option<f64> {
    input.expected.map(|e| (e.voltage * e.current).w())
}

/// What an input misses, brought to the AC side.
fn missing_wh(now: &InverterSlot, k: usize, span: Span) -> f64 {
    let input = &now.inputs[k];
    let all_w: f64 = now.inputs.iter().filter_map(expected_w).sum();
    let through = now
        .expected_ac_power
        .filter(|_| all_w > 0.0)
        .map_or(0.0, |ac| ac.w() / all_w);
    let measured = input.voltage.zip(input.current).map(|(v, a)| (v * a).w());
    let missing_w = expected_w(input)
        .zip(measured)
        .map_or(0.0, |(e, m)| (e - m).max(0.0));
    (Power::from_w(missing_w * through) * span).wh()
}
