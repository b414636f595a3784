//! Where every missing watt-hour went, hour by hour and inverter by inverter.
//!
//! Model:   expected = measured + sum over limits + sum over kinds of finding + not recorded +
//!          unexplained, exactly; `unexplained` is what is left and may be negative.
//!          In a slot the shortfall s = max(expected - measured, 0) goes to the findings that stand:
//!          device findings take all of it, input findings at most what their input missed while no
//!          limit held it back. What is left goes to the limits that acted: all of it to the
//!          inverter's; to an input's own at most what that input missed.
//!          Expected is what there would be without shade: shade that is known is no part of what the
//!          chain expects, so it is added here and booked as shade, as far as it is missing; with it
//!          goes what findings of shade miss beyond it.
//!          Expected power ends at rated power. What the peaks of all inputs would give above that
//!          is counted beside the balance, while the inverter was at rated power.
//! Symbols: energies [Wh] on the AC side.
//! Range:   slots with an expected AC power; others are no part of the balance.
//! Source:  own.
//! Check:   tests/acceptance/engine/ledger.rs: the balance of any slots and findings.

use crate::array::Limit;
use crate::detect::{Gate, InputSlot, InverterSlot, Kind, Slot};
use crate::diagnose::Finding;
use crate::plant::{Inverter, Plant};
use crate::reading::{Energy, Power, Span, Time};
use std::collections::BTreeMap;

/// One hour of one inverter.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Start of the hour, UTC.
    pub hour: Time,
    /// Index of the inverter in the plant.
    pub inverter: usize,
    /// What the weather would have given.
    pub expected: Energy,
    /// What was measured.
    pub measured: Energy,
    /// Held back, by limit.
    pub limited: BTreeMap<Limit, Energy>,
    /// What the array could have given above rated power; no part of the balance.
    pub above_rated: Energy,
    /// Lost to findings, by kind.
    pub findings: BTreeMap<Kind, Energy>,
    /// Expected while nothing was recorded.
    pub not_recorded: Energy,
    /// The rest.
    pub unexplained: Energy,
}

/// Kinds of finding that cost energy, in the order of the ledger's columns.
pub const COSTLY: [Kind; 10] = [
    Kind::InverterOff,
    Kind::IsolationLow,
    Kind::ResidualCurrentHigh,
    Kind::GridTrip,
    Kind::Snow,
    Kind::InputDead,
    Kind::StringOpen,
    Kind::CurrentLow,
    Kind::Shade,
    Kind::Soiling,
];

/// The ledger of slots in order of time.
pub fn hourly(plant: &Plant, slots: &[Slot], findings: &[Finding]) -> Vec<Entry> {
    let hour_of = |slot: &Slot| slot.start.slot_start(Span::from_h(1));
    let mut entries = Vec::new();
    for hour in slots.chunk_by(|a, b| hour_of(a) == hour_of(b)) {
        for inverter in 0..plant.inverters.len() {
            let mut entry = Entry::new(hour_of(&hour[0]), inverter);
            for slot in hour {
                entry.add(plant, slot, findings);
            }
            if entry.expected.wh() != 0.0 || entry.measured.wh() != 0.0 {
                entries.push(entry);
            }
        }
    }
    entries
}

impl Entry {
    fn new(hour: Time, inverter: usize) -> Self {
        let zero = Energy::from_wh(0.0);
        Self {
            hour,
            inverter,
            expected: zero,
            measured: zero,
            limited: BTreeMap::new(),
            above_rated: zero,
            findings: BTreeMap::new(),
            not_recorded: zero,
            unexplained: zero,
        }
    }

