//! A column of numbers as bytes and back, without loss.
//!
//! Devices publish decimals: whole numbers of tenths, hundredths and so on. A column of which every
//! number is the double nearest to such a decimal is stored as whole numbers with their count of
//! places; any other as its doubles. Both go through the codec of the `pco` crate. Bit for bit the
//! same comes back, negative zero and all.
//! Never in here: what a number means.

use pco::ChunkConfig;
use pco::data_types::Number;
use pco::standalone::{simple_compress, simple_decompress};
use serde::{Deserialize, Serialize};

/// Most decimal places that are looked for: a millionth of a milli-unit is no measurement.
const MOST_PLACES: u8 = 9;
/// Whole numbers up to here are doubles and back without loss.
const EXACT: f64 = 9_007_199_254_740_992.0; // 2^53

/// A column, as it is written. A variant's place in this list is part of the format.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) enum Column {
    /// The same number in every row.
    Same(f64),
    /// Whole numbers of so many decimal places.
    Decimal(u8, Vec<u8>),
    /// Doubles.
    Binary(Vec<u8>),
}

/// Why a column cannot be read; only a file that was changed by others says so.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Unreadable(pub String);

impl Column {
    /// Encodes doubles.
    pub fn of(numbers: &[f64]) -> Self {
        let first = numbers.first().copied().unwrap_or(0.0);
        if numbers.iter().all(|n| n.to_bits() == first.to_bits()) {
            return Column::Same(first);
        }
        match wholes(numbers) {
            Some((places, wholes)) => Column::Decimal(places, compressed(&wholes)),
            None => Column::Binary(compressed(numbers)),
        }
    }

    /// Encodes whole numbers.
    pub fn of_wholes(numbers: &[i64]) -> Self {
        match numbers.first() {
            Some(&first) if small(first) && numbers.iter().all(|n| *n == first) => {
                Column::Same(first as f64)
            }
            _ => Column::Decimal(0, compressed(numbers)),
        }
    }

    /// Decodes `rows` doubles.
    pub fn numbers(&self, rows: usize) -> Result<Vec<f64>, Unreadable> {
        match self {
            Column::Same(number) => Ok(vec![*number; rows]),
            Column::Decimal(places, bytes) => {
                let unit = power(*places).ok_or_else(|| unreadable("places", *places))?;
                let wholes = decompressed::<i64>(bytes, rows)?;
                Ok(wholes.into_iter().map(|n| n as f64 / unit).collect())
            }
            Column::Binary(bytes) => decompressed(bytes, rows),
        }
    }

    /// Decodes `rows` whole numbers.
    pub fn wholes(&self, rows: usize) -> Result<Vec<i64>, Unreadable> {
        match self {
            Column::Same(number) => Ok(vec![*number as i64; rows]),
            Column::Decimal(0, bytes) => decompressed(bytes, rows),
            Column::Decimal(..) | Column::Binary(_) => {
                Err(unreadable("whole numbers", "fractions"))
            }
        }
    }
}

fn small(whole: i64) -> bool {
    whole.unsigned_abs() as f64 <= EXACT
}

fn unreadable(what: &str, found: impl std::fmt::Display) -> Unreadable {
    Unreadable(format!("{what}: {found}"))
}

fn compressed<T: Number>(numbers: &[T]) -> Vec<u8> {
    simple_compress(numbers, &ChunkConfig::default())
        .expect("a day of numbers is far below the codec's limit, and the settings are its own")
}

fn decompressed<T: Number>(bytes: &[u8], rows: usize) -> Result<Vec<T>, Unreadable> {
    let numbers: Vec<T> = simple_decompress(bytes).map_err(|error| unreadable("column", error))?;
    if numbers.len() != rows {
        return Err(Unreadable(format!("{} rows, wanted {rows}", numbers.len())));
    }
    Ok(numbers)
}

/// Ten to this many places, which is a double without rounding.
pub(super) fn power(places: u8) -> Option<f64> {
    (places <= MOST_PLACES).then(|| 10f64.powi(i32::from(places)))
}

/// The fewest places with which every number is a whole number of them, and these; `None` for
/// numbers that are no decimals.
pub(super) fn wholes(numbers: &[f64]) -> Option<(u8, Vec<i64>)> {
    let mut places = 0;
    for number in numbers {
        while whole(*number, places).is_none() {
            places += 1;
            power(places)?;
        }
    }
    let all: Option<Vec<i64>> = numbers.iter().map(|n| whole(*n, places)).collect();
    all.map(|wholes| (places, wholes))
}

/// The number as a whole number of decimal places, if that gives back the very same double.
pub(super) fn whole(number: f64, places: u8) -> Option<i64> {
    let unit = power(places)?;
    let scaled = (number * unit).round();
    // NaN becomes 0 here, infinity and what is too large another number: the bits tell.
    let whole = scaled as i64;
    let is_same = (whole as f64 / unit).to_bits() == number.to_bits();
    (small(whole) && is_same).then_some(whole)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::collection::vec;
    use proptest::prelude::*;

    fn back(numbers: &[f64]) -> Vec<u64> {
        let read = Column::of(numbers)
            .numbers(numbers.len())
            .expect("it reads");
        read.into_iter().map(f64::to_bits).collect()
    }

    fn bits(numbers: &[f64]) -> Vec<u64> {
        numbers.iter().map(|n| n.to_bits()).collect()
    }

    proptest! {
        #[test]
        fn any_doubles_come_back_bit_for_bit(numbers in vec(any::<f64>(), 0..200)) {
            prop_assert_eq!(back(&numbers), bits(&numbers));
        }

        #[test]
        fn decimals_come_back_bit_for_bit_and_are_known_as_such(
            wholes in vec(-4_000_000_i64..4_000_000, 2..200), places in 0_u8..=4,
        ) {
            let unit = power(places).expect("few places");
            let numbers: Vec<f64> = wholes.iter().map(|n| *n as f64 / unit).collect();
            prop_assert_eq!(back(&numbers), bits(&numbers));
            let binary = matches!(Column::of(&numbers), Column::Binary(_));
            prop_assert!(!binary);
        }

        #[test]
        fn any_whole_numbers_come_back(numbers in vec(any::<i64>(), 0..200)) {
            let read = Column::of_wholes(&numbers).wholes(numbers.len());
            prop_assert_eq!(read.expect("it reads"), numbers);
        }
    }

    #[test]
    fn a_zero_keeps_its_sign() {
        let numbers = [0.0, -0.0, 1.5];
        assert_eq!(back(&numbers), bits(&numbers));
    }

    #[test]
    fn rows_that_are_missing_are_said() {
        let column = Column::of(&[1.0, 2.0, 3.0]);
        let said = column.numbers(4).expect_err("there are three");
        assert_eq!(said.0, "3 rows, wanted 4");
    }
}
