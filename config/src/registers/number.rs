//! What a register's number is and means: kind, scale or tables, values that are not available.
//! Never in here: addresses, or other registers.

use super::check::{given, value};
use super::raw;
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

/// States and event bits come from tables, everything else is a number.
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
    let (states, bits) = (quantity == Quantity::State, quantity == Quantity::EventBits);
    let mut right = table_belongs(raw, ("states", states, name), &raw.states, problems);
    right &= table_belongs(raw, ("bits", bits, name), &raw.bits, problems);
    if states || bits {
        // A default stands where its table stands.
        let written = |key| raw_scale(raw, key).filter(|found| found.span != raw.at().span);
        for key in ["scale", "offset"] {
            if let Some(found) = written(key) {
                let wanted = format!("no such key with channel = {name:?}");
                let text = found.value.to_string();
                problems.add(
                    Fault::Contradiction,
                    &found.span,
                    raw.at().key(key),
                    text,
                    wanted,
                );
                right = false;
            }
        }
    }
    if let (true, Some(kind), Some(found)) = (states || bits, kind, &raw.r#type)
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
        right = false;
    }
    if !right {
        return None;
    }
    if states {
        return given(&raw.states).map(|table| Meaning::States(table.0.clone()));
    }
    if bits {
        let (table, span) = (given(&raw.bits)?, raw.bits.as_ref()?.span.clone());
        let has = kind?.bits();
        if let Some((place, _)) = table.0.iter().find(|(place, _)| **place >= has) {
            let wanted = format!("bits from 0 to {}, since the value has {has}", has - 1);
            let path = raw.at().key("bits");
            problems.add(
                Fault::OutOfRange,
                &span,
                path,
                format!("bit {place}"),
                wanted,
            );
            return None;
        }
        return Some(Meaning::Bits(table.0.clone()));
    }
    let scale = raw.scale.as_ref()?;
    if scale.value == 0.0 {
        let path = raw.at().key("scale");
        problems.add(
            Fault::OutOfRange,
            &scale.span,
            path,
            "0",
            "a number other than 0",
        );
        return None;
    }
    let (scale, offset) = (scale.value, *value(&raw.offset)?);
    Some(Meaning::Number { scale, offset })
}

fn raw_scale<'a>(raw: &'a raw::Register, key: &str) -> Option<&'a Found<f64>> {
    match key {
        "scale" => raw.scale.as_ref(),
        _ => raw.offset.as_ref(),
    }
}

/// Whether a table is there where the channel wants it, and nowhere else.
fn table_belongs<T>(
    raw: &raw::Register,
    (key, is_wanted, channel): (&str, bool, &str),
    field: &Option<Found<T>>,
    problems: &mut Problems<'_>,
) -> bool {
    let at = raw.at();
    match (field, is_wanted) {
        (Some(_), true) | (None, false) => true,
        (None, true) => {
            let wanted = format!("[register.{key}], since channel = {channel:?}");
            problems.add(
                Fault::MissingKey,
                &at.span,
                at.key(key),
                "no such key",
                wanted,
            );
            false
        }
        (Some(field), false) => {
            let wanted = format!("no such table with channel = {channel:?}");
            problems.add(
                Fault::Contradiction,
                &field.span,
                at.key(key),
                "a table",
                wanted,
            );
            false
        }
    }
}

pub(super) fn sentinels(
    raw: &raw::Register,
    kind: NumberKind,
    problems: &mut Problems<'_>,
) -> Option<Vec<Sentinel>> {
    let Some(found) = &raw.not_available else {
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
            let path = raw.at().key("not_available");
            let wanted = "a number that the register can hold, before scale and offset";
            problems.add(Fault::OutOfRange, &found.span, path, text, wanted);
            return None;
        }
    }
    Some(found.value.0.clone())
}
