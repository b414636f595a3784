//! Round trips of every kind of number and order, and words of any content.

use super::*;
use analysis::plant::State;
use analysis::reading::{Place, Quantity};
use config::registers::Function;
use proptest::prelude::*;

const KINDS: [NumberKind; 8] = [
    NumberKind::U16,
    NumberKind::I16,
    NumberKind::U32,
    NumberKind::I32,
    NumberKind::U64,
    NumberKind::I64,
    NumberKind::F32,
    NumberKind::F64,
];

fn encoding(kind: NumberKind, is_low_word_first: bool, is_low_byte_first: bool) -> Encoding {
    Encoding {
        kind,
        is_low_word_first,
        is_low_byte_first,
    }
}

fn register(encoding: Encoding, quantity: Quantity, meaning: Meaning) -> Register {
    Register {
        function: Function::Holding,
        address: 0,
        encoding,
        meaning,
        not_available: Vec::new(),
        faulty: Vec::new(),
        place: Place::Device,
        quantity,
        every: None,
    }
}

fn number(kind: NumberKind, scale: f64) -> Register {
    let meaning = Meaning::Number { scale, offset: 0.0 };
    register(encoding(kind, false, false), Quantity::AcPower, meaning)
}

/// The other direction, by way of bytes in the order of the wire.
fn write(encoding: Encoding, bits: u64) -> Vec<u16> {
    let bytes = bits.to_be_bytes();
    let width = usize::from(encoding.kind.width());
    let used = &bytes[8 - 2 * width..];
    let mut words: Vec<u16> = used
        .chunks_exact(2)
        .map(|pair| match encoding.is_low_byte_first {
            true => u16::from_le_bytes([pair[0], pair[1]]),
            false => u16::from_be_bytes([pair[0], pair[1]]),
        })
        .collect();
    if encoding.is_low_word_first {
        words.reverse();
    }
    words
}

/// Worked by hand: 123456.789 as IEEE 754 is 0x47F12065 (rounded), 100000 is 0x000186A0.
#[test]
fn known_words() {
    let read = |kind, low_word, low_byte, words: &[u16]| {
        Raw::read(encoding(kind, low_word, low_byte), words)
            .expect("as wide")
            .number
    };
    assert_eq!(
        read(NumberKind::U32, false, false, &[0x0001, 0x86A0]),
        100_000.0
    );
    assert_eq!(
        read(NumberKind::U32, true, false, &[0x86A0, 0x0001]),
        100_000.0
    );
    assert_eq!(
        read(NumberKind::U32, false, true, &[0x0100, 0xA086]),
        100_000.0
    );
    assert_eq!(read(NumberKind::I16, false, false, &[0xFFFE]), -2.0);
    assert_eq!(
        read(
            NumberKind::I64,
            false,
            false,
            &[0xFFFF, 0xFFFF, 0xFFFF, 0xFFFE]
        ),
        -2.0
    );
    let float = read(NumberKind::F32, true, false, &[0x2065, 0x47F1]);
    assert_eq!(float as f32, 123_456.79_f32);
}

#[test]
fn a_scale_of_a_tenth_rounds_once() {
    let register = number(NumberKind::U16, 0.1);
    assert_eq!(decode(&register, &[6123]), Value::Good(612.3));
    assert_eq!(
        decode(&number(NumberKind::I16, 1000.0), &[0xFFFF]),
        Value::Good(-1000.0)
    );
}

/// The number stays, and is none of the analysis.
#[test]
fn what_the_device_calls_faulty_is_kept_as_that() {
    let mut register = number(NumberKind::U16, 0.1);
    register.not_available = vec![Sentinel::Whole(0xFFFF)];
    register.faulty = vec![Sentinel::Whole(0xFFFE), Sentinel::Whole(0xFFFF)];
    let value = decode(&register, &[0xFFFE]);
    assert_eq!(value, Value::Faulty(Some(6553.4)));
    assert_eq!(value.good(), None);
    assert_eq!(decode(&register, &[0xFFFF]), Value::Missing);
    assert_eq!(decode(&register, &[2304]), Value::Good(230.4));
}

