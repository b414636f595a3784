//! The types of SunSpec points: registers to numbers and back, and the patterns that mean
//! "not implemented".
//!
//! Source: SunSpec Device Information Model Specification, point types. Big-endian, high word
//! first. Never in here: scale factors, units.

use serde::Deserialize;

/// The type of a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Encoding {
    /// Signed, one register.
    Int16,
    /// Signed, two registers.
    Int32,
    /// Unsigned, one register.
    Uint16,
    /// A number of blocks.
    Count,
    /// One of a list.
    Enum16,
    /// Sixteen flags.
    Bitfield16,
    /// Thirty-two flags.
    Bitfield32,
    /// Unsigned, two registers.
    Uint32,
    /// Unsigned, four registers.
    Uint64,
    /// Counter, two registers; 0 means that it does not count.
    Acc32,
    /// Counter, four registers; 0 means that it does not count.
    Acc64,
    /// IEEE 754, two registers; any NaN means that there is no value.
    Float32,
    /// Exponent of ten, -10 to 10.
    Sunssf,
    /// Bytes of text, filled up with NUL or blanks.
    String,
    /// Nothing.
    Pad,
}

/// Largest exponent of ten of a scale factor, either way.
const MAX_EXPONENT: i16 = 10;

impl Encoding {
    /// The number in the registers; `None` where the device says that it has none, and for text.
    pub fn number(self, registers: &[u16]) -> Option<f64> {
        let bits = joined(registers)?;
        if self.absent() == Some(bits) {
            return None;
        }
        match (self, registers.len()) {
            (Self::Int16 | Self::Sunssf, 1) => Some(f64::from(bits as u16 as i16)),
            (Self::Int32, 2) => Some(f64::from(bits as u32 as i32)),
            (Self::Uint16 | Self::Count | Self::Enum16 | Self::Bitfield16, 1)
            | (Self::Uint32 | Self::Acc32 | Self::Bitfield32, 2)
            | (Self::Uint64 | Self::Acc64, 4) => Some(bits as f64),
            (Self::Float32, 2) => {
                let value = f32::from_bits(bits as u32);
                value.is_finite().then_some(f64::from(value))
            }
            _ => None,
        }
    }

    /// The exponent of ten in a scale factor; `None` where absent or outside -10 to 10.
    pub fn exponent(register: u16) -> Option<i32> {
        let exponent = register as i16;
        (exponent.abs_diff(0) <= MAX_EXPONENT as u16).then_some(i32::from(exponent))
    }

    /// The registers that hold a whole number; `None` where it does not fit or would read as
    /// "not implemented".
    pub fn registers(self, value: f64) -> Option<Vec<u16>> {
        let in_range = |low: f64, high: f64| value >= low && value <= high;
        let (bits, size) = match self {
            Self::Int16 if in_range(-32_767.0, 32_767.0) => (value as i16 as u16 as u64, 1),
            Self::Int32 if in_range(-2_147_483_647.0, 2_147_483_647.0) => {
                (u64::from(value as i32 as u32), 2)
            }
            Self::Sunssf if in_range(-10.0, 10.0) => (value as i16 as u16 as u64, 1),
            Self::Uint16 | Self::Count | Self::Enum16 | Self::Bitfield16
                if in_range(0.0, 65_534.0) =>
            {
                (value as u64, 1)
            }
            Self::Uint32 | Self::Bitfield32 if in_range(0.0, 4_294_967_294.0) => (value as u64, 2),
            Self::Acc32 if in_range(1.0, 4_294_967_295.0) => (value as u64, 2),
            // Whole numbers of f64 end at 2^53; no counter in watt-hours comes near.
            Self::Uint64 if in_range(0.0, 9_007_199_254_740_992.0) => (value as u64, 4),
            Self::Acc64 if in_range(1.0, 9_007_199_254_740_992.0) => (value as u64, 4),
            Self::Float32 if (value as f32).is_finite() => (u64::from((value as f32).to_bits()), 2),
            _ => return None,
        };
        Some(split(bits, size))
    }

    /// The registers of a point that the device does not have.
    pub fn absent_registers(self, size: usize) -> Vec<u16> {
        split(self.absent().unwrap_or(0), size)
    }

    /// Whether a value is rounded to a whole number before it is stored.
    pub fn is_whole(self) -> bool {
        self != Self::Float32
    }

    /// The bits that mean "not implemented"; `None` for text, which is then all NUL.
    fn absent(self) -> Option<u64> {
        match self {
            Self::Int16 | Self::Sunssf | Self::Pad => Some(0x8000),
            Self::Int32 => Some(0x8000_0000),
            Self::Uint16 | Self::Count | Self::Enum16 | Self::Bitfield16 => Some(0xFFFF),
            Self::Uint32 | Self::Bitfield32 => Some(0xFFFF_FFFF),
            Self::Uint64 => Some(u64::MAX),
            Self::Acc32 | Self::Acc64 => Some(0),
            Self::Float32 => Some(0x7FC0_0000),
            Self::String => None,
        }
    }
}

