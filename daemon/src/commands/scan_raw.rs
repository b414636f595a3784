//! Registers of a device without open models, with every reading of them that may be a measurement.
//! Never in here: what they mean; only people with the device's list know that.

use super::scan::kind_name;
use crate::source::modbus::{MAX_REGISTERS, ModbusError, ReadOnlyClient, RegisterKind, Trouble};
use crate::source::registers::Raw;
use config::registers::{Encoding, NumberKind};
use std::io::{self, Write};

/// Shown where nothing is chosen.
const DEFAULT_COUNT: u16 = 60;
/// Devices refuse a whole block for one missing register, so blocks are small; what is refused is
/// asked for once more one by one.
const BLOCK: u16 = 10;
/// Magnitudes in which a measurement of a plant may stand in a floating-point register (common
/// practice): smaller ones than this and larger ones are mostly other numbers read wrongly.
const PLAUSIBLE_FLOAT: (f64, f64) = (1e-3, 1e9);
/// Whole numbers in two registers of which half is unused are likelier to be two of one register.
const PLAUSIBLE_WHOLE: f64 = 1e9;

/// Which registers are shown.
#[derive(Debug, Clone, Copy, Default)]
pub struct Wanted {
    /// First register, counted from 0.
    pub from: Option<u16>,
    /// How many.
    pub count: Option<u16>,
    /// Only this kind.
    pub kind: Option<RegisterKind>,
}

impl Wanted {
    /// Whether somebody has asked for certain registers.
    pub fn is_chosen(&self) -> bool {
        self.from.is_some() || self.count.is_some() || self.kind.is_some()
    }

    fn span(&self) -> (u16, u32) {
        let from = self.from.unwrap_or(0);
        let end = u32::from(from) + u32::from(self.count.unwrap_or(DEFAULT_COUNT));
        (from, end.min(0x1_0000))
    }

    fn kinds(&self) -> Vec<RegisterKind> {
        match self.kind {
            Some(kind) => vec![kind],
            None => vec![RegisterKind::Holding, RegisterKind::Input],
        }
    }
}

/// Registers in a row that answer.
pub(super) struct RawBlock {
    pub(super) kind: RegisterKind,
    pub(super) first: u16,
    pub(super) values: Vec<u16>,
}

pub(super) async fn raw_blocks(
    client: &mut ReadOnlyClient,
    wanted: &Wanted,
) -> Result<Vec<RawBlock>, ModbusError> {
    let (from, end) = wanted.span();
    let mut blocks = Vec::new();
    for kind in wanted.kinds() {
        let mut first = u32::from(from);
        while first < end {
            let count = BLOCK.min(MAX_REGISTERS).min((end - first) as u16);
            let start = first as u16;
            match client.registers(kind, start, count).await {
                Ok(values) => add(&mut blocks, kind, start, &values),
                Err(error) if error.trouble() == Trouble::Refused => {
                    // Who refuses a function, or is a gateway without the unit, refuses each one.
                    if wanted.is_chosen() && is_about_addresses(&error) {
                        one_by_one(client, kind, start, count, &mut blocks).await?;
                    }
                }
                Err(error) => return Err(error),
            }
            first += u32::from(count);
        }
    }
    Ok(blocks)
}

fn is_about_addresses(error: &ModbusError) -> bool {
    matches!(error, ModbusError::Refused { code: 2 | 3, .. })
}

async fn one_by_one(
    client: &mut ReadOnlyClient,
    kind: RegisterKind,
    first: u16,
    count: u16,
    blocks: &mut Vec<RawBlock>,
) -> Result<(), ModbusError> {
    for offset in 0..count {
        let address = first + offset;
        match client.registers(kind, address, 1).await {
            Ok(values) => add(blocks, kind, address, &values),
            Err(error) if error.trouble() == Trouble::Refused => {}
            Err(error) => return Err(error),
        }
    }
    Ok(())
}

/// Blocks that touch become one, so that numbers over their border are seen.
fn add(blocks: &mut Vec<RawBlock>, kind: RegisterKind, first: u16, values: &[u16]) {
    if let Some(last) = blocks.last_mut()
        && last.kind == kind
        && usize::from(last.first) + last.values.len() == usize::from(first)
    {
        last.values.extend(values);
        return;
    }
    blocks.push(RawBlock {
        kind,
        first,
        values: values.to_vec(),
    });
}

/// One line for each register, with the numbers that begin there.
pub(super) fn print_raw(
    blocks: &[RawBlock],
    wanted: &Wanted,
    out: &mut dyn Write,
) -> io::Result<()> {
    let (from, end) = wanted.span();
    let last = end - 1;
    let kinds: Vec<_> = wanted.kinds().into_iter().map(kind_name).collect();
    let kinds = kinds.join(" and ");
    if blocks.is_empty() {
        return writeln!(
            out,
            "  the device refuses {kinds} registers {from} to {last}"
        );
    }
    writeln!(
        out,
        "  {kinds} registers that answer among {from} to {last}, counted from 0, not interpreted.\n  \
         Numbers in two registers stand at the first of them, where they are plausible; \"low\" begins\n  \
         with the low register."
    )?;
    let (u32, i32, f32) = ("u32", "i32", "f32");
    writeln!(
        out,
        "  {:<16}{:>8}{:>8}{:>8}{u32:>12}{:>12}{i32:>12}{:>12}{f32:>12}{:>12}",
        "register", "hex", "u16", "i16", "u32 low", "i32 low", "f32 low"
    )?;
    for block in blocks {
        let kind = kind_name(block.kind);
        for (index, value) in block.values.iter().enumerate() {
            let address = usize::from(block.first) + index;
            let pair = block.values.get(index..index + 2);
            let wide = pair.map_or(String::new(), wide);
            let signed = *value as i16;
            let line = format!("  {kind:<8}{address:>8}    {value:04x}{value:>8}{signed:>8}{wide}");
            writeln!(out, "{}", line.trim_end())?;
        }
    }
    Ok(())
}

/// The readings of two registers, each where it may be a measurement.
fn wide(pair: &[u16]) -> String {
    let mut cells = String::new();
    for kind in [NumberKind::U32, NumberKind::I32, NumberKind::F32] {
        for is_low_word_first in [false, true] {
            let encoding = Encoding {
                kind,
                is_low_word_first,
                is_low_byte_first: false,
            };
            let raw = Raw::read(encoding, pair);
            let number = raw.map(|raw| raw.number).filter(|n| is_plausible(kind, *n));
            let text = number.map_or(String::new(), |number| shown(kind, number));
            cells.push_str(&format!("{text:>12}"));
        }
    }
    cells
}

fn is_plausible(kind: NumberKind, number: f64) -> bool {
    let size = number.abs();
    match kind {
        NumberKind::F32 => size >= PLAUSIBLE_FLOAT.0 && size <= PLAUSIBLE_FLOAT.1,
        // Shown as i32 only where the sign matters.
        NumberKind::I32 => number < 0.0 && size <= PLAUSIBLE_WHOLE,
        _ => size <= PLAUSIBLE_WHOLE,
    }
}

fn shown(kind: NumberKind, number: f64) -> String {
    match kind {
        NumberKind::F32 if number.abs() < 1e6 => format!("{number:.3}"),
        NumberKind::F32 => format!("{number:.3e}"),
        _ => format!("{number:.0}"),
    }
}