#[test]
fn what_is_not_available_is_missing() {
    let mut register = number(NumberKind::I16, 0.1);
    register.not_available = vec![Sentinel::Whole(0x8000)];
    assert_eq!(decode(&register, &[0x8000]), Value::Missing);
    register.not_available = vec![Sentinel::Whole(-32_768)];
    assert_eq!(decode(&register, &[0x8000]), Value::Missing);
    let mut float = number(NumberKind::F32, 1.0);
    assert_eq!(decode(&float, &[0x7FC0, 0]), Value::Missing, "not a number");
    float.not_available = vec![Sentinel::Float(-999.9)];
    let bits = (-999.9_f32).to_bits();
    let words = [(bits >> 16) as u16, bits as u16];
    assert_eq!(decode(&float, &words), Value::Missing);
    assert_eq!(decode(&float, &[0]), Value::Missing, "half a number");
}

#[test]
fn states_and_event_bits_become_those_of_the_program() {
    let states = Meaning::States([(7, State::Tracking)].into());
    let state = register(
        encoding(NumberKind::U16, false, false),
        Quantity::State,
        states,
    );
    assert_eq!(decode(&state, &[7]), Value::Good(4.0));
    assert_eq!(decode(&state, &[4]), Value::OutOfRange(4.0));
    let bits = [(0, EventBit::GroundFault), (9, EventBit::ArcDetected)];
    let bits = Meaning::Bits(bits.into());
    let events = register(
        encoding(NumberKind::U16, false, false),
        Quantity::EventBits,
        bits,
    );
    let value = decode(&events, &[0b10_0000_0101]).good().expect("bits");
    assert!(EventBit::GroundFault.is_set(value) && EventBit::ArcDetected.is_set(value));
    assert_eq!(value, f64::from((1u32 << 17) + 1), "bit 2 is nobody's");
    let both = together(Value::Good(1.0), Value::Good(6.0));
    assert_eq!(both, Value::Good(7.0));
    assert_eq!(together(Value::Missing, Value::Good(6.0)), Value::Good(6.0));
}

proptest! {
    #[test]
    fn every_kind_and_order_reads_back(
        bits in any::<u64>(),
        kind in prop::sample::select(KINDS.to_vec()),
        low_word in any::<bool>(),
        low_byte in any::<bool>(),
    ) {
        let encoding = encoding(kind, low_word, low_byte);
        let bits = bits & (u64::MAX >> (64 - u32::from(kind.bits())));
        let raw = Raw::read(encoding, &write(encoding, bits)).expect("as wide");
        prop_assert_eq!(raw.bits, bits);
        match kind {
            NumberKind::F32 => {
                let wanted = f64::from(f32::from_bits(bits as u32));
                prop_assert!(raw.number == wanted || wanted.is_nan() && raw.number.is_nan());
            }
            NumberKind::F64 => {
                let wanted = f64::from_bits(bits);
                prop_assert!(raw.number == wanted || wanted.is_nan() && raw.number.is_nan());
            }
            _ => {
                let modulus = 1i128 << kind.bits();
                let whole = raw.whole.expect("whole");
                prop_assert_eq!(whole.rem_euclid(modulus), i128::from(bits));
                let is_signed = matches!(kind, NumberKind::I16 | NumberKind::I32 | NumberKind::I64);
                let lowest = if is_signed { -modulus / 2 } else { 0 };
                prop_assert!(whole >= lowest && whole < lowest + modulus);
            }
        }
    }

    /// Whatever stands in the registers, there is a value, and never one that is not finite.
    #[test]
    fn no_words_make_it_panic(
        words in prop::collection::vec(any::<u16>(), 0..6),
        kind in prop::sample::select(KINDS.to_vec()),
        quantity in prop::sample::select(Quantity::ALL.to_vec()),
        scale in prop_oneof![Just(0.1), Just(1e9), Just(-1e-9), any::<f64>()],
        low_word in any::<bool>(),
        sentinel in any::<i64>(),
        what in 0..3,
    ) {
        let meaning = match what {
            0 => Meaning::Number { scale, offset: 0.5 },
            1 => Meaning::States([(sentinel, State::Fault)].into()),
            _ => Meaning::Bits([(63, EventBit::ArcDetected)].into()),
        };
        let mut register = register(encoding(kind, low_word, false), quantity, meaning);
        register.not_available = vec![Sentinel::Whole(sentinel.into()), Sentinel::Float(scale)];
        match decode(&register, &words) {
            Value::Good(value) => prop_assert!(value.is_finite()),
            Value::OutOfRange(_) | Value::Missing | Value::Faulty(_) => {}
        }
    }
}
