//! From the registers of a value to the value.
//!
//! Model:   value = number * scale + offset; the number from 16-bit words, each word and each byte in
//!          the order that the map says
//! Range:   words of any content, as many as the encoding takes; with fewer the value is missing.
//! Source:  `config::registers`; two's complement, IEEE 754.
//! Check:   round trips of every kind and order, and words of any content, in `decode_tests.rs`.
//!
//! Never in here: input or output.

use analysis::plant::EventBit;
use analysis::reading::{Quantity, Value};
use config::registers::{Encoding, Meaning, NumberKind, Register, Sentinel};

/// What stands in the registers of a value, before its meaning.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Raw {
    /// As the bits stand there.
    pub bits: u64,
    /// With its sign; `None` of a floating-point number.
    pub whole: Option<i128>,
    /// As a number; whole ones are rounded past 2^53.
    pub number: f64,
}

impl Raw {
    /// From words in the order of their addresses; `None` from another number of words.
    pub fn read(encoding: Encoding, words: &[u16]) -> Option<Self> {
        if words.len() != usize::from(encoding.kind.width()) {
            return None;
        }
        let join = |bits: u64, word: &u16| {
            let word = match encoding.is_low_byte_first {
                true => word.swap_bytes(),
                false => *word,
            };
            bits << 16 | u64::from(word)
        };
        let bits = match encoding.is_low_word_first {
            true => words.iter().rev().fold(0, join),
            false => words.iter().fold(0, join),
        };
        let whole = match encoding.kind {
            NumberKind::F32 | NumberKind::F64 => None,
            NumberKind::I16 => Some(i128::from(bits as u16 as i16)),
            NumberKind::I32 => Some(i128::from(bits as u32 as i32)),
            NumberKind::I64 => Some(i128::from(bits as i64)),
            NumberKind::Bit | NumberKind::U16 | NumberKind::U32 | NumberKind::U64 => {
                Some(i128::from(bits))
            }
        };
        let number = match encoding.kind {
            NumberKind::F32 => f64::from(f32::from_bits(bits as u32)),
            NumberKind::F64 => f64::from_bits(bits),
            _ => whole.unwrap_or_default() as f64,
        };
        Some(Self {
            bits,
            whole,
            number,
        })
    }

    /// A whole number that stands in no register.
    pub fn whole(whole: i128) -> Self {
        Self {
            bits: whole as u64,
            whole: Some(whole),
            number: whole as f64,
        }
    }

    /// A number that stands in no register.
    pub fn number(number: f64) -> Self {
        Self {
            bits: number.to_bits(),
            whole: None,
            number,
        }
    }

    /// A whole number is compared with its sign and as its bits stand: lists write 0x8000 for -32768.
    fn is(self, sentinel: Sentinel) -> bool {
        match (sentinel, self.whole) {
            (Sentinel::Whole(wanted), Some(whole)) => {
                whole == wanted || i128::from(self.bits) == wanted
            }
            (Sentinel::Whole(wanted), None) => self.number == wanted as f64,
            // Written with more digits than 32 bits hold.
            (Sentinel::Float(wanted), _) => {
                self.number == wanted || self.number == f64::from(wanted as f32)
            }
        }
    }
}

/// The value of a register from its words.
pub fn decode(register: &Register, words: &[u16]) -> Value {
    let Some(raw) = Raw::read(register.encoding, words) else {
        return Value::Missing;
    };
    let given = Given {
        meaning: &register.meaning,
        not_available: &register.not_available,
        faulty: &register.faulty,
        quantity: register.quantity,
    };
    given.value(raw)
}

/// What a map says of a number.
#[derive(Debug, Clone, Copy)]
pub struct Given<'a> {
    /// What it is.
    pub meaning: &'a Meaning,
    /// Numbers that say that there is no value.
    pub not_available: &'a [Sentinel],
    /// Numbers that say that the device's own measuring is broken.
    pub faulty: &'a [Sentinel],
    /// Of the channel.
    pub quantity: Quantity,
}

impl Given<'_> {
    /// The value that a number means.
    pub fn value(self, raw: Raw) -> Value {
        if self.not_available.iter().any(|sentinel| raw.is(*sentinel)) {
            return Value::Missing;
        }
        let value = meant(self.meaning, self.quantity, raw);
        match self.faulty.iter().any(|sentinel| raw.is(*sentinel)) {
            true => value.faulty(),
            false => value,
        }
    }
}

fn meant(meaning: &Meaning, quantity: Quantity, raw: Raw) -> Value {
    match meaning {
        Meaning::Number { scale, offset } => {
            let value = times(raw.number, *scale) + offset;
            Value::judge(quantity, value)
        }
        Meaning::States(states) => {
            let state = raw.whole.and_then(|whole| i64::try_from(whole).ok());
            match state.and_then(|whole| states.get(&whole)) {
                Some(state) => Value::Good(f64::from(*state as u8)),
                // Kept, and takes no part.
                None => Value::OutOfRange(raw.number),
            }
        }
        Meaning::Bits(bits) => {
            let set = bits
                .iter()
                .filter(|(place, _)| raw.bits >> **place & 1 == 1);
            let number = |event: EventBit| 1u32 << (event as u32);
            let all = set.fold(0, |all, (_, event)| all | number(*event));
            Value::Good(f64::from(all))
        }
    }
}

/// 0.1 is not a number of this arithmetic, and 10 is: division rounds once, a product would twice.
fn times(number: f64, scale: f64) -> f64 {
    let inverse = (1.0 / scale).round();
    if inverse.abs() > 1.0 && 1.0 / inverse == scale {
        number / inverse
    } else {
        number * scale
    }
}

/// Event bits of several registers together: what any of them says, good if any is.
pub fn together(one: Value, other: Value) -> Value {
    match (one.good(), other.good()) {
        (Some(one), Some(other)) => Value::Good(f64::from(one as u32 | other as u32)),
        (Some(_), None) => one,
        (None, _) => other,
    }
}

#[cfg(test)]
#[path = "decode_tests.rs"]
mod tests;
