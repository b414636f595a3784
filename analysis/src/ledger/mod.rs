//! Where every missing watt-hour went, hour by hour and inverter by inverter.
//!
//! Model:   expected = measured + limited + sum over kinds of finding + not recorded + unexplained,
//!          exactly; `unexplained` is what is left and may be negative.
//!          In a slot the shortfall s = max(expected - measured, 0) goes to the findings that stand:
//!          device findings take all of it, input findings at most what their input missed while no
//!          limit held it back. What is left goes to the limit if one acted.
//! Symbols: energies [Wh] on the AC side.
//! Range:   slots with an expected AC power; others are no part of the balance.
//! Source:  own.
//! Check:   tests/acceptance/engine/ledger.rs: the balance of any slots and findings.

use crate::detect::{Gate, InputSlot, InverterSlot, Kind, Slot};
use crate::diagnose::Finding;
use crate::plant::Plant;
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
    /// Held back by a limit: clipping, export, a command.
    pub limited: Energy,
    /// Lost to findings, by kind.
    pub findings: BTreeMap<Kind, Energy>,
    /// Expected while nothing was recorded.
    pub not_recorded: Energy,
    /// The rest.
    pub unexplained: Energy,
}

/// Kinds of finding that cost energy, in the order of the ledger's columns.
pub const COSTLY: [Kind; 8] = [
    Kind::InverterOff,
    Kind::IsolationLow,
    Kind::ResidualCurrentHigh,
    Kind::GridTrip,
    Kind::Snow,
    Kind::InputDead,
    Kind::StringOpen,
    Kind::CurrentLow,
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
            limited: zero,
            findings: BTreeMap::new(),
            not_recorded: zero,
            unexplained: zero,
        }
    }

    fn add(&mut self, plant: &Plant, slot: &Slot, findings: &[Finding]) {
        let now = &slot.inverters[self.inverter];
        let Some(expected) = now.expected_ac_power.map(|p| (p * slot.span).wh()) else {
            return;
        };
        grow(&mut self.expected, expected);
        let Some(measured) = now.ac_power.map(|p| (p * slot.span).wh()) else {
            grow(&mut self.not_recorded, expected);
            return;
        };
        grow(&mut self.measured, measured);
        let missing = expected - measured;
        let mut left = missing.max(0.0);
        for kind in COSTLY {
            let share = standing(plant, self.inverter, slot, findings, kind, now).min(left);
            if share > 0.0 {
                left -= share;
                grow(
                    self.findings.entry(kind).or_insert(Energy::from_wh(0.0)),
                    share,
                );
            }
        }
        if now.inputs.iter().any(|input| input.gate == Gate::Limited) {
            grow(&mut self.limited, left);
            left = 0.0;
        }
        grow(&mut self.unexplained, missing.min(0.0) + left);
    }
}

fn grow(energy: &mut Energy, by_wh: f64) {
    *energy = Energy::from_wh(energy.wh() + by_wh);
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
            k.map_or(0.0, |k| missing_wh(now, k, slot.span))
        }
    };
    findings.iter().filter(stands).map(cost).sum()
}

/// What an input misses, brought to the AC side; nothing while a limit holds it back.
fn missing_wh(now: &InverterSlot, k: usize, span: Span) -> f64 {
    let input = &now.inputs[k];
    if input.gate == Gate::Limited {
        return 0.0;
    }
    let expected_w = |input: &InputSlot| input.expected.map(|e| (e.voltage * e.current).w());
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
