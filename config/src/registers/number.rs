//! What a register's number is and means: kind, scale or tables, values that are not available.
//! Never in here: addresses, or other registers.

use super::check::given;
use super::meaning::{self, MeaningKeys};
use super::raw;
use super::shapes::Sentinels;
use super::{Function, Meaning, NumberKind, Sentinel};
use crate::problem::{Fault, Problems};
use crate::table::{Found, Table};
use analysis::reading::Quantity;

/// Whether an inverter works, and what it reports, is asked of every poll.
const AT_EVERY_POLL: [Quantity; 3] = [Quantity::AcPower, Quantity::State, Quantity::EventBits];

/// Which kind of number stands in a register, as far as the function allows it.
pub(super) fn kind(
    raw: &raw::Register,
    function: Function,
    problems: &mut Problems<'_>,
) -> Option<NumberKind> {
    let at = raw.at();
    let is_bit = matches!(function, Function::Coil | Function::DiscreteInput);
    let Some(found) = &raw.r#type else {
        if is_bit {
            return Some(NumberKind::Bit);
        }
        let wanted = "u16 | i16 | u32 | i32 | u64 | i64 | f32 | f64, since registers are read";
        problems.add(
            Fault::MissingKey,
            &at.span,
            at.key("type"),
            "no such key",
            wanted,
        );
        return None;
    };
    let word = found.value.0.as_deref()?;
    let kind = match word {
        "bit" => NumberKind::Bit,
        "u16" => NumberKind::U16,
        "i16" => NumberKind::I16,
        "u32" => NumberKind::U32,
        "i32" => NumberKind::I32,
        "u64" => NumberKind::U64,
        "i64" => NumberKind::I64,
        "f32" => NumberKind::F32,
        _ => NumberKind::F64,
    };
    if is_bit == (kind == NumberKind::Bit) {
        return Some(kind);
    }
    let wanted = match is_bit {
        true => "bit, since coils and discrete inputs are single bits",
        false => "a type of registers; for bits in a register u16 or u32 with [register.bits]",
    };
    let text = format!("text {word:?}");
    problems.add(
        Fault::Contradiction,
        &found.span,
        at.key("type"),
        text,
        wanted,
    );
    None
}

/// What the number of a register is, and whether its type can say that.
pub(super) fn meaning(
    raw: &raw::Register,
    quantity: Quantity,
    kind: Option<NumberKind>,
    problems: &mut Problems<'_>,
) -> Option<Meaning> {
    let name = quantity.name();
    if let Some(every_s) = &raw.every_s
        && AT_EVERY_POLL.contains(&quantity)
    {
        let wanted = format!("no such key with channel = {name:?}, which is judged poll by poll");
        let (path, text) = (raw.at().key("every_s"), format!("{} s", every_s.value));
        problems.add(Fault::Contradiction, &every_s.span, path, text, wanted);
        return None;
    }
    let keys = MeaningKeys {
        at: raw.at(),
        table: "register",
        scale: &raw.scale,
        offset: &raw.offset,
        states: &raw.states,
        bits: &raw.bits,
    };
    let meaning = meaning::meaning(&keys, quantity, problems);
    let is_table = matches!(quantity, Quantity::State | Quantity::EventBits);
    if let (true, Some(kind), Some(found)) = (is_table, kind, &raw.r#type)
        && !kind.is_whole()
    {
        let wanted = format!("a whole number, since channel = {name:?}");
        let text = format!("text {:?}", given(&raw.r#type).map_or("", String::as_str));
        problems.add(
            Fault::Contradiction,
            &found.span,
            raw.at().key("type"),
            text,
            wanted,
        );
        return None;
    }
    let meaning = meaning?;
    if let (Meaning::Bits(bits), Some(found)) = (&meaning, &raw.bits) {
        let has = kind?.bits();
        if let Some(place) = bits.keys().find(|place| **place >= has) {
            let wanted = format!("bits from 0 to {}, since the value has {has}", has - 1);
            let (path, text) = (raw.at().key("bits"), format!("bit {place}"));
            problems.add(Fault::OutOfRange, &found.span, path, text, wanted);
            return None;
        }
    }
    Some(meaning)
}

/// Those of a key that the register can hold.
pub(super) fn sentinels(
    (key, found): (String, &Option<Found<Sentinels>>),
    kind: NumberKind,
    problems: &mut Problems<'_>,
) -> Option<Vec<Sentinel>> {
    let Some(found) = found else {
        return Some(Vec::new());
    };
    for sentinel in &found.value.0 {
        let can_be = match sentinel {
            Sentinel::Whole(whole) if kind.is_whole() => {
                let bits = u32::from(kind.bits());
                *whole >= -(1i128 << (bits - 1)) && *whole < (1i128 << bits)
            }
            Sentinel::Whole(_) => true,
            Sentinel::Float(_) => !kind.is_whole(),
        };
        if !can_be {
            let text = match sentinel {
                Sentinel::Whole(whole) => whole.to_string(),
                Sentinel::Float(float) => float.to_string(),
            };
            let wanted = "a number that the register can hold, before scale and offset";
            problems.add(Fault::OutOfRange, &found.span, key, text, wanted);
            return None;
        }
    }
    Some(found.value.0.clone())
}
