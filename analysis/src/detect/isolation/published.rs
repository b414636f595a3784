//! What a published insulation resistance means: a measurement, the end of a scale, or nothing.
//!
//! Registers show 0 before anything was measured, and all ones (16 or 32 bits, signed or not,
//! before a decimal scale) for "more than I can measure" or "not measured". A true 0 ohm reads as
//! nothing too; the ground-fault bit tells that. A highest value that an inverter publishes in plain
//! numbers cannot be told from a measurement and counts as one: the insulation is at least that.
//! Never in here: limits.

/// What a poll says about the insulation resistance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Published {
    /// No number, or one that stands for none.
    Nothing,
    /// The end of a register's scale: so good that it could not be measured, or not measured.
    FullScale,
    /// A measurement [ohm].
    Ohm(f64),
}

/// Highest numbers of signed and unsigned registers of 16 and 32 bits; some devices use the last few
/// of the unsigned ones (65,530 and above) as marks (common practice).
const ENDS: [std::ops::RangeInclusive<f64>; 4] = [
    32_767.0..=32_767.0,
    65_530.0..=65_535.0,
    2_147_483_647.0..=2_147_483_647.0,
    4_294_967_290.0..=4_294_967_295.0,
];
/// Decimal scales that such a register may have: ohm to megohm.
const SCALES: std::ops::RangeInclusive<i32> = 0..=6;
/// Rounding of a scaled number [-].
const ROUNDING: f64 = 1e-7;

impl Published {
    /// From the number on the channel [ohm].
    pub fn new(resistance_ohm: Option<f64>) -> Self {
        let at_end = |ohm: f64| {
            SCALES.into_iter().any(|power| {
                let word = ohm / 10_f64.powi(power);
                let ends = |end: &std::ops::RangeInclusive<f64>| {
                    word >= end.start() * (1.0 - ROUNDING) && word <= end.end() * (1.0 + ROUNDING)
                };
                ENDS.iter().any(ends)
            })
        };
        match resistance_ohm {
            Some(ohm) if at_end(ohm) => Published::FullScale,
            Some(ohm) if ohm > 0.0 => Published::Ohm(ohm),
            _ => Published::Nothing,
        }
    }

    /// The measurement [ohm], if it is one.
    pub fn ohm(self) -> Option<f64> {
        match self {
            Published::Ohm(ohm) => Some(ohm),
            Published::Nothing | Published::FullScale => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn zero_and_the_ends_of_registers_are_no_measurements() {
        for nothing in [None, Some(0.0), Some(-1.0)] {
            assert_eq!(Published::new(nothing), Published::Nothing, "{nothing:?}");
        }
        let ends = [
            65_535.0,
            65_534.0,
            65_530.0,
            655_350.0,
            6_553_400.0,
            65_535_000.0,
            32_767.0,
            3_276_700.0,
            32_767_000.0,
            4_294_967_295.0,
            2_147_483_647.0,
            4_294_967_295_000.0,
        ];
        for end in ends {
            assert_eq!(Published::new(Some(end)), Published::FullScale, "{end}");
        }
        for ohm in [
            1.0, 19_000.0, 32_766.0, 32_768.0, 65_529.0, 65_536.0, 6_553.5, 1.8e6, 2e7,
        ] {
            assert_eq!(Published::new(Some(ohm)), Published::Ohm(ohm));
        }
    }
}