/// The text in the registers, without what fills it up; `None` where nothing is left.
pub fn text(registers: &[u16]) -> Option<String> {
    let bytes: Vec<u8> = registers.iter().flat_map(|r| r.to_be_bytes()).collect();
    let text = String::from_utf8_lossy(&bytes);
    // Control characters would reach terminals and mails.
    let clean: String = text.chars().filter(|c| !c.is_control()).collect();
    let clean = clean.trim();
    // A device that knows the type only as numbers fills with 0xFFFF.
    let filled = clean.chars().all(|c| c == char::REPLACEMENT_CHARACTER);
    (!clean.is_empty() && !filled).then(|| clean.to_owned())
}

/// Text as registers, filled up with NUL; `None` where it does not fit.
pub fn text_registers(text: &str, size: usize) -> Option<Vec<u16>> {
    let mut bytes = text.as_bytes().to_vec();
    if bytes.len() > size * 2 {
        return None;
    }
    bytes.resize(size * 2, 0);
    let pairs = bytes.chunks_exact(2);
    Some(pairs.map(|p| u16::from_be_bytes([p[0], p[1]])).collect())
}

fn joined(registers: &[u16]) -> Option<u64> {
    if registers.is_empty() || registers.len() > 4 {
        return None;
    }
    Some(registers.iter().fold(0, |sum, r| sum << 16 | u64::from(*r)))
}

fn split(bits: u64, size: usize) -> Vec<u16> {
    let word = |place: usize| match place {
        0..4 => (bits >> (16 * place)) as u16,
        _ => 0,
    };
    (0..size).rev().map(word).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const NUMBERS: [(Encoding, usize); 12] = [
        (Encoding::Int16, 1),
        (Encoding::Int32, 2),
        (Encoding::Uint16, 1),
        (Encoding::Count, 1),
        (Encoding::Enum16, 1),
        (Encoding::Bitfield16, 1),
        (Encoding::Bitfield32, 2),
        (Encoding::Uint32, 2),
        (Encoding::Uint64, 4),
        (Encoding::Acc32, 2),
        (Encoding::Acc64, 4),
        (Encoding::Float32, 2),
    ];

    /// Source: SunSpec Device Information Model Specification, table of types.
    #[test]
    fn what_means_not_implemented_is_no_number() {
        for (encoding, registers) in [
            (Encoding::Int16, &[0x8000][..]),
            (Encoding::Int32, &[0x8000, 0]),
            (Encoding::Uint16, &[0xFFFF]),
            (Encoding::Enum16, &[0xFFFF]),
            (Encoding::Bitfield32, &[0xFFFF, 0xFFFF]),
            (Encoding::Uint64, &[0xFFFF; 4]),
            (Encoding::Acc32, &[0, 0]),
            (Encoding::Float32, &[0x7FC0, 0]),
            (Encoding::Float32, &[0xFFC1, 7]),
        ] {
            assert_eq!(encoding.number(registers), None, "{encoding:?}");
        }
    }

    #[test]
    fn numbers_are_big_endian_with_the_high_word_first() {
        assert_eq!(Encoding::Uint32.number(&[1, 2]), Some(65_538.0));
        assert_eq!(Encoding::Int16.number(&[0xFFFE]), Some(-2.0));
        assert_eq!(Encoding::Int32.number(&[0xFFFF, 0xFFFE]), Some(-2.0));
        assert_eq!(Encoding::Uint16.number(&[0xFFFE]), Some(65_534.0));
        assert_eq!(Encoding::Float32.number(&[0x4366, 0x8000]), Some(230.5));
    }

    #[test]
    fn an_exponent_outside_ten_is_none() {
        assert_eq!(Encoding::exponent(0xFFFE), Some(-2));
        assert_eq!(Encoding::exponent(10), Some(10));
        for wrong in [0x8000, 11, 0xFFF5, 0x7FFF] {
            assert_eq!(Encoding::exponent(wrong), None);
        }
    }

    #[test]
    fn text_loses_what_fills_it_up() {
        let registers = text_registers("SN 12", 6).expect("fits");
        assert_eq!(text(&registers).as_deref(), Some("SN 12"));
        assert_eq!(text(&[0x4120, 0x2020, 0]).as_deref(), Some("A"));
        assert_eq!(text(&[0; 8]), None);
        assert_eq!(text(&[0xFFFF; 8]), None);
        assert_eq!(text(&[0x1B41, 0x0A42]).as_deref(), Some("AB"));
        assert_eq!(text_registers("seven b", 3), None);
    }

    proptest! {
        #[test]
        fn what_is_stored_reads_back(value in 0.0..1e16f64, which in 0..NUMBERS.len()) {
            let (encoding, size) = NUMBERS[which];
            let value = if encoding.is_whole() { value.round() } else { f64::from(value as f32) };
            if let Some(registers) = encoding.registers(value) {
                prop_assert_eq!(registers.len(), size);
                prop_assert_eq!(encoding.number(&registers), Some(value));
            }
        }

        #[test]
        fn no_registers_make_a_panic(
            registers in prop::collection::vec(any::<u16>(), 0..20),
            which in 0..NUMBERS.len(),
        ) {
            let number = NUMBERS[which].0.number(&registers);
            prop_assert!(number.is_none_or(f64::is_finite));
            let text = text(&registers);
            prop_assert!(text.is_none_or(|t| !t.is_empty()));
        }

        #[test]
        fn absent_reads_back_as_absent(which in 0..NUMBERS.len()) {
            let (encoding, size) = NUMBERS[which];
            prop_assert_eq!(encoding.number(&encoding.absent_registers(size)), None);
        }
    }
}