    fn add(&mut self, plant: &Plant, slot: &Slot, findings: &[Finding]) {
        let now = &slot.inverters[self.inverter];
        let Some(chain_wh) = now.expected_ac_power.map(|p| (p * slot.span).wh()) else {
            return;
        };
        let shade_wh = now.shade_ac_power.map_or(0.0, |p| (p * slot.span).wh());
        let expected = chain_wh + shade_wh;
        grow(&mut self.expected, expected);
        let Some(measured) = now.ac_power.map(|p| (p * slot.span).wh()) else {
            grow(&mut self.not_recorded, expected);
            return;
        };
        grow(&mut self.measured, measured);
        let missing = expected - measured;
        let mut left = missing.max(0.0);
        for kind in COSTLY {
            let of_known = if kind == Kind::Shade { shade_wh } else { 0.0 };
            let told = standing(plant, self.inverter, slot, findings, kind, now);
            let share = (told + of_known).min(left);
            if share > 0.0 {
                left -= share;
                grow_entry(&mut self.findings, kind, share);
            }
        }
        left -= self.add_limited(now, slot.span, left);
        grow(&mut self.unexplained, missing.min(0.0) + left);
        if now.limit == Some(Limit::RatedPower) {
            let of = &plant.inverters[self.inverter];
            let above_w = offered_ac_w(of, now).map_or(0.0, |w| w - of.rated_ac.w());
            let above = Power::from_w(above_w.max(0.0)) * slot.span;
            grow(&mut self.above_rated, above.wh());
        }
    }

    /// Books what limits account for in a slot, at most `most_wh`, and says how much [Wh].
    fn add_limited(&mut self, now: &InverterSlot, span: Span, most_wh: f64) -> f64 {
        if let Some(limit) = now.limit {
            grow_entry(&mut self.limited, limit, most_wh);
            return most_wh;
        }
        let mut booked = 0.0;
        for (k, input) in now.inputs.iter().enumerate() {
            // A slot from before limits had names has only its gate.
            let is_held = input.gate == Gate::Limited;
            let limit = input.limit.or(is_held.then_some(Limit::NotTold));
            if let Some(limit) = limit {
                let share = missing_wh(now, k, span).min(most_wh - booked);
                grow_entry(&mut self.limited, limit, share);
                booked += share;
            }
        }
        booked
    }

    /// Held back by all limits together.
    pub fn limited_total(&self) -> Energy {
        // An empty sum of floats is -0.
        Energy::from_wh(self.limited.values().fold(0.0, |sum, e| sum + e.wh()))
    }
}

fn grow(energy: &mut Energy, by_wh: f64) {
    *energy = Energy::from_wh(energy.wh() + by_wh);
}

fn grow_entry<K: Ord>(energies: &mut BTreeMap<K, Energy>, key: K, by_wh: f64) {
    grow(energies.entry(key).or_insert(Energy::from_wh(0.0)), by_wh);
}

/// The most that findings of one kind can have cost an inverter in a slot [Wh].
fn standing(
    plant: &Plant,
    inverter: usize,
    slot: &Slot,
    findings: &[Finding],
    kind: Kind,
    now: &InverterSlot,
) -> f64 {
    let of = &plant.inverters[inverter];
    let stands = |f: &&Finding| {
        let over = f.ended.is_some_and(|end| end <= slot.start);
        f.kind == kind && f.subject.device == of.id && f.began < slot.start + slot.span && !over
    };
    let cost = |f: &Finding| match f.subject.input {
        None => f64::INFINITY,
        Some(number) => {
            let k = of.inputs.iter().position(|input| input.number == number);
            let held_back = |k: &usize| now.inputs[*k].is_held_back(now.limit);
            k.filter(|k| !held_back(k))
                .map_or(0.0, |k| missing_wh(now, k, slot.span))
        }
    };
    findings.iter().filter(stands).map(cost).sum()
}

/// AC power of all inputs at their peaks, as if the inverter could pass on any power [W].
fn offered_ac_w(of: &Inverter, now: &InverterSlot) -> Option<f64> {
    let all_w: Option<f64> = now.inputs.iter().map(expected_w).sum();
    Some(of.ac_without_limit(Power::from_w(all_w?)).w())
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
